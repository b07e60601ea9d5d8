"""What will fall due: by the calendar, and by use if flying goes on as lately.

The calendar supposes that nothing more is logged. Use is assumed, not predicted. Each aircraft's weekly airtime over
the last 13 weeks, or since its first flight on record, has a mean m and a standard deviation s. Weeks count as
independent: with 80 % probability, the sum after t weeks lies between m t - z s sqrt(t) and m t + z s sqrt(t) (where z
= 1.2816, the normal distribution's 90 % point). Flights are added along the two edges and along the middle, and the
rules judge each case as they judge any log: an estimate, as good as those weeks resemble the ones to come.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from math import sqrt
from statistics import fmean, stdev
from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, WEEK, rfc3339
from scheduler.events.event import Event, concerned
from scheduler.events.source import Source, latest_and_after
from scheduler.facts.event_cache import Clocks
from scheduler.facts.event_times import airtime_of, flights_of
from scheduler.facts.fact_store import FactStore
from scheduler.fleet.fleet import Fleet
from scheduler.reminders.board import Reminder
from scheduler.reminders.groups import boards
from scheduler.verdicts.cases import Cases
from scheduler.verdicts.minimal_changes import changes_at
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Key

WEEKS = 13
"""The weeks from which use is estimated: 91 days."""
LEAST_WEEKS = 4
"""Weeks since the first flight on record that an estimate needs. Common practice, no source."""
Z = 1.2816
"""The 90 % point of the standard normal distribution: 80 % lie between its negative and it."""
_MOST = 2000


class Use(NamedTuple):
    """An aircraft's use over the last `weeks`.

    `weekly` and `spread`: mean and standard deviation of its weekly airtime, microseconds. `flight`: airtime of one
    flight. `packs`: how often which packs flew together. `percent`: charge that a flight takes from each.
    """

    aircraft: str
    weeks: int
    flights: int
    weekly: float
    spread: float
    flight: float
    packs: Counter[tuple[str, ...]]
    percent: float


Describe = Callable[[Reminder], str]
"""Returns the text on a reminder."""
Instants = dict[Key, list[int]]
"""Instants of opening, by rule and item."""


class Due(NamedTuple):
    """A reminder that will open.

    `do`: its text then. `number`: 1 for the first of its rule and item in the outlook. `at`: by the calendar, or
    in the middle of what use makes likely; `low` and `high`: the range; None after the end of the outlook. `by_use`: it
    comes from assumed flights. `unless_used`: flying as before would put it off.
    """

    key: Key
    title: str
    do: str
    number: int
    at: int | None
    low: int
    high: int | None
    by_use: bool
    unless_used: bool = False


class Outlook(NamedTuple):
    """What opens in (now, end], earliest first, with the use assumed.

    `too_new`: aircraft with too few weeks on record, with the first flight of each.
    """

    now: int
    end: int
    due: list[Due]
    uses: list[Use]
    too_new: list[tuple[str, int]]


class SupposedFlights(Source):
    """The events of a source up to an instant, then assumed flights.

    The flights follow one path of use and are made on demand.
    """

    def __init__(self, source: Source, now: int, end: int, uses: list[Use], z: float) -> None:
        self._source = source
        self._now = now
        self._end = end
        self._uses = uses
        self._z = z
        self._made: dict[str, list[Event]] = {}
        self._flying: dict[str, list[Use]] = {}
        for use in uses:
            for name in dict.fromkeys([use.aircraft, *chain.from_iterable(use.packs)]):
                self._flying.setdefault(name, []).append(use)

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """Return the events of both, in order."""
        return [*self._past(self._source.of(name, what)), *self._flights(name, what)]

    def all_but(self, name: str, what: str) -> list[Event]:
        """Return the events of both, except those of one kind."""
        flights = [event for event in self._flights(name) if event.what != what]
        return [*self._past(self._source.all_but(name, what)), *flights]

    def first_at(self, name: str, what: str) -> int | None:
        """Return when the first event of a kind happened; None without any."""
        first = self._source.first_at(name, what)
        if first is not None and first <= self._now:
            return first
        return next((event.at for event in self._flights(name, what)), None)

    def latest_and_after(self, name: str, what: str, since: int) -> list[Event]:
        """Return the last event of a kind at or before an instant, and those after."""
        past = self._past(self._source.latest_and_after(name, what, min(since, self._now)))
        return latest_and_after([*past, *self._flights(name, what)], since)

    def instants(self, names: Iterable[str], since: int = MIN_INSTANT) -> set[int]:
        """Return the instants of all of them."""
        past = {at for at in self._source.instants(names, min(since, self._now)) if at <= self._now}
        return past | {event.at for use in self._uses for event in self._along(use)}

    def afresh(self) -> "SupposedFlights":
        """Return the same source with no flight made yet."""
        return SupposedFlights(self._source.afresh(), self._now, self._end, self._uses, self._z)

    def _past(self, events: list[Event]) -> list[Event]:
        return [event for event in events if event.at <= self._now]

    def _flights(self, name: str, what: str | None = None) -> list[Event]:
        if what not in (None, "flown"):
            return []
        flights = (event for use in self._flying.get(name, ()) for event in self._along(use))
        return sorted(event for event in flights if name in concerned(event.fields))

    def _along(self, use: Use) -> list[Event]:
        if use.aircraft not in self._made:
            flights = supposed_flights(use, self._now, self._end, self._z)
            self._made[use.aircraft] = Cases(flights, use.aircraft).events
        return self._made[use.aircraft]


def outlook(
    fleet: Fleet,
    clocks: Clocks,
    source: Source,
    rules: Ruleset,
    groups: list[list[str]],
    now: int,
    end: int,
    describe: Describe,
) -> Outlook:
    """Return what will open in (now, end], from the events up to now.

    The items are judged group by group; each reminder is described before the entries of its group are released.
    """

    def store_with(uses: list[Use], z: float) -> FactStore:
        return FactStore(fleet, SupposedFlights(source, now, end, uses, z), clocks)

    def openings(uses: list[Use], z: float = 0.0) -> Iterator[list[Reminder]]:
        """Yield a rule's openings on an item, in order; describe each before the next."""
        for board in boards(store_with(uses, z), rules, groups, as_recorded=False, since=lambda _key: now):
            for verdict in board.verdicts:
                found = [each for each in verdict.episodes if now < each.opened <= min(end, MAX_INSTANT - 1)]
                if found:
                    yield [Reminder(verdict, episode) for episode in found]

    uses, too_new = _uses(store_with([], 0.0), now)
    due = [each for reminders in openings([]) for each in _by_calendar(reminders, describe)]
    if uses:
        least, middle = (_instants(openings(uses, z)) for z in (-Z, 0.0))
        first = {each.key: each.low for each in due if each.number == 1}
        by_use = [_by_use(reminders, describe, first, middle, least) for reminders in openings(uses, Z)]
        sooner = {each.key: each for each in by_use if each is not None}
        kept = [each for each in due if each.key not in sooner]
        due = [each._replace(unless_used=each.at not in middle.get(each.key, ())) for each in kept] + [*sooner.values()]
    return Outlook(now, end, sorted(due, key=lambda each: (each.low, each.key)), uses, too_new)


def _uses(store: FactStore, now: int) -> tuple[list[Use], list[tuple[str, int]]]:
    """Return the use of each aircraft that flew lately, and those too new.

    Those too new come with the first flight of each.
    """
    uses, too_new = [], []
    for name in store.fleet.ids("aircraft"):
        own = store.fresh_copy()
        flights = own.filed(name, "flown")
        if flights and now - flights[0].at < LEAST_WEEKS * WEEK:
            too_new.append((name, flights[0].at))
        elif flights and (use := use_of(own, name, now)) is not None:
            uses.append(use)
        own.close()
    return uses, too_new


def use_of(store: FactStore, aircraft: str, now: int) -> Use | None:
    """Return a flown aircraft's use; None without flights in the last weeks."""
    all_flights = store.filed(aircraft, "flown")
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
    flight, taken = sum(weeks) / flights, _percent(store, packs, now)
    return Use(aircraft, len(weeks), flights, fmean(weeks), stdev(weeks), flight, packs, taken)


def _percent(store: FactStore, packs: Counter[tuple[str, ...]], now: int) -> float:
    """Return the mean percent of charge a flight took from a pack, by cycles."""
    flown = Counter(pack for together, count in packs.items() for pack in together for _ in range(count))
    taken = 0.0
    for pack in flown:
        cycles = store.fact(store.fleet[pack], "cycles")
        taken += max(0.0, float(cycles.at(now) or 0) - float(cycles.at(now - WEEKS * WEEK) or 0))
    return min(100.0, 100 * taken / flown.total())


def supposed_flights(use: Use, now: int, end: int, z: float) -> list[dict[str, object]]:
    """Return flights along one path of use; they count for wear only.

    The n-th comes when the airtime reaches n flights.
    """
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
    """Return the weeks until m t + z s sqrt(t) stays at or above `airtime`.

    That is the greater root in sqrt(t).
    """
    bend = z * use.spread
    root = (-bend + sqrt(bend * bend + 4 * use.weekly * airtime)) / (2 * use.weekly)
    return root * root


def _by_calendar(reminders: list[Reminder], describe: Describe) -> list[Due]:
    return [
        Due(each.key, each.verdict.rule.title, describe(each), number, opened, opened, opened, by_use=False)
        for number, each in enumerate(reminders, 1)
        for opened in [each.episode.opened]
    ]


def _by_use(
    reminders: list[Reminder], describe: Describe, by_calendar: dict[Key, int], middle: Instants, least: Instants
) -> Due | None:
    """Return the first opening with much use, if it comes before the calendar's."""
    key, low = reminders[0].key, reminders[0].episode.opened
    early = [each for each in reminders if each.episode.opened < by_calendar.get(key, MAX_INSTANT)]
    sooner = next(filter(_counts, early), None)
    if sooner is None:
        return None
    at, high = (path[key][0] if key in path else None for path in (middle, least))
    return Due(key, sooner.verdict.rule.title, describe(sooner), 1, at, low, high, by_use=True)


def _instants(openings: Iterable[list[Reminder]]) -> Instants:
    return {reminders[0].key: [each.episode.opened for each in reminders] for reminders in openings}


def _counts(reminder: Reminder) -> bool:
    """Return True if a grown count opens it: assumed flights show nothing else."""
    verdict, opened = reminder.verdict, reminder.episode.opened
    return any(
        leaf.operator in ("at_least", "more_than") and becomes == "yes"
        and verdict.ask(leaf.fact, leaf.of).segment(opened).slope is None
        for leaf, becomes in changes_at(verdict, opened)
    )  # fmt: skip
