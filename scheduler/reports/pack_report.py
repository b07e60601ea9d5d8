"""Gather all facts on one pack at an instant, for its page."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from scheduler.base.instants import DAY
from scheduler.cells.endurance import LEAST_EARLIER, against_sisters
from scheduler.cells.estimate import Estimate, median
from scheduler.cells.health import reaches, why_no_crossing
from scheduler.cells.sudden import last_ratio
from scheduler.cells.trend import Line, theil_sen
from scheduler.cells.wear import resistance_ratio
from scheduler.facts.capacity import Capacity, Health, capacities, healths
from scheduler.facts.fact_store import FactStore, Lifetime
from scheduler.facts.flight_time import RECENT, RESERVE, Leg, legs
from scheduler.facts.readings import mild_resistances
from scheduler.fleet.fleet import Item
from scheduler.fleet.plates import Money
from scheduler.reports.charge_estimate import (
    ChargeEstimate,
    ChargerTime,
    charger_times,
    estimate_charge,
    self_discharge,
    temperature,
)
from scheduler.reports.charge_history import (
    BandTime,
    ChargeSpan,
    FullStorageCost,
    band_times,
    charge_spans,
    full_storage_cost,
)

ROOM = 20.0
"""Degrees Celsius assumed for storage where no reading gives a temperature."""
MOST_READINGS = 200
"""Capacities that a trend looks back on: work grows with their square."""


class HealthForecast(NamedTuple):
    """When health reaches 80 %: instant and cycles; or why neither can be estimated.

    `trend`: percent by days since 1970.
    """

    at: Estimate | None
    cycles: Estimate | None
    why_unknown: str | None
    trend: Line | None


class Endurance(NamedTuple):
    """How long the pack lasts on one aircraft.

    `rates`: minutes a percent, oldest first; `last`, `sisters`: ratios.
    """

    aircraft: str
    rates: list[float]
    last: Estimate | None
    sisters: Estimate | None

    @property
    def minutes(self) -> float:
        """Minutes from full to the reserve, by recent flights."""
        return median(self.rates[-RECENT:]) * (100 - RESERVE)


class Resistance(NamedTuple):
    """Readings at mild temperatures, instant and mOhm; `ratio`: last over first ones.

    The oldest come first.
    """

    readings: list[tuple[int, float]]
    ratio: Estimate | None


class PackHistory(NamedTuple):
    """A pack's history up to an instant. `since`: its first entry; None without any.

    `health`: estimated percent of its label left then; None where unknown.
    """

    item: Item
    since: int | None
    charge: list[ChargeSpan]
    capacities: list[Capacity]
    health: float | None


class PackReport(NamedTuple):
    """One pack at one instant."""

    now: int
    history: PackHistory
    charge: ChargeEstimate
    chargers: list[ChargerTime]
    bands: list[BandTime]
    full: FullStorageCost | None
    facts: Mapping[str, Any]
    health: Health | None
    forecast: HealthForecast
    resistance: Resistance
    endurance: list[Endurance]
    self_discharge: Estimate | None

    @property
    def item(self) -> Item:
        """The pack."""
        return self.history.item

    @property
    def price(self) -> Money | None:
        """The price of a new one."""
        return self.item.plate["price"]

    def cost_per(self, name: str) -> float | None:
        """Return the price per flight or cycle so far; None before one or without a price."""
        count = float(self.facts[name] or 0)
        return self.price.amount / count if self.price and count >= 1 else None


def history_of_pack(store: FactStore, item: Item, now: int) -> PackHistory:
    """Return the history of a pack up to `now`."""
    lifetime = _lifetime_at(store, item, now)
    since = next((event.at for event in lifetime.events if event.at <= now), None)
    charge = [] if since is None else charge_spans(store.fact(item, "charge"), since, now)
    known = [each for each in capacities(lifetime) if each.event.at <= now]
    return PackHistory(item, since, charge, known, store.fact(item, "health").at(now))  # type: ignore[arg-type]


def _lifetime_at(store: FactStore, item: Item, now: int) -> Lifetime:
    return next(each for each in reversed(store.lifetimes(item)) if each.start <= now)


def report_on_pack(store: FactStore, item: Item, now: int) -> PackReport:
    """Return the report on a pack. Nothing after `now` counts but a flight under way."""
    lifetime, history = _lifetime_at(store, item, now), history_of_pack(store, item, now)
    names = ("usable", "cycles", "cycles_of_rating", "flights", "airtime", "health", "watt_hours", "age")
    facts = {name: store.fact(item, name).at(now) for name in names}
    charge, bands, celsius = (
        estimate_charge(store, lifetime, now),
        band_times(history.charge),
        temperature(lifetime, now),
    )
    usable, price = facts["usable"] == "yes", item.plate["price"]
    return PackReport(
        now,
        history,
        charge,
        charger_times(store, lifetime, charge.percent) if charge.percent is not None and usable else [],
        bands,
        full_storage_cost(bands, item.plate["chemistry"], ROOM if celsius is None else celsius, price and price.amount),
        facts,
        next((each for each in reversed(healths(lifetime)) if each.at <= now), None),
        forecast_health(lifetime, history.capacities),
        resistance(lifetime, now),
        endurance(store, lifetime, now),
        self_discharge(lifetime, now),
    )


def forecast_health(lifetime: Lifetime, known: list[Capacity]) -> HealthForecast:
    """Extrapolate its capacities to 80 %, against time and against cycles."""
    last = known[-MOST_READINGS:]
    rated, cycles = float(lifetime.item.plate["capacity"]), lifetime.fact("cycles")
    ys = [100 * each.mah.value / rated for each in last]
    days = [each.event.at / DAY for each in last]
    counts = [float(cycles.at(each.event.at) or 0) for each in last]
    crossing = reaches(days, ys)
    return HealthForecast(
        crossing and crossing.times(DAY), reaches(counts, ys), why_no_crossing(days, ys), theil_sen(days, ys)
    )


def resistance(lifetime: Lifetime, now: int) -> Resistance:
    """Return its readings of resistance at mild temperatures, and their ratio."""
    readings = [(event.at, mohm) for event, mohm in mild_resistances(lifetime) if event.at <= now]
    return Resistance(readings, resistance_ratio([mohm for _, mohm in readings]))


def endurance(store: FactStore, lifetime: Lifetime, now: int) -> list[Endurance]:
    """Return how long it lasts on each aircraft, against its own past and its sisters."""
    own = _by_aircraft(legs(lifetime), now)
    flew = {pack for aircraft in own for event in store.filed(aircraft, "flown") for pack in event.get("packs")}
    others = [store.fleet[name] for name in store.fleet.ids("pack") if name != lifetime.item.id and name in flew]
    sisters = [_by_aircraft(legs(store.lifetimes(other)[-1]), now) for other in others]
    return [
        Endurance(
            aircraft, rates, last_ratio(rates[-RECENT - 1 :], LEAST_EARLIER),
            against_sisters(rates[-RECENT:], [each[aircraft][-RECENT:] for each in sisters if aircraft in each]),
        )
        for aircraft, rates in own.items()
    ]  # fmt: skip


def _by_aircraft(flights: list[Leg], now: int) -> dict[str, list[float]]:
    found: dict[str, list[float]] = {}
    for leg in flights:
        if leg.event.at <= now:
            found.setdefault(leg.aircraft, []).append(leg.rate)
    return found
