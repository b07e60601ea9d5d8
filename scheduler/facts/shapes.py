"""The shapes that facts share. Look here first when you add a fact.

| shape | what it makes |
| --- | --- |
| `stepped` | a value that each event sets, until the next |
| `latched` | a flag that the first of some events sets for the rest of the lifetime |
| `switched` | a flag that some events set and others clear |
| `covering` | a flag that is yes within any of some intervals |
| `flags` | any other flag, from instants with their truth |
| `since_last` | time since the last of some events; NEVER before the first |
| `rising` | the same, but counted from birth before the first |
| `counted` | a number that events increase or set |
| `within` | how many of some events happened within the last so many days |
| `from_birth` | the first segment of what starts with the lifetime |

`starting_at` is explained in `declare.py`.
"""

from bisect import insort
from collections.abc import Iterable

from scheduler.base.instants import MIN_INSTANT
from scheduler.events.event import Event
from scheduler.events.source import latest_and_after
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.timeline import NEVER, RISING, Evidence, Segment, Slope, Timeline, Value, evidence_of

Turns = list[tuple[int, bool | None, Evidence]]
"""Where a flag changes: from when on, its truth (None: unknown), and why."""


def from_birth(lifetime: Lifetime, value: Value, slope: Slope = None) -> list[Segment]:
    """Return a segment that starts with the lifetime; none if its start is unknown."""
    return [] if lifetime.born is None else [Segment(lifetime.born, value, slope)]


def stepped(readings: Iterable[tuple[Event, Value]]) -> list[Segment]:
    """Return a value that each event sets; unknown before the first."""
    return [Segment(event.at, value, None, (event, None)) for event, value in readings]


def latched(events: list[Event]) -> list[Segment]:
    """Return a flag that is yes from the first of some events to the lifetime's end.

    An event before birth counts as well.
    """
    return [Segment(MIN_INSTANT, "no"), *stepped((event, "yes") for event in events[:1])]


def switched(lifetime: Lifetime, on: list[Event], off: list[Event], starting_at: int = MIN_INSTANT) -> list[Segment]:
    """Return a flag that some events set and others clear; "no" from birth.

    Each later event that sets it again is added to the evidence.
    """
    setting = {event.id for event in on}
    birth = MIN_INSTANT if lifetime.born is None and on else lifetime.born
    turns: Turns = [] if birth is None else [(birth, False, None)]
    evidence: Evidence = None
    for event in latest_and_after(sorted([*on, *off]), starting_at):
        evidence = (event, evidence) if event.id in setting else None
        turns.append((event.at, evidence is not None, evidence or (event, None)))
    return flags(turns)


def covering(intervals: list[tuple[int, int, Event]]) -> list[Segment]:
    """Return a flag that is yes within any of the intervals (start, end, event).

    Where several overlap, the event of the one given first is the evidence.
    """
    coming = sorted(((start, place, end, event) for place, (start, end, event) in enumerate(intervals)), reverse=True)
    current: list[tuple[int, int, Event]] = []
    turns: Turns = [(MIN_INSTANT, False, None)]
    for turn in sorted({t for start, end, _ in intervals for t in (start, end)}):
        while coming and coming[-1][0] <= turn:
            _, place, end, event = coming.pop()
            insort(current, (place, end, event))
        while current and current[0][1] <= turn:
            del current[0]
        turns.append((turn, bool(current), (current[0][2], None) if current else None))
    return flags(turns)


def flags(turns: Turns) -> list[Segment]:
    """Return a flag from its turns, in order; of two at one instant the later wins."""
    words = {True: "yes", False: "no", None: None}
    return Timeline([Segment(start, words[truth], None, evidence) for start, truth, evidence in turns]).segments


def since_last(events: list[Event], starting_at: int = MIN_INSTANT) -> list[Segment]:
    """Return the time since the last of some events; NEVER before the first."""
    return [Segment(MIN_INSTANT, NEVER), *_rising_from(events, starting_at)]


def rising(lifetime: Lifetime, events: list[Event], starting_at: int = MIN_INSTANT) -> list[Segment]:
    """Return the time since the last of some events, or since birth before the first."""
    return [*from_birth(lifetime, 0, RISING), *_rising_from(events, starting_at)]


def _rising_from(events: list[Event], starting_at: int) -> list[Segment]:
    return [Segment(event.at, 0, RISING, (event, None)) for event in latest_and_after(events, starting_at)]


Step = tuple[int, float | None, float, Event]
"""When a number changes; the total it is set to, or None; else by how much it grows; and the event."""


def counted(lifetime: Lifetime, steps: list[Step], starting_at: int = MIN_INSTANT) -> list[Segment]:
    """Return a number that starts at 0 at birth; steps, in order, increase or set it."""
    earlier = len(steps) - len(latest_and_after(steps, starting_at))
    segments = from_birth(lifetime, 0)
    total: float = 0  # an int as long as the steps are
    for _, set_to, increase, _ in steps[:earlier]:
        total = total + increase if set_to is None else set_to
    evidence: Evidence = None
    for at, set_to, increase, event in steps[earlier:]:
        total = total + increase if set_to is None else set_to
        evidence = (event, evidence if set_to is None else None)
        segments.append(Segment(at, total, None, evidence))
    return segments


def within(lifetime: Lifetime, events: list[Event], window: int) -> list[Segment]:
    """Return how many of some events happened within the last `window` microseconds."""
    segments = from_birth(lifetime, 0)
    for turn in sorted({turn for event in events for turn in (event.at, event.at + window)}):
        recent = [event for event in events if event.at <= turn < event.at + window]
        segments.append(Segment(turn, len(recent), None, evidence_of(recent)))
    return segments


def passed_looks(lifetime: Lifetime) -> list[Event]:
    """Return the looks with result pass."""
    return [event for event in lifetime.of_kind("inspected") if event.get("result") == "pass"]
