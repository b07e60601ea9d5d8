"""Estimate a pack's charge now, its self-discharge, and the time on chargers."""

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
    """The charge now, percent; `low` and `high` if read from a voltage or from lights.

    `source`: how the first of `entries` gives it. `calculated`: later use is calculated from there.
    `entries`: its evidence, oldest first.
    """

    percent: float | None
    low: float | None
    high: float | None
    source: str
    calculated: bool
    entries: list[Event]


class ChargerTime(NamedTuple):
    """Minutes a charger of the fleet takes to bring the pack to a percentage."""

    charger: str
    to: float
    minutes: Estimate


def estimate_charge(store: FactStore, lifetime: Lifetime, now: int) -> ChargeEstimate:
    """Return its charge at `now` with the evidence."""
    segment = store.fact(lifetime.item, "charge").segment(now)
    value, entries = segment.at(now), events_of(segment.evidence)
    if value is None or not entries:
        return ChargeEstimate(None, None, None, "", False, entries)
    percent, calculated = float(value), is_calculated(segment, now, lifetime.item.plate)
    source, below, above = _source(entries[0], lifetime)
    if source not in ("voltage", "lights"):
        return ChargeEstimate(percent, None, None, source, calculated, entries)
    low, high = max(0.0, percent - below), min(100.0, percent + above)
    return ChargeEstimate(percent, low, high, source, calculated, entries)


def _source(event: Event, lifetime: Lifetime) -> tuple[str, float, float]:
    """Return how an entry gives the charge, and its error below and above, in points."""
    if event.what != "measured" or "percent" in event.fields:
        return event.what, 0.0, 0.0
    if "lights" in event.fields:
        half = 50 / int(str(event.fields["lights"]).split(" of ")[1])
        return "lights", half, half
    volts = cell_volts(event, lifetime.item.plate) or []
    read = charge_at(sum(volts) / len(volts), str(lifetime.item.plate["chemistry"]))
    return "voltage", read.value - read.low, read.high - read.value


def charger_times(store: FactStore, lifetime: Lifetime, percent: float) -> list[ChargerTime]:
    """Estimate the time to full, and down to storage charge, on each charger.

    Leaves out chargers whose power is not known.
    """
    energy, found = energy_of(lifetime.item), []
    for name in store.fleet.ids("charger"):
        plate = store.fleet[name].plate
        power, drain_power = plate["power"], plate["drain_power"]
        if power and percent < FULL - NEAR:
            found.append(ChargerTime(name, FULL, minutes_to_charge(energy, percent, FULL, float(power))))
        if drain_power and percent > STORAGE + NEAR:
            found.append(ChargerTime(name, STORAGE, minutes_to_drain(energy, percent, STORAGE, float(drain_power))))
    return found


def temperature(lifetime: Lifetime, now: int) -> float | None:
    """Return the median temperature of its readings, Celsius; None without any."""
    readings = [event.fields for event in lifetime.of_kind("measured") if event.at <= now]
    celsius = [float(fields["temperature_c"]) for fields in readings if "temperature_c" in fields]
    return median(celsius) if celsius else None


def self_discharge(lifetime: Lifetime, now: int) -> Estimate | None:
    """Fit self-discharge to readings at rest, percent in 30 d; None with too few.

    Only percents that the pack shows count, and none taken while a pack empties itself to storage.
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
