"""Facts of travelling packs: departure, means of travel, and carriers' limits."""

from collections.abc import Callable
from datetime import date

from scheduler.base.instants import MIN_INSTANT, local_date, parse_rfc3339
from scheduler.base.units import FLAG, SPAN, WATT_HOURS, count, word
from scheduler.events.event import Event
from scheduler.events.kinds import MODES
from scheduler.facts.declare import PACK, fact
from scheduler.facts.fact_store import FactStore, Lifetime
from scheduler.facts.timeline import FALLING, NEVER, Segment, Value
from scheduler.fleet.fleet import Item

WITH_EQUIPMENT_FROM = date(2026, 1, 1)
"""From this day the limit of charge in air freight also applies to packs that are packed with equipment (IATA Dangerous
Goods Regulations 2026, read in a secondary text only). To packs on their own it applies since 84 FR 8006 (2019)."""
FREE_TO = 100
"""Watt-hours up to which a spare needs no approval of the airline (49 CFR 175.10(a)(18), wording from memory)."""


@fact("watt_hours", PACK, WATT_HOURS, "Rated energy: capacity times nominal voltage (49 CFR 171.8).")
def rated_energy(lifetime: Lifetime) -> list[Segment]:
    """Compute from the nameplate, never with the full voltage."""
    return [Segment(MIN_INSTANT, energy_of(lifetime.item))]


def energy_of(pack: Item) -> float:
    """Return the rated energy of a pack, watt-hours."""
    from scheduler.cells.energy import nominal_volts, watt_hours

    volts = nominal_volts(str(pack.plate["chemistry"]), int(pack.plate["cells"]))
    return round(watt_hours(float(pack.plate["capacity"]) / 1000, volts), 3)


def departures(lifetime: Lifetime) -> list[tuple[int, Event | None]]:
    """Return (instant, next journey with the item as known from then on), in order."""
    known = [(event.at, parse_rfc3339(str(event.get("leaves"))), event) for event in lifetime.of_kind("travel_planned")]
    turns = sorted({turn for planned, leaves, _ in known if planned < leaves for turn in (planned, leaves)})
    journeys: list[tuple[int, Event | None]] = [(MIN_INSTANT, None)]
    for turn in turns:
        ahead = [(leaves, event) for planned, leaves, event in known if planned <= turn < leaves]
        journeys.append((turn, min(ahead)[1] if ahead else None))
    return journeys


def _by_journey(lifetime: Lifetime, value: Callable[[Event], Value], without: Value) -> list[Segment]:
    """Return a value of the next journey; `without` where there is none."""
    return [
        Segment(turn, value(event), None, (event, None)) if event else Segment(turn, without)
        for turn, event in departures(lifetime)
    ]


@fact("leaves_in", PACK, SPAN, "Time until it leaves on the next planned journey that carries it; never without one.")
def leaves_in(lifetime: Lifetime) -> list[Segment]:
    """Fall to 0 at the departure; NEVER without a journey."""
    segments = []
    for turn, event in departures(lifetime):
        left = parse_rfc3339(str(event.get("leaves"))) - turn if event else 0
        segments.append(Segment(turn, left, FALLING, (event, None)) if event else Segment(turn, NEVER))
    return segments


@fact(
    "leaves_by",
    PACK,
    word(*MODES, "none"),
    "How it will travel on the next planned journey that carries it; none without one.",
)
def leaves_by(lifetime: Lifetime) -> list[Segment]:
    """Take the journey's `how`."""
    return _by_journey(lifetime, lambda journey: str(journey.get("how")), without="none")


@fact(
    "freight_capped",
    PACK,
    FLAG,
    "Its next journey is freight, and a limit of charge applies to it if that goes by air.",
)
def freight_capped(lifetime: Lifetime) -> list[Segment]:
    """Return yes for a pack alone; with aircraft in one consignment from 2026-01-01."""
    return _by_journey(lifetime, lambda journey: "yes" if _capped(journey, lifetime.store) else "no", without="no")


def _capped(event: Event, store: FactStore) -> bool:
    if event.get("how") != "freight":
        return False
    leaves = local_date(parse_rfc3339(str(event.get("leaves"))), store.clocks.zone)
    with_equipment = "aircraft" in (store.fleet.kind(name) for name in _carried(event))
    return leaves >= WITH_EQUIPMENT_FROM or not with_equipment


def _carried(event: Event) -> list[str]:
    return list(event.fields["carries"])


@fact("large_spares", PACK, count("pack"),
      f"Packs above {FREE_TO} Wh on its next planned journey, if it is one of them.")  # fmt: skip
def large_spares(lifetime: Lifetime) -> list[Segment]:
    """Count over what the journey carries; 0 for a pack that is not so large itself."""
    if energy_of(lifetime.item) <= FREE_TO:
        return [Segment(MIN_INSTANT, 0)]
    fleet = lifetime.store.fleet

    def large(journey: Event) -> int:
        carried = [fleet[name] for name in _carried(journey) if name in fleet]
        return sum(item.kind == "pack" and energy_of(item) > FREE_TO for item in carried)

    return _by_journey(lifetime, large, without=0)
