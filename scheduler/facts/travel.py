"""Facts of packs that are to travel: when they leave, by what way, and what carriers ask."""

from datetime import date
from typing import TYPE_CHECKING

from scheduler.base.instants import MIN_INSTANT, local_date, parse_rfc3339
from scheduler.base.units import FLAG, SPAN, WATT_HOURS, count, word
from scheduler.events.event import Event
from scheduler.events.kinds import MODES
from scheduler.facts.declare import fact
from scheduler.facts.pack import PACK
from scheduler.facts.timeline import FALLING, NEVER, Segment

if TYPE_CHECKING:
    from scheduler.facts.fact_store import FactStore, Lifetime
    from scheduler.fleet.fleet import Item

WITH_EQUIPMENT_FROM = date(2026, 1, 1)
"""From this day the limit of charge in air freight also binds packs that are packed with equipment (IATA Dangerous
Goods Regulations 2026, read in a secondary text only); packs on their own it has bound since 84 FR 8006 (2019)."""
FREE_TO = 100
"""Watt-hours up to which a spare needs no approval of the airline (49 CFR 175.10(a)(18), wording from memory)."""


@fact("watt_hours", PACK, WATT_HOURS, "Rated energy: capacity times nominal voltage (49 CFR 171.8).")
def rated_energy(lifetime: "Lifetime") -> list[Segment]:
    """From the nameplate: never the full voltage."""
    return [Segment(MIN_INSTANT, energy_of(lifetime.item))]


def energy_of(pack: "Item") -> float:
    """The rated energy of a pack, watt-hours."""
    from scheduler.cells.energy import nominal_volts, watt_hours

    volts = nominal_volts(str(pack.plate["chemistry"]), int(pack.plate["cells"]))
    return round(watt_hours(float(pack.plate["capacity"]) / 1000, volts), 3)


def departures(lifetime: "Lifetime") -> list[tuple[int, Event | None]]:
    """(instant, the next journey known then that carries the item), in order of time."""
    known = [(event.at, parse_rfc3339(str(event.get("leaves"))), event) for event in lifetime.of_kind("travel_planned")]
    turns = sorted({turn for told, leaves, _ in known if told < leaves for turn in (told, leaves)})
    found: list[tuple[int, Event | None]] = [(MIN_INSTANT, None)]
    for turn in turns:
        ahead = [(leaves, event) for told, leaves, event in known if told <= turn < leaves]
        found.append((turn, min(ahead)[1] if ahead else None))
    return found


@fact("leaves_in", PACK, SPAN, "Time until it leaves on the next journey announced that carries it.")
def leaves_in(lifetime: "Lifetime") -> list[Segment]:
    """Falls to nought at the departure; never without a journey."""
    segments = []
    for turn, event in departures(lifetime):
        left = parse_rfc3339(str(event.get("leaves"))) - turn if event else 0
        segments.append(Segment(turn, left, FALLING, (event, None)) if event else Segment(turn, NEVER))
    return segments


@fact("leaves_by", PACK, word(*MODES, "none"), "The way of the next journey announced that carries it.")
def leaves_by(lifetime: "Lifetime") -> list[Segment]:
    """The journey's word; none without one."""
    return [
        Segment(turn, str(event.get("how")), None, (event, None)) if event else Segment(turn, "none")
        for turn, event in departures(lifetime)
    ]


@fact("freight_capped", PACK, FLAG, "Its next journey is freight, and by air a limit of charge would bind it.")
def freight_capped(lifetime: "Lifetime") -> list[Segment]:
    """On its own always; with an aircraft in the same consignment from 2026-01-01 on."""
    return [
        Segment(
            turn, "yes" if event and _capped(event, lifetime.store) else "no", None, (event, None) if event else None
        )
        for turn, event in departures(lifetime)
    ]


def _capped(event: Event, store: "FactStore") -> bool:
    if event.get("how") != "freight":
        return False
    leaves = local_date(parse_rfc3339(str(event.get("leaves"))), store.clocks.zone)
    with_equipment = "aircraft" in (store.fleet.kind(name) for name in _carried(event))
    return leaves >= WITH_EQUIPMENT_FROM or not with_equipment


def _carried(event: Event | None) -> list[str]:
    return list(event.fields["carries"]) if event else []


@fact(
    "large_spares",
    PACK,
    count("pack"),
    f"Packs above {FREE_TO} Wh on its next journey announced, if it is one of them.",
)
def large_spares(lifetime: "Lifetime") -> list[Segment]:
    """Counted over what the journey carries; none for a pack that is not so large itself."""
    if energy_of(lifetime.item) <= FREE_TO:
        return [Segment(MIN_INSTANT, 0)]
    fleet = lifetime.store.fleet
    segments = []
    for turn, event in departures(lifetime):
        carried = [fleet[name] for name in _carried(event) if name in fleet]
        large = [item for item in carried if item.kind == "pack" and energy_of(item) > FREE_TO]
        segments.append(Segment(turn, len(large), None, (event, None) if event else None))
    return segments
