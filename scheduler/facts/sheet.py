"""All that is known of one pack at an instant, gathered for its page."""

from typing import NamedTuple

from scheduler.cells.ageing import cost
from scheduler.cells.endurance import LEAST_EARLIER, against_sisters, last_ratio
from scheduler.cells.estimate import Estimate
from scheduler.cells.health import reaches, resistance_ratio, why_untold
from scheduler.cells.storage import Reading, fitted_rate
from scheduler.cells.trend import Line, median, theil_sen
from scheduler.cells.voltage import charge_at
from scheduler.events.log import Event
from scheduler.facts.book import Book, Life
from scheduler.facts.capacity import Capacity, Health, capacities, healths
from scheduler.facts.charge import cell_volts
from scheduler.facts.endurance import RECENT, RESERVE, Leg, legs
from scheduler.facts.life import Band, Run, Sitting, bands, runs, sitting
from scheduler.facts.readings import mild_resistances
from scheduler.facts.timeline import events_of
from scheduler.fleet.fleet import Item
from scheduler.fleet.plates import Money
from scheduler.instants import DAY

ROOM = 20.0
"""Degrees Celsius taken for storage where no reading tells a temperature. Assumed."""
MOST_READINGS = 200
"""Capacities that a trend looks back on: work grows with their square."""
SETTLED = DAY
"""After a charge the first day loses more than later ones; readings in it are left out of a fitted rate."""


class Holding(NamedTuple):
    """What the pack holds, percent; `low`, `high`: where a voltage or lights told it. `by`: the entries behind it, oldest
    first; `way`: how the first of them told it."""

    percent: float | None
    low: float | None
    high: float | None
    by: list[Event]
    way: str


class Outlook(NamedTuple):
    """Where health crosses 80 %: the instant, and the count of cycles; or why it cannot be told. `line`: percent by days
    since 1970."""

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


class Sheet(NamedTuple):
    """One pack at one instant."""

    item: Item
    now: int
    since: int | None
    holding: Holding
    history: list[Run]
    bands: list[Band]
    sitting: Sitting | None
    facts: dict[str, object]
    capacities: list[Capacity]
    health: Health | None
    outlook: Outlook
    resistance: Resistance
    flights: list[Flights]
    own_rate: Estimate | None

    @property
    def price(self) -> Money | None:
        """What a new one costs."""
        return self.item.plate["price"]  # type: ignore[return-value]

    def cost_per(self, name: str) -> float | None:
        """The price over the flights or the cycles so far; None before the first or without a price."""
        count = float(self.facts[name] or 0)  # type: ignore[arg-type]
        return self.price.amount / count if self.price and count >= 1 else None

    def lost_money(self) -> Estimate | None:
        """What sitting full has cost, in the price's currency."""
        return cost(self.sitting.lost, self.price.amount) if self.sitting and self.price else None


def sheet_of(book: Book, item: Item, now: int) -> Sheet:
    """The sheet of a pack. Nothing later than `now` enters, but a flight under way."""
    life = next(each for each in reversed(book.lives(item)) if each.start <= now)
    since = next((event.at for event in life.events if event.at <= now), None)
    history = [] if since is None else runs(book.fact(item, "charge"), since, now)
    found = bands(history)
    known = [each for each in capacities(life) if each.event.at <= now]
    names = ("usable", "cycles", "cycles_of_rating", "flights", "airtime", "health", "watt_hours", "age")
    return Sheet(
        item, now, since, holding(book, life, now), history, found,
        sitting(found, str(item.plate["chemistry"]), temperature(life, now) or ROOM),
        {name: book.fact(item, name).at(now) for name in names},
        known, next((h for h in reversed(healths(life)) if h.at <= now), None), outlook(life, known),
        resistance(life, now), flown(book, life, now), own_rate(life, now),
    )  # fmt: skip


def temperature(life: Life, now: int) -> float | None:
    """The middle of the temperatures that its readings tell, degrees Celsius."""
    told = [event.fields["temperature_c"] for event in life.those("measured") if event.at <= now and "temperature_c" in event.fields]
    return median(map(float, told)) if told else None  # type: ignore[arg-type]


def holding(book: Book, life: Life, now: int) -> Holding:
    """What it holds, and how that is known."""
    piece = book.fact(life.item, "charge").piece(now)
    percent, by = piece.at(now), events_of(piece.trail)
    if percent is None or not by:
        return Holding(percent, None, None, by, "")  # type: ignore[arg-type]
    way, below, above = _told(by[0], life)
    if way not in ("voltage", "lights"):
        return Holding(float(percent), None, None, by, way)  # type: ignore[arg-type]
    return Holding(float(percent), max(0.0, percent - below), min(100.0, percent + above), by, way)  # type: ignore[operator]


def _told(event: Event, life: Life) -> tuple[str, float, float]:
    """How an entry told the charge, and how far below and above it the truth may lie."""
    if event.what != "measured" or "percent" in event.fields:
        return event.what, 0.0, 0.0
    if "lights" in event.fields:
        half = 50 / int(str(event.fields["lights"]).split(" of ")[1])
        return "lights", half, half
    volts = cell_volts(event, life.item.plate) or []
    read = charge_at(sum(volts) / len(volts), str(life.item.plate["chemistry"]))
    return "voltage", read.value - read.low, read.high - read.value


def outlook(life: Life, known: list[Capacity]) -> Outlook:
    """Where its capacities head, against time and against cycles."""
    last = known[-MOST_READINGS:]
    rated, cycles = float(life.item.plate["capacity"]), life.fact("cycles")  # type: ignore[arg-type]
    ys = [100 * each.mah.value / rated for each in last]
    days = [each.event.at / DAY for each in last]
    counts = [float(cycles.at(each.event.at) or 0) for each in last]
    crossing = reaches(days, ys)
    return Outlook(crossing and crossing.times(DAY), reaches(counts, ys), why_untold(days, ys), theil_sen(days, ys))


def resistance(life: Life, now: int) -> Resistance:
    """Its resistance at mild temperatures."""
    readings = [(event.at, mohm) for event, mohm in mild_resistances(life) if event.at <= now]
    return Resistance(readings, resistance_ratio([mohm for _, mohm in readings]))


def flown(book: Book, life: Life, now: int) -> list[Flights]:
    """How long a percent lasts, by aircraft, against its own past and its sisters."""
    own = _by_aircraft(legs(life), now)
    others = [book.fleet[name] for name in book.fleet.ids("pack") if name != life.item.id]
    sisters = [_by_aircraft(legs(book.lives(other)[-1]), now) for other in others]
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


def own_rate(life: Life, now: int) -> Estimate | None:
    """Self-discharge by its own readings at rest, percent in 30 d; None with too few.

    Only percents that the pack shows. What a pack that empties itself loses then is no self-discharge.
    """
    drain: tuple[int, float, int] | None = life.item.plate["self_drain"]  # type: ignore[assignment]
    stretches: list[list[Reading]] = [[]]
    handled: Event | None = None
    for event in life.those("flown", "charged", "drained", "measured"):
        if event.at > now:
            break
        if event.what != "measured":
            handled = event
            stretches.append([])
        elif "percent" in event.fields and _at_rest(event, handled, drain):
            stretches[-1].append(Reading(event.at / DAY, float(event.fields["percent"])))  # type: ignore[arg-type]
    return fitted_rate(stretches)


def _at_rest(event: Event, handled: Event | None, drain: tuple[int, float, int] | None) -> bool:
    if handled is None:
        return drain is None
    since = event.at - handled.at
    settled = since >= SETTLED or handled.what != "charged"
    return settled and (drain is None or since <= drain[0])
