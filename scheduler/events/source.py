"""Where a book finds its events."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from scheduler.instants import DAWN

if TYPE_CHECKING:
    from scheduler.events.log import Event


class Source:
    """Events in force, by the names under which they are filed."""

    def of(self, name: str, what: str | None = None) -> list["Event"]:
        """The events filed under a name, in order; of one kind where `what` names it."""
        raise NotImplementedError

    def all_but(self, name: str, what: str) -> list["Event"]:
        """The events filed under a name, but for those of one kind."""
        return [event for event in self.of(name) if event.what != what]

    def first_at(self, name: str) -> int | None:
        """When the first event filed under a name happened; None without any."""
        return next((event.at for event in self.of(name)), None)

    def afresh(self) -> "Source":
        """The same without what it holds of what was asked before."""
        return self

    def of_each(self, names: list[str]) -> dict[str, list["Event"]]:
        """The events filed under each of some names."""
        return {name: self.of(name) for name in names}

    def instants(self, names: Iterable[str], since: int = DAWN) -> set[int]:
        """When all that is filed under some names happened; of what happened before `since` the last is enough."""
        return {event.at for name in names for event in self.of(name)}
