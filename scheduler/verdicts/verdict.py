"""A rule applied to an item."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from functools import cached_property
from operator import itemgetter
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, CalendarSpan, add_span
from scheduler.events.event import Event
from scheduler.facts.event_times import begins_at
from scheduler.facts.fact_store import FactStore
from scheduler.facts.intervals import UNKNOWN, YES, Intervals, every
from scheduler.facts.item_events import item_named, kind_of, names_of, prefetch_items
from scheduler.facts.jobs import CHANGED_BY_PLANS, find_job, plans_for
from scheduler.facts.service import out_of_service
from scheduler.facts.timeline import Timeline
from scheduler.fleet.fleet import Item
from scheduler.verdicts.conditions import Condition, Leaf, intervals, leaves
from scheduler.verdicts.episodes import Cut, Episode, at_rest, episodes
from scheduler.verdicts.rule import URGENCIES, Rule, Ruleset


class Key(NamedTuple):
    """The identity of a reminder, except its time: rule and item, never values."""

    rule: str
    item: str


Since = Callable[[Key], int]
"""By rule and item: the instant before which ended reminders are not wanted."""


class _Solution(NamedTuple):
    """When a rule's `when` and `until` are true, from `start` on."""

    start: int
    when: Intervals
    until: Intervals | None


class Verdict:
    """When a rule applies to an item, and the reminders that follow. Solved lazily.

    `rules`: the rules that are on, for texts that mention other reminders; None for a rule alone. `since`: reminders
    that ended before it are not wanted.
    """

    def __init__(
        self, rule: Rule, item: Item, store: FactStore, rules: Ruleset | None = None, since: int = MIN_INSTANT
    ) -> None:
        self.rule = rule
        self.item = item
        self.store = store
        self._rises: dict[int, list[tuple[int, str]]] = {}
        self.rules = rules
        self._since = since

    @cached_property
    def key(self) -> Key:
        """The identity of its reminders."""
        return Key(self.rule.id, self.item.id)

    @property
    def zone(self) -> ZoneInfo:
        """The operator's zone."""
        return self.store.clocks.zone

    def ask(self, fact: str, of: str | None = None, since: int = MIN_INSTANT) -> Timeline:
        """Return a fact of the item, from `since` on."""
        return self.store.fact(self.item, fact, of, since)

    def reach(self, origin: int, span: CalendarSpan) -> int:
        """Return the instant a calendar span after `origin`."""
        return add_span(origin, span, self.store.clocks.zone)

    def solve(self, condition: Condition, since: int = MIN_INSTANT) -> Intervals:
        """Return when a condition is true from `since` on; before that, as at `since`."""
        return intervals(condition, self.ask, self.reach, since)

    @cached_property
    def asked(self) -> tuple[Leaf, ...]:
        """Every comparison that the rule makes to fire."""
        return tuple(leaves(self.rule.when))

    @cached_property
    def of_morning(self) -> bool:
        """True for the message on a job's morning; no other goes out in quiet hours."""
        return self.rule.about == "job" and any(leaf.fact == "job_morning" for leaf in self.asked)

    @property
    def when(self) -> Intervals:
        """When the rule's `when` is true; no while the item is retired."""
        return self._solved.when

    @property
    def until(self) -> Intervals | None:
        """When the rule's `until` is true; None without one."""
        return self._solved.until

    @cached_property
    def _solved(self) -> "_Solution":
        """Solve from `since` if none can be open then; else all time, for the opening."""
        late = self._solve_from(self._since)
        enough = self._since == MIN_INSTANT or at_rest(late.when, late.until, self._since)
        return late if enough else self._solve_from(MIN_INSTANT)

    def _solve_from(self, start: int) -> "_Solution":
        until, when = self.rule.until, self.solve(self.rule.when, start)
        if self._out_of_service:
            when = every([when, *(~Intervals.always(YES).clipped(*gone) for gone in self._out_of_service)])
        return _Solution(start, when, None if until is None else self.solve(until, start))

    @cached_property
    def _out_of_service(self) -> list[tuple[int, int]]:
        """Intervals from `retired` to replacement; none if the rule outlives retirement."""
        return [] if self.rule.outlives_retirement else out_of_service(self.store, self.item)

    @cached_property
    def episodes(self) -> list[Episode]:
        """The rule's reminders on the item."""
        return episodes(self.when, self.until, self._cuts())

    def _cuts(self) -> list[Cut]:
        replaced = [(lifetime.start, "replaced") for lifetime in self.store.lifetimes(self.item)[1:]]
        return replaced + [(start, "retired") for start, _ in self._out_of_service]

    def open_at(self, instant: int) -> Episode | None:
        """Return the reminder that is open at an instant."""
        place = bisect_right(self.episodes, instant, key=itemgetter(0)) - 1
        return self.episodes[place] if place >= 0 and self.episodes[place].holds(instant) else None

    @cached_property
    def _rungs(self) -> list[tuple[str, Intervals]]:
        always, start = Intervals.always(YES), self._solved.start
        return [(word, always if part is None else self.solve(part, start)) for word, part in self.rule.urgency]

    @cached_property
    def _urgencies(self) -> tuple[list[int], list[str]]:
        """The instants at which the urgency may change, and how urgent it is from each."""
        turns = sorted({turn for _, where in self._rungs for turn in where.starts})
        last = self.rule.urgency[-1][0]
        return turns, [next((w for w, where in self._rungs if where.at(turn) == YES), last) for turn in turns]

    def urgency(self, instant: int) -> str:
        """Return the urgency of the reminder at an instant."""
        turns, words = self._urgencies
        return words[bisect_right(turns, instant) - 1]

    def rises(self, episode: Episode) -> list[tuple[int, str]]:
        """Return (instant, urgency) of each rise of a reminder, its opening first."""
        if episode.opened not in self._rises:
            self._rises[episode.opened] = self._rises_in(episode)
        return self._rises[episode.opened]

    def _rises_in(self, episode: Episode) -> list[tuple[int, str]]:
        turns, words = self._urgencies
        found = [(episode.opened, self.urgency(episode.opened))]
        for turn, word in zip(turns, words, strict=True):
            if episode.opened < turn < episode.ended and URGENCIES.index(word) < URGENCIES.index(found[-1][1]):
                found.append((turn, word))
        return found

    @cached_property
    def turns(self) -> list[int]:
        """The instants at which something changes, in order.

        A reminder opens, ends, grows more or less urgent; its condition becomes unknown or known; the rule can no
        longer, or again, be judged.
        """
        found: set[int] = set()
        for episode in self.episodes:
            found |= {episode.opened, episode.ended, *(turn for dark in episode.unknown for turn in dark)}
            found |= {turn for turn in self._urgencies[0] if episode.opened < turn < episode.ended}
        if UNKNOWN in self.when.values:
            found |= {turn for start, end, value in self.when if value == UNKNOWN for turn in (start, end)}
        return sorted(found - {MIN_INSTANT, MAX_INSTANT}) if found else []

    def next_turn(self, instant: int) -> int | None:
        """Return the first of the turns after an instant."""
        index = bisect_right(self.turns, instant)
        return self.turns[index] if index < len(self.turns) else None

    def next_change(self, instant: int) -> int | None:
        """Return when anything but an event first changes this verdict after `instant`."""
        turns = [self.when.next_change(instant), self.until.next_change(instant) if self.until else None]
        turns += [where.next_change(instant) for _, where in self._rungs]
        turns += [t for s in self.episodes for t in (s.opened, s.ended) if instant < t < MAX_INSTANT]
        return min((turn for turn in turns if turn is not None), default=None)

    @cached_property
    def events(self) -> list[Event]:
        """The item's events, in order."""
        return self.store.events(self.item)

    @cached_property
    def _plan_instants(self) -> set[int]:
        """When the plans for the item changed, if the rule depends on plans."""
        asked = (leaf.fact for part in self.rule.conditions for leaf in leaves(part))
        if self.rule.about != "job" and not any(fact in CHANGED_BY_PLANS for fact in asked):
            return set()
        plans = plans_for(self.store, self.item, self._solved.start)

        def gather() -> set[int]:
            return {turn for plan in plans for turn in (plan.known_from, plan.known_to)}

        return self.store.compute_once(("plan instants", id(plans)), gather)

    def event_at(self, instant: int) -> Event | None:
        """Return the item's last event at an instant; a flight lasts until landing."""
        return max((event for event in self.events if begins_at(event) <= instant <= event.at), default=None)

    def opened_by_event(self, instant: int) -> bool:
        """Return True if an event, not the clock alone, changed something at `instant`."""
        place = bisect_left(self.events, instant, key=itemgetter(0))
        there = place < len(self.events) and self.events[place].at == instant
        return there or instant in self._plan_instants


def verdicts(
    store: FactStore,
    rules: Ruleset,
    items: list[str] | None = None,
    only: list[str] | None = None,
    since: Since | None = None,
) -> list[Verdict]:
    """Apply all rules or `only` some to their items or some, for all time or `since`."""
    wanted = None if items is None else _by_kind(store, items)
    found = []
    for rule_id in rules if only is None else (rule for rule in rules if rule in only):
        about = rules.raw(rule_id)["about"]
        for name in names_of(store, about) if wanted is None else wanted.get(about, ()):
            rule = rules.get(rule_id, name)
            if rule is not None:
                begins = MIN_INSTANT if since is None else since(Key(rule_id, name))
                found.append(Verdict(rule, item_named(store, about, name), store, rules, begins))
    return found


def _by_kind(store: FactStore, items: list[str]) -> dict[str, list[str]]:
    """Return names by kind, in the fleet's order; leave out names of nothing.

    A job may have the name of an item, or of the home: then both count.
    """
    prefetch_items(store, items)
    found: dict[str, list[str]] = {}
    for name in store.fleet.in_order(items):
        kind = kind_of(store, name)
        if kind is not None:
            found.setdefault(kind, []).append(name)
        if kind != "job" and find_job(store, name) is not None:
            found.setdefault("job", []).append(name)
    return found
