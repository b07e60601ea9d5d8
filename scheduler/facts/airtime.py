"""Facts that count use: flights, airtime, and the time since an inspection."""

from bisect import bisect_right
from collections.abc import Callable
from operator import itemgetter

from scheduler.base.instants import MINUTE
from scheduler.base.units import FLAG, SPAN, count
from scheduler.events.event import Event
from scheduler.facts.declare import ANYTHING, FLOWN, PHYSICAL, fact
from scheduler.facts.event_times import airtime_of, flights_of
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.shapes import Step, counted, latched, passed_looks, rising, switched
from scheduler.facts.timeline import Segment

FLIGHTS = count("flight")


@fact("airtime", FLOWN, SPAN, "Time in the air.", partial=True)
def airtime(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Sum at each landing; a total that the aircraft or pack shows replaces the sum."""
    steps: list[Step] = []
    for event in lifetime.of_kind("flown", "measured"):
        if event.what == "flown":
            steps.append((event.at, None, airtime_of(event), event))
        elif "airtime_total" in event.fields:
            steps.append((event.at, round(float(event.fields["airtime_total"]) * MINUTE), 0, event))
    return counted(lifetime, steps, starting_at)


@fact("flights", FLOWN, FLIGHTS, "Flights flown.", partial=True)
def flights(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Count at each landing."""
    steps: list[Step] = [(event.at, None, flights_of(event), event) for event in lifetime.of_kind("flown")]
    return counted(lifetime, steps, starting_at)


@fact("age", PHYSICAL, SPAN, "Time since it came into use.")
def age(lifetime: Lifetime) -> list[Segment]:
    """Rise from birth."""
    return rising(lifetime, [])


@fact("idle", FLOWN, SPAN, "Time since its last flight, or since it came into use.", partial=True)
def idle(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Rise from each landing."""
    return rising(lifetime, lifetime.of_kind("flown"), starting_at)


@fact("airtime_since_inspected", FLOWN, SPAN,
      "Time in the air since the last thorough look, or since it came into use.", partial=True)  # fmt: skip
def airtime_since_inspected(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Restart at each inspected, whatever its result."""
    return _since_inspected(lifetime, airtime_of, starting_at)


@fact("flights_since_inspected", FLOWN, FLIGHTS,
      "Flights since the last thorough look, or since it came into use.", partial=True)  # fmt: skip
def flights_since_inspected(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Restart at each inspected, whatever its result."""
    return _since_inspected(lifetime, flights_of, starting_at)


def _since_inspected(lifetime: Lifetime, amount: Callable[[Event], int], starting_at: int) -> list[Segment]:
    """Return a sum over flights that restarts at each look."""
    steps: list[Step] = [
        (event.at, 0 if event.what == "inspected" else None, amount(event) if event.what == "flown" else 0, event)
        for event in _from_last_look(lifetime.of_kind("flown", "inspected"), starting_at)
    ]
    return counted(lifetime, steps, starting_at)


def _from_last_look(events: list[Event], starting_at: int) -> list[Event]:
    """Return the last look at or before `starting_at`, and all events after it."""
    places = range(bisect_right(events, starting_at, key=itemgetter(0)) - 1, -1, -1)
    return events[next((place for place in places if events[place].what == "inspected"), 0) :]


@fact("since_inspected", PHYSICAL, SPAN, "Time since the last thorough look, or since it came into use.")
def since_inspected(lifetime: Lifetime) -> list[Segment]:
    """Rise from each inspected, whatever its result."""
    return rising(lifetime, lifetime.of_kind("inspected"))


@fact("mishap_since_inspected", FLOWN, FLAG, "It had a mishap and has not passed a look since.")
def mishap_since_inspected(lifetime: Lifetime) -> list[Segment]:
    """Return yes from a mishap to the next inspected with result pass."""
    return switched(lifetime, on=lifetime.of_kind("mishap"), off=passed_looks(lifetime))


@fact("retired", ANYTHING, FLAG, "It is out of service for good.")
def retired(lifetime: Lifetime) -> list[Segment]:
    """Return yes from retired on."""
    return latched(lifetime.of_kind("retired"))
