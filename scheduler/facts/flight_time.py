"""Facts of packs in the air: how long a percent lasts, and with how much they land."""

from collections import deque
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.instants import MINUTE
from scheduler.base.units import FLAG, PERCENT, RATIO, SPAN, count
from scheduler.cells.endurance import LEAST_EARLIER, last_over_usual, minutes_per_percent
from scheduler.cells.median import median
from scheduler.events.event import Event
from scheduler.events.source import standing
from scheduler.facts.charge import charge_fold
from scheduler.facts.declare import fact
from scheduler.facts.pack import PACK
from scheduler.facts.shapes import passes, switched
from scheduler.facts.timeline import Segment, Trail, events_of, trail_of

if TYPE_CHECKING:
    from scheduler.facts.fact_store import Lifetime

RESERVE = 25
"""Percent at which a pack should be back on the ground. Common practice, no source."""
LOW = 20
"""Percent below which a landing counts as low. Common practice, no source."""
LANDINGS = 10
"""How many landings are looked back on."""
RECENT = 20
"""How many earlier flights tell what is usual: an old pack is held against itself, not against its youth."""


class Leg(NamedTuple):
    """One flight of a pack that tells how long a percent lasts. `rate`: minutes a percent."""

    event: Event
    aircraft: str
    rate: float


def legs(lifetime: "Lifetime") -> list[Leg]:
    """The flights with a charge told at landing that used at least 30 points."""
    return lifetime.cached("legs", lambda: list(_legs(lifetime)))


def _legs(lifetime: "Lifetime") -> list[Leg]:
    found = []
    for out in charge_fold(lifetime).discharges:
        event = out.event
        if event.what != "flown" or "flights" in event.fields or "percent_to" not in event.fields:
            continue
        end = float(event.fields["percent_to"])
        rate = minutes_per_percent(float(event.fields["minutes"]), end + out.percent, end)
        if rate is not None and not out.estimate:
            found.append(Leg(event, str(event.get("aircraft")), rate))
    return found


@fact("endurance_ratio", PACK, RATIO, "Minutes a percent on the last flight, over the median of earlier ones there.",
      unknown="fewer than six flights on that aircraft with the charge at landing", partial=True)  # fmt: skip
def endurance_ratio(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """A step at each flight that follows at least five others on the same aircraft; 1 is as usual."""
    by_aircraft: dict[str, list[Leg]] = {}
    for leg in legs(lifetime):
        by_aircraft.setdefault(leg.aircraft, []).append(leg)
    segments: list[Segment] = []
    for leg in reversed(legs(lifetime)):
        recent = by_aircraft[leg.aircraft][-RECENT - 1 :]
        by_aircraft[leg.aircraft].pop()
        ratio = last_over_usual([each.rate for each in recent], LEAST_EARLIER)
        if ratio is not None:
            segments.append(Segment(leg.event.at, ratio, None, trail_of(each.event for each in recent)))
            if leg.event.at <= starting_at:
                break
    return segments[::-1]


@fact("endurance", PACK, SPAN, f"Time in the air from full down to {RESERVE} %, as its last flights went (estimate).",
      unknown="no flight with the charge at landing")  # fmt: skip
def endurance(lifetime: "Lifetime") -> list[Segment]:
    """The median minutes a percent of the last nine flights, times what lies above the reserve."""
    segments: list[Segment] = []
    trail: Trail = None
    recent: deque[float] = deque(maxlen=9)
    for leg in legs(lifetime):
        recent.append(leg.rate)
        trail = (leg.event, trail)
        segments.append(Segment(leg.event.at, round(median(recent) * (100 - RESERVE) * MINUTE), None, trail))
    return segments


def _landings(lifetime: "Lifetime") -> list[Event]:
    """The flights that were logged one by one."""
    return [event for event in lifetime.of_kind("flown") if "flights" not in event.fields]


@fact("last_landing", PACK, PERCENT, "The charge told at the last landing.", unknown="no charge at the last landing",
      partial=True)  # fmt: skip
def last_landing(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """A step at each flight; unknown after one that told no charge."""
    told = standing(_landings(lifetime), starting_at)
    return [Segment(event.at, event.get("percent_to"), None, (event, None)) for event in told]


@fact("low_landings", PACK, count("landing"), f"Of its last {LANDINGS} landings, those below {LOW} %.", partial=True)
def low_landings(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """Counted over the landings with a charge told."""
    landings = _landings(lifetime)
    told = standing(landings, starting_at)
    earlier = landings[: len(landings) - len(told)]
    segments = [] if lifetime.born is None else [Segment(lifetime.born, 0)]
    last = deque((event for event in earlier if "percent_to" in event.fields), maxlen=LANDINGS)
    for event in told:
        if "percent_to" in event.fields:
            last.append(event)
        low = trail_of(each for each in last if each.fields["percent_to"] < LOW)
        segments.append(Segment(event.at, len(events_of(low)), None, low))
    return segments


@fact("read_since_flown", PACK, FLAG, "A reading was taken, or a look passed, since its last flight.", partial=True)
def read_since_flown(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """From measured or a pass to the next flight."""
    return switched(
        lifetime,
        on=[*lifetime.of_kind("measured"), *passes(lifetime)],
        off=lifetime.of_kind("flown"),
        starting_at=starting_at,
    )


@fact(
    "looked_since_flown", PACK, FLAG, "A look passed, or its capacity was tested, since its last flight.", partial=True
)
def looked_since_flown(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """From a pass or a capacity test to the next flight."""
    tests = [event for event in lifetime.of_kind("measured") if "capacity_mah" in event.fields]
    return switched(lifetime, on=[*tests, *passes(lifetime)], off=lifetime.of_kind("flown"), starting_at=starting_at)
