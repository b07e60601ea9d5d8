"""The shapes that facts share. Look here first when you add a fact: one of these is often all it takes.

| shape | the fact |
| --- | --- |
| `since_birth` | the first segment of a count that starts with the lifetime |
| `latched` | a flag that the first of some events sets for the rest of the lifetime |
| `switched` | a flag that some events set and others clear |
| `covering` | a flag that is yes within any of some intervals |
| `flags` | any other flag, from instants with their truth |
| `since_last` | time since the last of some events; NEVER before the first |
| `rising` | the same, but counted from birth before the first |
| `counted` | a number that events increase or set |
| `within` | how many of some events happened in the last so many days |
"""

from bisect import insort
from typing import TYPE_CHECKING

from scheduler.base.instants import MIN_INSTANT
from scheduler.events.event import Event
from scheduler.events.source import standing
from scheduler.facts.timeline import NEVER, RISING, Segment, Timeline, Trail

if TYPE_CHECKING:
    from scheduler.facts.fact_store import Lifetime


def since_birth(lifetime: "Lifetime", value: int | float | str) -> list[Segment]:
    """The first piece of a fact that counts from the beginning of a life; none where that is not known."""
    return [] if lifetime.born is None else [Segment(lifetime.born, value)]


def latched(events: list[Event]) -> list[Segment]:
    """Yes from the first of some events on, be it before the life began; nothing short of a new life lifts it."""
    return [Segment(MIN_INSTANT, "no"), *(Segment(event.at, "yes", None, (event, None)) for event in events[:1])]


def switched(lifetime: "Lifetime", on: list[Event], off: list[Event], starting_at: int = MIN_INSTANT) -> list[Segment]:
    """A flag that some events turn on and others off; off from the beginning. A later event that says the same adds
    itself to the reason."""
    turns_on = {event.id for event in on}
    start = MIN_INSTANT if lifetime.born is None and on else lifetime.born
    triples: list[tuple[int, bool | None, Trail]] = [] if start is None else [(start, False, None)]
    trail: Trail = None
    for event in standing(sorted([*on, *off]), starting_at):
        trail = (event, trail) if event.id in turns_on else None
        triples.append((event.at, trail is not None, trail or (event, None)))
    return flags(triples).segments


def covering(episodes: list[tuple[int, int, Event]]) -> list[Segment]:
    """A flag that is yes wherever one of the stretches (start, end, event) holds; of several the first given is why."""
    coming = sorted(((start, place, end, event) for place, (start, end, event) in enumerate(episodes)), reverse=True)
    holding: list[tuple[int, int, Event]] = []
    triples: list[tuple[int, bool | None, Trail]] = [(MIN_INSTANT, False, None)]
    for turn in sorted({t for start, end, _ in episodes for t in (start, end)}):
        while coming and coming[-1][0] <= turn:
            _, place, end, event = coming.pop()
            insort(holding, (place, end, event))
        while holding and holding[0][1] <= turn:
            del holding[0]
        triples.append((turn, bool(holding), (holding[0][2], None) if holding else None))
    return flags(triples).segments


def flags(pairs: list[tuple[int, bool | None, Trail]]) -> Timeline:
    """A yes/no quantity from (start, truth, why) triples; None is unknown."""
    words = {True: "yes", False: "no", None: None}
    return Timeline([Segment(start, words[truth], None, trail) for start, truth, trail in pairs])


def since_last(events: list[Event], starting_at: int = MIN_INSTANT) -> list[Segment]:
    """Time since the last of some events; NEVER before the first."""
    told = standing(events, starting_at)
    return [Segment(MIN_INSTANT, NEVER), *(Segment(event.at, 0, RISING, (event, None)) for event in told)]


def rising(lifetime: "Lifetime", events: list[Event], starting_at: int = MIN_INSTANT) -> list[Segment]:
    """Time since the last of some events, or since the life began."""
    first = [] if lifetime.born is None else [Segment(lifetime.born, 0, RISING)]
    return [*first, *(Segment(event.at, 0, RISING, (event, None)) for event in standing(events, starting_at))]


Step = tuple[int, float | None, float, Event]
"""When a count changes, its new total or None, else by how much, and the event."""


def counted(lifetime: "Lifetime", steps: list[Step], starting_at: int = MIN_INSTANT) -> list[Segment]:
    """A count that grows by steps, in order."""
    told = len(steps) - len(standing(steps, starting_at))
    segments = since_birth(lifetime, 0)
    total: float = 0  # whole where the steps are
    for _, anchor, increase, _ in steps[:told]:
        total = total + increase if anchor is None else anchor
    trail: Trail = None
    for at, anchor, increase, event in steps[told:]:
        total = total + increase if anchor is None else anchor
        trail = (event, trail if anchor is None else None)
        segments.append(Segment(at, total, None, trail))
    return segments


def within(lifetime: "Lifetime", events: list[Event], window: int) -> list[Segment]:
    """How many of some events lie within the last `window`."""
    turns = sorted({turn for event in events for turn in (event.at, event.at + window)})
    segments = since_birth(lifetime, 0)
    for turn in turns:
        trail: Trail = None
        recent = [event for event in events if event.at <= turn < event.at + window]
        for event in recent:
            trail = (event, trail)
        segments.append(Segment(turn, len(recent), None, trail))
    return segments


def passes(lifetime: "Lifetime") -> list[Event]:
    """The looks that passed."""
    return [event for event in lifetime.of_kind("inspected") if event.get("result") == "pass"]
