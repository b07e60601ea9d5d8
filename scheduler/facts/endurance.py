"""Facts of packs in the air: how long a percent lasts, and with how much they land."""

from collections import deque
from typing import TYPE_CHECKING, NamedTuple

from scheduler.cells.endurance import LEAST_EARLIER, last_over_usual, minutes_per_percent
from scheduler.cells.trend import median
from scheduler.events.log import Event
from scheduler.facts.charge import charge_fold
from scheduler.facts.declare import fact
from scheduler.facts.pack import PACK
from scheduler.facts.timeline import Piece, Trail, trail_of
from scheduler.facts.wear import passes, switched
from scheduler.instants import MINUTE
from scheduler.units import FLAG, PERCENT, RATIO, SPAN, count

if TYPE_CHECKING:
    from scheduler.facts.book import Life

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


def legs(life: "Life") -> list[Leg]:
    """The flights with a charge told at landing that used at least 30 points."""
    return life.once("legs", lambda: list(_legs(life)))  # type: ignore[return-value]


def _legs(life: "Life") -> list[Leg]:
    found = []
    for out in charge_fold(life).discharges:
        event = out.event
        if event.what != "flown" or "flights" in event.fields or "percent_to" not in event.fields:
            continue
        end = float(event.fields["percent_to"])
        rate = minutes_per_percent(float(event.fields["minutes"]), end + out.percent, end)
        if rate is not None and not out.estimate:
            found.append(Leg(event, str(event.get("aircraft")), rate))
    return found


@fact("endurance_ratio", PACK, RATIO, "Minutes a percent on the last flight, over the median of earlier ones there.",
      unknown="fewer than six flights on that aircraft with the charge at landing")  # fmt: skip
def endurance_ratio(life: "Life") -> list[Piece]:
    """A step at each flight that follows at least five others on the same aircraft; 1 is as usual."""
    pieces = []
    before: dict[str, deque[Leg]] = {}
    for leg in legs(life):
        recent = before.setdefault(leg.aircraft, deque(maxlen=RECENT + 1))
        recent.append(leg)
        ratio = last_over_usual([each.rate for each in recent], LEAST_EARLIER)
        if ratio is not None:
            pieces.append(Piece(leg.event.at, ratio, None, trail_of(each.event for each in recent)))
    return pieces


@fact("endurance", PACK, SPAN, f"Time in the air from full down to {RESERVE} %, as its last flights went (estimate).",
      unknown="no flight with the charge at landing")  # fmt: skip
def endurance(life: "Life") -> list[Piece]:
    """The median minutes a percent of the last nine flights, times what lies above the reserve."""
    pieces: list[Piece] = []
    trail: Trail = None
    recent: deque[float] = deque(maxlen=9)
    for leg in legs(life):
        recent.append(leg.rate)
        trail = (leg.event, trail)
        pieces.append(Piece(leg.event.at, round(median(recent) * (100 - RESERVE) * MINUTE), None, trail))
    return pieces


def _landings(life: "Life") -> list[tuple[Event, float | None]]:
    """Each single flight with the charge told at its landing, None where it was not."""
    flights = [event for event in life.those("flown") if "flights" not in event.fields]
    return [(event, event.get("percent_to")) for event in flights]


@fact("last_landing", PACK, PERCENT, "The charge told at the last landing.", unknown="no charge at the last landing")
def last_landing(life: "Life") -> list[Piece]:
    """A step at each flight; unknown after one that told no charge."""
    return [Piece(event.at, percent, None, (event, None)) for event, percent in _landings(life)]


@fact("low_landings", PACK, count("landing"), f"Of its last {LANDINGS} landings, those below {LOW} %.")
def low_landings(life: "Life") -> list[Piece]:
    """Counted over the landings with a charge told."""
    pieces = [] if life.born is None else [Piece(life.born, 0)]
    last: deque[tuple[Event, float]] = deque(maxlen=LANDINGS)
    for event, percent in _landings(life):
        if percent is not None:
            last.append((event, percent))
        trail: Trail = None
        low = [event for event, percent in last if percent < LOW]
        for each in low:
            trail = (each, trail)
        pieces.append(Piece(event.at, len(low), None, trail))
    return pieces


@fact("read_since_flown", PACK, FLAG, "A reading was taken, or a look passed, since its last flight.")
def read_since_flown(life: "Life") -> list[Piece]:
    """From measured or a pass to the next flight."""
    return switched(life, on=[*life.those("measured"), *passes(life)], off=life.those("flown"))


@fact("looked_since_flown", PACK, FLAG, "A look passed, or its capacity was tested, since its last flight.")
def looked_since_flown(life: "Life") -> list[Piece]:
    """From a pass or a capacity test to the next flight."""
    tests = [event for event in life.those("measured") if "capacity_mah" in event.fields]
    return switched(life, on=[*tests, *passes(life)], off=life.those("flown"))
