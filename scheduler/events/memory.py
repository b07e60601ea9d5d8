"""A log held in memory, to be asked for what was in force as known at any instant."""

from bisect import bisect_right
from collections.abc import Iterable
from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT
from scheduler.events.event import Event, concerned


class Entry(NamedTuple):
    """An event, and when it was told that it, or its place, is taken back (MAX_INSTANT for never)."""

    event: Event
    gone_at: int


class Arrival(NamedTuple):
    """When an event was told, and the names that it touches, those of what it takes back included."""

    at: int
    names: frozenset[str]


class Memory:
    """Every event of a log, struck ones included.

    `history`: each event with the id of the one that took it back, None for those in force.
    """

    def __init__(self, history: Iterable[tuple[Event, str | None]]) -> None:
        history = list(history)
        by_id = {event.id: event for event, _ in history}
        self._filed: dict[str, list[Entry]] = {}
        arrivals = []
        for event, taken_back_by in history:
            names = concerned(event.fields)
            gone_at = by_id[taken_back_by].recorded_at if taken_back_by else MAX_INSTANT
            for name in names:
                self._filed.setdefault(name, []).append(Entry(event, gone_at))
            target = by_id.get(str(event.get("event") if event.what == "struck" else event.get("instead_of")))
            arrivals.append(
                Arrival(event.recorded_at, frozenset((*names, *(concerned(target.fields) if target else ()))))
            )
        self._arrivals = sorted(arrivals, key=lambda arrival: arrival.at)

    def of(self, name: str, what: str | None, known: int) -> list[Event]:
        """The events in force filed under a name, in order, from what was recorded by `known`."""
        return [
            event
            for event, gone_at in self._filed.get(name, ())
            if event.recorded_at <= known < gone_at and what in (None, event.what)
        ]

    def next_arrival(self, now: int) -> int:
        """When the first event recorded after `now` was; MAX_INSTANT without one."""
        index = bisect_right(self._arrivals, now, key=lambda arrival: arrival.at)
        return self._arrivals[index].at if index < len(self._arrivals) else MAX_INSTANT

    def touched(self, after: int, to: int) -> set[str]:
        """The names that what was recorded in (after, to] touches."""
        first = bisect_right(self._arrivals, after, key=lambda arrival: arrival.at)
        last = bisect_right(self._arrivals, to, key=lambda arrival: arrival.at)
        return {name for arrival in self._arrivals[first:last] for name in arrival.names}
