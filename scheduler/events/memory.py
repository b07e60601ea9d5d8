"""A log in memory, which answers what counted as known at any instant."""

from bisect import bisect_right
from collections.abc import Iterable
from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT
from scheduler.events.corrections import families, out_of_force_from
from scheduler.events.event import Event, concerned


class Entry(NamedTuple):
    """An event, and when it was recorded not to count; MAX_INSTANT for never."""

    event: Event
    gone_at: int


class Arrival(NamedTuple):
    """When an event was recorded, and the names touched.

    These are the names of all events that corrections tie to it.
    """

    at: int
    names: frozenset[str]


class Memory:
    """Every event of a log, struck ones included.

    `history`: as `Log.history` returns it.
    """

    def __init__(self, history: Iterable[tuple[Event, str | None]]) -> None:
        events = sorted(event for event, _ in history)
        names = {event.id: concerned(event.fields) for event in events}
        tied, gone_at = families(events), out_of_force_from(events)
        self._filed: dict[str, list[Entry]] = {}
        arrivals = []
        for event in events:
            for name in names[event.id]:
                self._filed.setdefault(name, []).append(Entry(event, gone_at[event.id]))
            family = tied.get(event.id, {event.id})
            touched = frozenset(name for one in family for name in names.get(one, ()))
            arrivals.append(Arrival(event.recorded_at, touched))
        self._arrivals = sorted(arrivals, key=lambda arrival: arrival.at)

    def of(self, name: str, what: str | None, known: int) -> list[Event]:
        """Return the events that count under a name, in order, as known at `known`."""
        return [
            event
            for event, gone_at in self._filed.get(name, ())
            if event.recorded_at <= known < gone_at and what in (None, event.what)
        ]

    def next_arrival(self, now: int) -> int:
        """Return when the next event after `now` was recorded; MAX_INSTANT without one."""
        index = bisect_right(self._arrivals, now, key=lambda arrival: arrival.at)
        return self._arrivals[index].at if index < len(self._arrivals) else MAX_INSTANT

    def touched(self, after: int, to: int) -> set[str]:
        """Return the names touched by the events recorded in (after, to]."""
        first = bisect_right(self._arrivals, after, key=lambda arrival: arrival.at)
        last = bisect_right(self._arrivals, to, key=lambda arrival: arrival.at)
        return {name for arrival in self._arrivals[first:last] for name in arrival.names}
