"""All that is known of one pack at an instant, gathered for its page."""

from collections.abc import Mapping
from typing import NamedTuple

from scheduler.base.instants import DAY
from scheduler.cells.ageing import cost
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
from scheduler.reports.charge_estimate import Bench, ChargeEstimate, bench, holding, own_rate, temperature
from scheduler.reports.charge_history import Band, Run, Sitting, bands, runs, sitting

ROOM = 20.0
"""Degrees Celsius taken for storage where no reading tells a temperature. Assumed."""
MOST_READINGS = 200
"""Capacities that a trend looks back on: work grows with their square."""


class HealthForecast(NamedTuple):
    """Where health crosses 80 %: the instant, and the count of cycles; or why it cannot be told.

    `line`: percent by days since 1970.
    """

    at: Estimate | None
    cycles: Estimate | None
    untold: str | None
    line: Line | None


class Flights(NamedTuple):
    """How long a percent lasts on one aircraft. `rates`: minutes a percent, oldest first."""

    aircraft: str
    rates: list[float]
    last: Estimate | None
    sisters: Estimate | None

    @property
    def minutes(self) -> float:
        """Minutes from full to the reserve, as usual of late."""
        return median(self.rates[-RECENT:]) * (100 - RESERVE)


class Resistance(NamedTuple):
    """Readings at mild temperatures, mOhm, oldest first, and now over then."""

    readings: list[tuple[int, float]]
    ratio: Estimate | None


class Past(NamedTuple):
    """What one pack has been through up to an instant. `since`: its first entry; None without any. `health`: percent of
    its label that is left then, an estimate; None where it is not known."""

    item: Item
    since: int | None
    history: list[Run]
    capacities: list[Capacity]
    health: float | None


class PackReport(NamedTuple):
    """One pack at one instant."""

    item: Item
    now: int
    since: int | None
    holding: ChargeEstimate
    bench: list[Bench]
    history: list[Run]
    bands: list[Band]
    sitting: Sitting | None
    facts: Mapping[str, object]
    capacities: list[Capacity]
    health: Health | None
    outlook: HealthForecast
    resistance: Resistance
    flights: list[Flights]
    own_rate: Estimate | None

    @property
    def price(self) -> Money | None:
        """What a new one costs."""
        return self.item.plate["price"]

    def cost_per(self, name: str) -> float | None:
        """The price over the flights or the cycles so far; None before the first or without a price."""
        count = float(self.facts[name] or 0)  # type: ignore[arg-type]
        return self.price.amount / count if self.price and count >= 1 else None

    def lost_money(self) -> Estimate | None:
        """What sitting full has cost, in the price's currency."""
        return cost(self.sitting.lost, self.price.amount) if self.sitting and self.price else None


def past_of(store: FactStore, item: Item, now: int) -> Past:
    """What a pack has been through by `now`."""
    lifetime = _life_at(store, item, now)
    since = next((event.at for event in lifetime.events if event.at <= now), None)
    history = [] if since is None else runs(store.fact(item, "charge"), since, now)
    known = [each for each in capacities(lifetime) if each.event.at <= now]
    return Past(item, since, history, known, store.fact(item, "health").at(now))  # type: ignore[arg-type]


def _life_at(store: FactStore, item: Item, now: int) -> Lifetime:
    return next(each for each in reversed(store.lifetimes(item)) if each.start <= now)


def sheet_of(store: FactStore, item: Item, now: int) -> PackReport:
    """The sheet of a pack. Nothing later than `now` enters, but a flight under way."""
    lifetime, past = _life_at(store, item, now), past_of(store, item, now)
    history, known, found = past.history, past.capacities, bands(past.history)
    names = ("usable", "cycles", "cycles_of_rating", "flights", "airtime", "health", "watt_hours", "age")
    facts = {name: store.fact(item, name).at(now) for name in names}
    held = holding(store, lifetime, now)
    times = bench(store, lifetime, held.percent) if held.percent is not None and facts["usable"] == "yes" else []
    celsius = temperature(lifetime, now)
    return PackReport(
        item, now, past.since, held, times, history, found,
        sitting(found, str(item.plate["chemistry"]), ROOM if celsius is None else celsius),
        facts,
        known, next((h for h in reversed(healths(lifetime)) if h.at <= now), None), outlook(lifetime, known),
        resistance(lifetime, now), flown(store, lifetime, now), own_rate(lifetime, now),
    )  # fmt: skip


def outlook(lifetime: Lifetime, known: list[Capacity]) -> HealthForecast:
    """Where its capacities head, against time and against cycles."""
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
    """Its resistance at mild temperatures."""
    readings = [(event.at, mohm) for event, mohm in mild_resistances(lifetime) if event.at <= now]
    return Resistance(readings, resistance_ratio([mohm for _, mohm in readings]))


def flown(store: FactStore, lifetime: Lifetime, now: int) -> list[Flights]:
    """How long a percent lasts, by aircraft, against its own past and its sisters."""
    own = _by_aircraft(legs(lifetime), now)
    flew = {pack for aircraft in own for event in store.filed(aircraft, "flown") for pack in event.get("packs")}
    others = [store.fleet[name] for name in store.fleet.ids("pack") if name != lifetime.item.id and name in flew]
    sisters = [_by_aircraft(legs(store.lifetimes(other)[-1]), now) for other in others]
    return [
        Flights(
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
