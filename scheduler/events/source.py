"""The interface through which the fact store reads its events."""

from bisect import bisect_right
from collections.abc import Iterable
from operator import itemgetter
from typing import TYPE_CHECKING, TypeVar

from scheduler.base.instants import MIN_INSTANT

if TYPE_CHECKING:
    from scheduler.events.event import Event


Timed = TypeVar("Timed", bound=tuple)
"""What has its instant first: an event, a segment."""


def latest_and_after(entries: list[Timed], since: int) -> list[Timed]:
    """Return the last of some entries, in order, by an instant, and all after it."""
    return entries[max(0, bisect_right(entries, since, key=itemgetter(0)) - 1) :]


class Source:
    """The events that count, by the names they are filed under."""

    def of(self, name: str, what: str | None = None) -> list["Event"]:
        """Return the events under a name, in order; if `what`, only of that kind."""
        raise NotImplementedError

    def all_but(self, name: str, what: str) -> list["Event"]:
        """Return the events under a name, without those of one kind."""
        return [event for event in self.of(name) if event.what != what]

    def first_at(self, name: str, what: str) -> int | None:
        """Return when the first event of a kind under a name happened, if any."""
        return next((event.at for event in self.of(name, what)), None)

    def latest_and_after(self, name: str, what: str, since: int) -> list["Event"]:
        """Return the events of a kind under a name: the last by `since`, and all later."""
        return latest_and_after(self.of(name, what), since)

    def afresh(self) -> "Source":
        """Return a new source of the same events with nothing read yet."""
        return self

    def of_each(self, names: list[str]) -> dict[str, list["Event"]]:
        """Return the events under each of some names."""
        return {name: self.of(name) for name in names}

    def instants(self, names: Iterable[str], since: int = MIN_INSTANT) -> set[int]:
        """Return when events under some names happened; by `since` the last is enough."""
        return {event.at for name in names for event in self.of(name)}
