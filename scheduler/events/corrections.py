"""Which events count ("in force"), and which do not because of a correction.

It depends on the set of events alone, never on the order in which they arrived.

- An event that another one corrects (`struck`, `instead_of`) does not count, for all time, whatever becomes of the
  correction.
- Of several corrections of one event, the one recorded first (then by id) counts. The others, and what corrects those
  in turn, do not count either.
- A correction whose target is not there counts; when the target comes, that does not count from the start.

`Log` answers the same in SQL.
"""

from collections.abc import Iterable, Iterator, Mapping

from scheduler.base.instants import MAX_INSTANT
from scheduler.events.event import Event, concerned


def chain(event: Event, by_id: Mapping[str, Event]) -> Iterator[Event]:
    """Yield an event, what it corrects, and so on as far as known; a circle only once."""
    seen: set[str] = set()
    link: Event | None = event
    while link is not None and link.id not in seen:
        yield link
        seen.add(link.id)
        link = by_id.get(link.target) if link.target else None


def filed_names(event: Event, by_id: Mapping[str, Event]) -> tuple[str, ...]:
    """Return the names to file an event under: its own, and those of what it corrects."""
    return tuple(dict.fromkeys(name for link in chain(event, by_id) for name in concerned(link.fields)))


def families(events: Iterable[Event]) -> dict[str, set[str]]:
    """Return, by id, the ids of all events that corrections tie to it, if any do."""
    found: dict[str, set[str]] = {}
    for event in events:
        if event.target is not None:
            joined = found.get(event.id, {event.id}) | found.get(event.target, {event.target})
            found |= dict.fromkeys(joined, joined)
    return found


def out_of_force_from(events: Iterable[Event]) -> dict[str, int]:
    """Return, by id, when an event was recorded not to count; MAX_INSTANT for never."""
    by_id = {event.id: event for event in events}
    first: dict[str, tuple[int, str]] = {}
    for event in by_id.values():
        if event.target is not None:
            mark = (event.recorded_at, event.id)
            first[event.target] = min(first.get(event.target, mark), mark)
    return {event.id: min(_corrected(event, first), _beaten(event, by_id, first)) for event in by_id.values()}


def _corrected(event: Event, first: Mapping[str, tuple[int, str]]) -> int:
    return first[event.id][0] if event.id in first else MAX_INSTANT


def _beaten(event: Event, by_id: Mapping[str, Event], first: Mapping[str, tuple[int, str]]) -> int:
    known = event.recorded_at
    for link in chain(event, by_id):
        known = max(known, link.recorded_at)
        if link.target is not None and first[link.target] != (link.recorded_at, link.id):
            return known
    return MAX_INSTANT
