"""Facts of packs in the air: how long a percent lasts, and the charge at landing."""

from collections import deque
from typing import NamedTuple

from scheduler.base.instants import MINUTE
from scheduler.base.units import FLAG, PERCENT, SHARE, SPAN, count
from scheduler.cells.endurance import LEAST_EARLIER, last_over_usual, minutes_per_percent
from scheduler.cells.estimate import median
from scheduler.events.event import Event
from scheduler.events.source import latest_and_after
from scheduler.facts.charge import charge_curve
from scheduler.facts.declare import PACK, fact
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.shapes import from_birth, passed_looks, stepped, switched
from scheduler.facts.timeline import Evidence, Segment, events_of, evidence_of

RESERVE = 25
"""Percent at which a pack should be back on the ground. Common practice, no source."""
LOW = 20
"""Percent below which a landing counts as low. Common practice, no source."""
LANDINGS = 10
"""The number of landings that `low_landings` looks back on."""
RECENT = 20
"""The number of earlier flights that make the usual: an old pack is compared with itself, not with its youth."""


class Leg(NamedTuple):
    """A flight that shows how long a percent lasts. `rate`: minutes per percent."""

    event: Event
    aircraft: str
    rate: float


def legs(lifetime: Lifetime) -> list[Leg]:
    """Return the flights with the charge at landing that used at least 30 points."""
    return lifetime.compute_once("legs", lambda: list(_legs(lifetime)))


def _legs(lifetime: Lifetime) -> list[Leg]:
    legs = []
    for out in charge_curve(lifetime).discharges:
        event = out.event
        if event.what != "flown" or "flights" in event.fields or "percent_to" not in event.fields:
            continue
        end = float(event.fields["percent_to"])
        rate = minutes_per_percent(float(event.fields["minutes"]), end + out.percent, end)
        if rate is not None and not out.estimate:
            legs.append(Leg(event, str(event.get("aircraft")), rate))
    return legs


@fact("endurance_ratio", PACK, SHARE,
      "Minutes per percent on the last flight, over the median of earlier flights on the same aircraft.",
      unknown="fewer than six flights on that aircraft with the charge at landing", partial=True)  # fmt: skip
def endurance_ratio(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Step at each flight after at least five on the same aircraft; 1 is as usual."""
    by_aircraft: dict[str, list[Leg]] = {}
    for leg in legs(lifetime):
        by_aircraft.setdefault(leg.aircraft, []).append(leg)
    segments: list[Segment] = []
    for leg in reversed(legs(lifetime)):
        recent = by_aircraft[leg.aircraft][-RECENT - 1 :]
        by_aircraft[leg.aircraft].pop()
        ratio = last_over_usual([each.rate for each in recent], LEAST_EARLIER)
        if ratio is not None:
            segments.append(Segment(leg.event.at, ratio, None, evidence_of(each.event for each in recent)))
            if leg.event.at <= starting_at:
                break
    return segments[::-1]


@fact("endurance", PACK, SPAN,
      f"Time in the air from full down to {RESERVE} %, at the rate of its last flights (estimate).",
      unknown="no flight with the charge at landing")  # fmt: skip
def endurance(lifetime: Lifetime) -> list[Segment]:
    """Multiply the minutes per percent by the percents above the reserve.

    The minutes are the median of the last nine flights.
    """
    segments: list[Segment] = []
    evidence: Evidence = None
    recent: deque[float] = deque(maxlen=9)
    for leg in legs(lifetime):
        recent.append(leg.rate)
        evidence = (leg.event, evidence)
        segments.append(Segment(leg.event.at, round(median(recent) * (100 - RESERVE) * MINUTE), None, evidence))
    return segments


def _landings(lifetime: Lifetime) -> list[Event]:
    """Return the flights that were logged one by one, not summed up."""
    return [event for event in lifetime.of_kind("flown") if "flights" not in event.fields]


@fact("last_landing", PACK, PERCENT, "The charge at the last landing.", unknown="no charge at the last landing",
      partial=True)  # fmt: skip
def last_landing(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Step at each flight; unknown after one without a charge."""
    landings = latest_and_after(_landings(lifetime), starting_at)
    return stepped((event, event.get("percent_to")) for event in landings)


@fact(
    "low_landings",
    PACK,
    count("landing"),
    f"How many of its last {LANDINGS} landings were below {LOW} %.",
    partial=True,
)
def low_landings(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Count over the landings with a charge."""
    landings = _landings(lifetime)
    asked = latest_and_after(landings, starting_at)
    earlier = landings[: len(landings) - len(asked)]
    segments = from_birth(lifetime, 0)
    last = deque((event for event in earlier if "percent_to" in event.fields), maxlen=LANDINGS)
    for event in asked:
        if "percent_to" in event.fields:
            last.append(event)
        low = evidence_of(each for each in last if each.fields["percent_to"] < LOW)
        segments.append(Segment(event.at, len(events_of(low)), None, low))
    return segments


@fact("read_since_flown", PACK, FLAG, "A reading was taken or a look passed since its last flight.", partial=True)
def read_since_flown(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes from measured or a pass to the next flight."""
    return switched(
        lifetime,
        on=[*lifetime.of_kind("measured"), *passed_looks(lifetime)],
        off=lifetime.of_kind("flown"),
        starting_at=starting_at,
    )


@fact("looked_since_flown", PACK, FLAG, "A look passed or its capacity was tested since its last flight.",
      partial=True)  # fmt: skip
def looked_since_flown(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes from a pass or a capacity test to the next flight."""
    tests = [event for event in lifetime.of_kind("measured") if "capacity_mah" in event.fields]
    return switched(
        lifetime, on=[*tests, *passed_looks(lifetime)], off=lifetime.of_kind("flown"), starting_at=starting_at
    )
