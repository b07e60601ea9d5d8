"""What a pack holds now and how that is known; how fast it loses it by its own readings; what the bench would take."""

from typing import NamedTuple

from scheduler.base.instants import DAY
from scheduler.cells.energy import minutes_to_charge, minutes_to_drain
from scheduler.cells.estimate import Estimate, median
from scheduler.cells.storage import Reading, fitted_rate
from scheduler.cells.voltage import charge_at
from scheduler.events.event import Event
from scheduler.facts.charge import cell_volts, is_calculated
from scheduler.facts.fact_store import FactStore, Lifetime
from scheduler.facts.timeline import events_of
from scheduler.facts.travel import energy_of
from scheduler.reports.charge_history import STORAGE

SETTLED = DAY
"""After a charge the first day loses more than later ones; readings in it are left out of a fitted rate."""
FULL = 100.0
"""Percent."""
NEAR = 5.0
"""Percentage points within which a pack is as full, or as near storage charge, as it need be."""


class ChargeEstimate(NamedTuple):
    """What the pack holds, percent; `low`, `high`: where a voltage or lights told it.

    `by`: the entries behind it, oldest first; `way`: how the first of them told it. `reckoned`: none tells it as it is.
    """

    percent: float | None
    low: float | None
    high: float | None
    by: list[Event]
    way: str
    reckoned: bool = False


class Bench(NamedTuple):
    """How long a charger of the fleet takes to bring the pack to a percentage, minutes."""

    charger: str
    percent: float
    minutes: Estimate


def holding(store: FactStore, lifetime: Lifetime, now: int) -> ChargeEstimate:
    """What it holds, and how that is known."""
    segment = store.fact(lifetime.item, "charge").segment(now)
    value, by = segment.at(now), events_of(segment.evidence)
    if value is None or not by:
        return ChargeEstimate(None, None, None, by, "")
    percent, reckoned = float(value), is_calculated(segment, now, lifetime.item.plate)
    way, below, above = _told(by[0], lifetime)
    if way not in ("voltage", "lights"):
        return ChargeEstimate(percent, None, None, by, way, reckoned)
    return ChargeEstimate(percent, max(0.0, percent - below), min(100.0, percent + above), by, way, reckoned)


def _told(event: Event, lifetime: Lifetime) -> tuple[str, float, float]:
    """How an entry told the charge, and how far below and above it the truth may lie."""
    if event.what != "measured" or "percent" in event.fields:
        return event.what, 0.0, 0.0
    if "lights" in event.fields:
        half = 50 / int(str(event.fields["lights"]).split(" of ")[1])
        return "lights", half, half
    volts = cell_volts(event, lifetime.item.plate) or []
    read = charge_at(sum(volts) / len(volts), str(lifetime.item.plate["chemistry"]))
    return "voltage", read.value - read.low, read.high - read.value


def bench(store: FactStore, lifetime: Lifetime, percent: float) -> list[Bench]:
    """How long filling takes, and draining to storage charge, on each charger whose power is known. ESTIMATES."""
    energy, found = energy_of(lifetime.item), []
    for name in store.fleet.ids("charger"):
        plate = store.fleet[name].plate
        power, drain_power = plate["power"], plate["drain_power"]
        if power and percent < FULL - NEAR:
            found.append(Bench(name, FULL, minutes_to_charge(energy, percent, FULL, float(power))))
        if drain_power and percent > STORAGE + NEAR:
            found.append(Bench(name, STORAGE, minutes_to_drain(energy, percent, STORAGE, float(drain_power))))
    return found


def temperature(lifetime: Lifetime, now: int) -> float | None:
    """The middle of the temperatures that its readings tell, degrees Celsius."""
    readings = [event.fields for event in lifetime.of_kind("measured") if event.at <= now]
    told = [float(fields["temperature_c"]) for fields in readings if "temperature_c" in fields]
    return median(told) if told else None


def own_rate(lifetime: Lifetime, now: int) -> Estimate | None:
    """Self-discharge by its own readings at rest, percent in 30 d; None with too few.

    Only percents that the pack shows. What a pack that empties itself loses then is no self-discharge.
    """
    drain: tuple[int, float, int] | None = lifetime.item.plate["self_drain"]
    episodes: list[list[Reading]] = [[]]
    handled: Event | None = None
    for event in lifetime.of_kind("flown", "charged", "drained", "measured"):
        if event.at > now:
            break
        if event.what != "measured":
            handled = event
            episodes.append([])
        elif "percent" in event.fields and _at_rest(event, handled, drain):
            episodes[-1].append(Reading(event.at / DAY, float(event.fields["percent"])))
    return fitted_rate(episodes)


def _at_rest(event: Event, handled: Event | None, drain: tuple[int, float, int] | None) -> bool:
    if handled is None:
        return drain is None
    since = event.at - handled.at
    settled = since >= SETTLED or handled.what != "charged"
    return settled and (drain is None or since <= drain[0])
