"""Facts that count use: flights and airtime of whatever flies, and since when something was looked at."""

from bisect import bisect_right
from collections.abc import Callable
from operator import itemgetter
from typing import TYPE_CHECKING

from scheduler.base.instants import MIN_INSTANT, MINUTE
from scheduler.base.units import FLAG, SPAN, count
from scheduler.events.event import Event
from scheduler.events.source import standing
from scheduler.facts.declare import ANYTHING, FLOWN, PHYSICAL, fact
from scheduler.facts.pack import Step, counted, latched
from scheduler.facts.timeline import RISING, Segment, Trail, flags

if TYPE_CHECKING:
    from scheduler.facts.fact_store import Lifetime

FLIGHTS = count("flight")


def airtime_of(event: Event) -> int:
    """The time in the air of a flight, microseconds."""
    return round(float(event.fields["minutes"]) * MINUTE)


def flights_of(event: Event) -> int:
    """How many flights a line stands for."""
    return int(event.fields.get("flights", 1))


@fact("airtime", FLOWN, SPAN, "Time in the air.", onward=True)
def airtime(lifetime: "Lifetime", since: int) -> list[Segment]:
    """Summed at each landing; a total that the aircraft or pack shows takes the place of the sum."""
    steps: list[Step] = []
    for event in lifetime.those("flown", "measured"):
        if event.what == "flown":
            steps.append((event.at, None, airtime_of(event), event))
        elif "airtime_total" in event.fields:
            steps.append((event.at, round(float(event.fields["airtime_total"]) * MINUTE), 0, event))
    return counted(lifetime, steps, since)


@fact("flights", FLOWN, FLIGHTS, "Flights flown.", onward=True)
def flights(lifetime: "Lifetime", since: int) -> list[Segment]:
    """Counted at each landing."""
    return counted(lifetime, [(event.at, None, flights_of(event), event) for event in lifetime.those("flown")], since)


@fact("age", PHYSICAL, SPAN, "Time since it came into use.")
def age(lifetime: "Lifetime") -> list[Segment]:
    """Rises from the beginning of the life."""
    return [] if lifetime.born is None else [Segment(lifetime.born, 0, RISING)]


@fact("idle", FLOWN, SPAN, "Time since its last flight, or since it came into use.", onward=True)
def idle(lifetime: "Lifetime", since: int) -> list[Segment]:
    """Rises from each landing."""
    return rising(lifetime, lifetime.those("flown"), since)


def rising(lifetime: "Lifetime", events: list[Event], since: int = MIN_INSTANT) -> list[Segment]:
    """Time since the last of some events, or since the life began."""
    return [*age(lifetime), *(Segment(event.at, 0, RISING, (event, None)) for event in standing(events, since))]


@fact(
    "airtime_since_inspected",
    FLOWN,
    SPAN,
    "Time in the air since the last thorough look, or since it came into use.",
    onward=True,
)
def airtime_since_inspected(lifetime: "Lifetime", since: int) -> list[Segment]:
    """Starts anew at each inspected, whatever its result."""
    return since_inspected(lifetime, airtime_of, since)


@fact(
    "flights_since_inspected",
    FLOWN,
    FLIGHTS,
    "Flights since the last thorough look, or since it came into use.",
    onward=True,
)
def flights_since_inspected(lifetime: "Lifetime", since: int) -> list[Segment]:
    """Starts anew at each inspected, whatever its result."""
    return since_inspected(lifetime, flights_of, since)


def since_inspected(lifetime: "Lifetime", amount: Callable[[Event], int], since: int) -> list[Segment]:
    """A sum over flights that starts anew at each look."""
    steps: list[Step] = [
        (event.at, 0 if event.what == "inspected" else None, amount(event) if event.what == "flown" else 0, event)
        for event in _since_a_look(lifetime.those("flown", "inspected"), since)
    ]
    return counted(lifetime, steps, since)


def _since_a_look(events: list[Event], since: int) -> list[Event]:
    """Of some events in order: the last look at or before an instant, and all after it."""
    places = range(bisect_right(events, since, key=itemgetter(0)) - 1, -1, -1)
    return events[next((place for place in places if events[place].what == "inspected"), 0) :]


@fact("since_inspected", PHYSICAL, SPAN, "Time since the last thorough look, or since it came into use.")
def time_since_inspected(lifetime: "Lifetime") -> list[Segment]:
    """Rises from each inspected."""
    return rising(lifetime, lifetime.those("inspected"))


@fact("mishap_since_inspected", FLOWN, FLAG, "A mishap, and no look that passed since.")
def mishap_since_inspected(lifetime: "Lifetime") -> list[Segment]:
    """From a mishap to the next inspected with result pass."""
    return switched(lifetime, on=lifetime.those("mishap"), off=passes(lifetime))


def passes(lifetime: "Lifetime") -> list[Event]:
    """The looks that passed."""
    return [event for event in lifetime.those("inspected") if event.get("result") == "pass"]


def switched(lifetime: "Lifetime", on: list[Event], off: list[Event], since: int = MIN_INSTANT) -> list[Segment]:
    """A flag that some events turn on and others off; off from the beginning. A later event that says the same adds
    itself to the reason."""
    turns_on = {event.id for event in on}
    start = MIN_INSTANT if lifetime.born is None and on else lifetime.born
    triples: list[tuple[int, bool | None, Trail]] = [] if start is None else [(start, False, None)]
    trail: Trail = None
    for event in standing(sorted([*on, *off]), since):
        trail = (event, trail) if event.id in turns_on else None
        triples.append((event.at, trail is not None, trail or (event, None)))
    return flags(triples).segments


@fact("retired", ANYTHING, FLAG, "It is out of service for good.")
def retired(lifetime: "Lifetime") -> list[Segment]:
    """From retired on."""
    return latched(lifetime.those("retired"))
