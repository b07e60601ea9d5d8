"""Where a book finds its events."""

from bisect import bisect_right
from collections.abc import Iterable
from operator import itemgetter
from typing import TYPE_CHECKING, TypeVar

from scheduler.base.instants import MIN_INSTANT

if TYPE_CHECKING:
    from scheduler.events.event import Event


Timed = TypeVar("Timed", bound=tuple)
"""What has its instant first: an event, a piece."""


def standing(entries: list[Timed], since: int) -> list[Timed]:
    """Of some entries in order: the last at or before an instant, and all after it."""
    return entries[max(0, bisect_right(entries, since, key=itemgetter(0)) - 1) :]


class Source:
    """Events in force, by the names under which they are filed."""

    def of(self, name: str, what: str | None = None) -> list["Event"]:
        """The events filed under a name, in order; of one kind where `what` names it."""
        raise NotImplementedError

    def all_but(self, name: str, what: str) -> list["Event"]:
        """The events filed under a name, but for those of one kind."""
        return [event for event in self.of(name) if event.what != what]

    def first_at(self, name: str, what: str) -> int | None:
        """When the first event of a kind filed under a name happened; None without any."""
        return next((event.at for event in self.of(name, what)), None)

    def standing(self, name: str, what: str, since: int) -> list["Event"]:
        """Of the events of one kind filed under a name: the last at or before an instant, and those after it."""
        return standing(self.of(name, what), since)

    def afresh(self) -> "Source":
        """The same without what it holds of what was asked before."""
        return self

    def of_each(self, names: list[str]) -> dict[str, list["Event"]]:
        """The events filed under each of some names."""
        return {name: self.of(name) for name in names}

    def instants(self, names: Iterable[str], since: int = MIN_INSTANT) -> set[int]:
        """When all that is filed under some names happened; of what happened before `since` the last is enough."""
        return {event.at for name in names for event in self.of(name)}
