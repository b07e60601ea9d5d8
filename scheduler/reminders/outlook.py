"""What will fall due: by the calendar, if nothing more is logged; and by use, if flying goes on as of late.

Use is supposed, not foreseen. Each aircraft's weekly time in the air over the last 13 weeks, or since its first flight
on record, has a mean m and a standard deviation s; weeks are taken as independent, so that after t weeks the sum lies
between m t - z s sqrt(t) and m t + z s sqrt(t) with a chance of 80 % (z = 1.2816, the normal distribution's 90 %
point). Flights are supposed along the two edges and along the middle, and the rules are asked of each as of any log: an
estimate, as good as those weeks are like the ones to come.
"""

from collections import Counter
from math import sqrt
from statistics import fmean, stdev
from typing import NamedTuple

from scheduler.events.log import Event
from scheduler.events.source import Source
from scheduler.facts.book import Book, Clocks
from scheduler.facts.wear import airtime_of, flights_of
from scheduler.fleet.fleet import Fleet
from scheduler.instants import DUSK, WEEK, rfc3339
from scheduler.reminders.board import Board, Reminder
from scheduler.verdicts.cases import Cases
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Key
from scheduler.verdicts.ways import turns_at

WEEKS = 13
"""The weeks that tell of late use: 91 days."""
LEAST_WEEKS = 4
"""From so many weeks since the first flight on record they do. Common practice, no source."""
Z = 1.2816
"""The 90 % point of the standard normal distribution: 80 % lie between its negative and it."""
_MOST = 2000


class Use(NamedTuple):
    """An aircraft's use over so many `weeks` of late. `weekly` and `spread`: mean and standard deviation of its weekly
    time in the air, microseconds. `flight`: that of one flight. `packs`: how often which packs flew together.
    `percent`: what a flight takes from each."""

    aircraft: str
    weeks: int
    flights: int
    weekly: float
    spread: float
    flight: float
    packs: Counter[tuple[str, ...]]
    percent: float


class Due(NamedTuple):
    """A reminder that will open. `number`: 1 for the first of its rule and item in the outlook. `at`: when by the
    calendar, or in the middle of what use makes likely; `low` and `high`: the range; None beyond the time looked at.
    `by_use`: it comes from supposed flights. `unless_used`: flying as of late would put it off."""

    reminder: Reminder
    number: int
    at: int | None
    low: int
    high: int | None
    by_use: bool
    unless_used: bool = False


class Outlook(NamedTuple):
    """What opens in (now, end], in order of the earliest, with the use it rests on. `fresh`: the aircraft of which too
    few weeks are on record to tell, with the first flight of each."""

    now: int
    end: int
    due: list[Due]
    uses: list[Use]
    fresh: list[tuple[str, int]]


class Over(Source):
    """One source of events over another."""

    def __init__(self, under: Source, upper: Source) -> None:
        self._under = under
        self._upper = upper

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """The events of both, in order."""
        return sorted([*self._under.of(name, what), *self._upper.of(name, what)])


class Until(Source):
    """A source of events up to an instant."""

    def __init__(self, source: Source, last: int) -> None:
        self._source = source
        self._last = last

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """The events that happened by then, in order."""
        return [event for event in self._source.of(name, what) if event.at <= self._last]


def outlook(fleet: Fleet, clocks: Clocks, source: Source, rules: Ruleset, now: int, end: int) -> Outlook:
    """What will open in (now, end], from the events up to now."""
    past = Until(source, now)
    book = Book(fleet, past, clocks)
    began = {name: flights[0].at for name in fleet.ids("aircraft") if (flights := book.filed(name, "flown"))}
    fresh = [(name, first) for name, first in began.items() if now - first < LEAST_WEEKS * WEEK]
    flying = [name for name in began if name not in dict(fresh)]
    uses = [use for name in flying if (use := use_of(book, name, now)) is not None]
    plain = _openings(Board(book, rules, as_told=False), now, end)
    paths = []
    for z in (-Z, 0.0, Z):
        flown = Cases([event for use in uses for event in supposed_flights(use, now, end, z)])
        other = Book(fleet, Over(past, flown), clocks)
        paths.append(_openings(Board(other, rules, as_told=False), now, end) if uses else plain)
    due = [found for key in dict.fromkeys([*plain, *paths[2]]) for found in _due(key, plain, paths)]
    return Outlook(now, end, sorted(due, key=lambda each: (each.low, each.reminder.key)), uses, fresh)


def use_of(book: Book, aircraft: str, now: int) -> Use | None:
    """The use of an aircraft that has flown, over the last weeks; None when it did not fly in them."""
    all_flights = book.filed(aircraft, "flown")
    flown = [event for event in all_flights if now - WEEKS * WEEK < event.at <= now]
    if not flown:
        return None
    weeks = [0] * min(WEEKS, 1 + (now - all_flights[0].at) // WEEK)
    for event in flown:
        weeks[(now - event.at) // WEEK] += airtime_of(event)
    packs: Counter[tuple[str, ...]] = Counter()
    for event in flown:
        packs[tuple(event.get("packs"))] += flights_of(event)
    flights = packs.total()
    flight, taken = sum(weeks) / flights, _percent(book, packs, now)
    return Use(aircraft, len(weeks), flights, fmean(weeks), stdev(weeks), flight, packs, taken)


def _percent(book: Book, packs: Counter[tuple[str, ...]], now: int) -> float:
    """What a flight took from a pack on average, by their cycles: percent."""
    flown = Counter(pack for together, count in packs.items() for pack in together for _ in range(count))
    taken = 0.0
    for pack in flown:
        cycles = book.fact(book.fleet[pack], "cycles")
        taken += max(0.0, float(cycles.at(now) or 0) - float(cycles.at(now - WEEKS * WEEK) or 0))
    return min(100.0, 100 * taken / flown.total())


def supposed_flights(use: Use, now: int, end: int, z: float) -> list[dict[str, object]]:
    """Flights along one path of use: the n-th where the sum along it reaches n flights. Lines for wear only."""
    flights: list[dict[str, object]] = []
    turns: Counter[tuple[str, ...]] = Counter()
    while len(flights) < _MOST:
        at = now + 1 + round(reaches(use, (len(flights) + 1) * use.flight, z) * WEEK)
        if at > end:
            break
        packs = max(use.packs, key=lambda together: use.packs[together] / (turns[together] + 1))
        turns[packs] += 1
        flights.append({
            "at": rfc3339(at), "what": "flown", "aircraft": use.aircraft, "packs": list(packs),
            "minutes": use.flight / 60e6, "flights": 1, "percent_to": 100 - use.percent,
        })  # fmt: skip
    return flights


def reaches(use: Use, airtime: float, z: float) -> float:
    """Weeks until m t + z s sqrt(t) is at `airtime` for good: the greater root of a quadratic in sqrt(t)."""
    bend = z * use.spread
    root = (-bend + sqrt(bend * bend + 4 * use.weekly * airtime)) / (2 * use.weekly)
    return root * root


def _openings(board: Board, now: int, end: int) -> dict[Key, list[Reminder]]:
    found: dict[Key, list[Reminder]] = {}
    for reminder in board.reminders:
        if now < reminder.stretch.opened <= min(end, DUSK - 1):
            found.setdefault(reminder.key, []).append(reminder)
    return found


def _due(key: Key, plain: dict[Key, list[Reminder]], paths: list[dict[Key, list[Reminder]]]) -> list[Due]:
    """What falls due of one rule and item: by use where that comes first, else as the calendar has it."""
    by_calendar = plain.get(key, [])
    least, middle, most = (_first(path.get(key, [])) for path in paths)
    sooner = next((reminder for reminder in paths[2].get(key, ()) if _counts(reminder)), None)
    if sooner is not None and (not by_calendar or sooner.stretch.opened < by_calendar[0].stretch.opened):
        return [Due(sooner, 1, middle, most or sooner.stretch.opened, least, by_use=True)]
    in_use = {reminder.stretch.opened for reminder in paths[1].get(key, [])}
    return [
        Due(reminder, number, opened, opened, opened, by_use=False, unless_used=opened not in in_use)
        for number, reminder in enumerate(by_calendar, 1)
        for opened in [reminder.stretch.opened]
    ]


def _counts(reminder: Reminder) -> bool:
    """True where it opens because a count has grown: a supposed flight tells of nothing else."""
    verdict, opened = reminder.verdict, reminder.stretch.opened
    return any(
        leaf.operator in ("at_least", "more_than") and becomes == "yes"
        and verdict.ask(leaf.fact, leaf.of).piece(opened).slope is None
        for leaf, becomes in turns_at(verdict, opened)
    )  # fmt: skip


def _first(reminders: list[Reminder]) -> int | None:
    return reminders[0].stretch.opened if reminders else None
