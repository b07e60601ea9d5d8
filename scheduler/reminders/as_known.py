"""Boards as known at each instant: what a daemon would have had before it."""

from collections.abc import Callable
from typing import NamedTuple

from scheduler.base.instants import MIN_INSTANT
from scheduler.events.event import HOME, Event
from scheduler.events.memory import Memory
from scheduler.events.source import Source
from scheduler.facts.event_cache import Clocks
from scheduler.facts.fact_store import FactStore
from scheduler.facts.jobs import all_jobs
from scheduler.fleet.fleet import Fleet
from scheduler.reminders.board import Board
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Verdict, verdicts


class LogAsKnown:
    """The events of a log as known at an instant that moves forward.

    `watch` is told each instant asked for. An item's verdicts are folded anew only when something recorded since
    touches a name that they asked for. Each item has a book of its own, so that what it asked for is all that its
    verdicts can depend on.
    """

    def __init__(self, fleet: Fleet, clocks: Clocks, rules: Ruleset, memory: Memory) -> None:
        self.memory = memory
        self.now = MIN_INSTANT
        self.watch: Callable[[int], object] = lambda _now: None
        self._fleet = fleet
        self._clocks = clocks
        self._rules = rules
        self._parts: dict[str, _Part] = {}
        self._board: Board | None = None

    def board(self, now: int) -> Board:
        """The board from what was recorded by `now`, which may not lie before the instant asked for last."""
        self.watch(now)
        touched = self.memory.touched(self.now, now)
        self.now = now
        if self._board is None or touched:
            self._board = self._fold(touched)
        return self._board

    def _fold(self, touched: set[str]) -> Board:
        store = self._book(set())
        names = dict.fromkeys([*self._fleet.ids(), *all_jobs(store), HOME])
        self._parts = {name: self._part(name, touched) for name in names}
        board = Board(store, self._rules, items=[])
        board.verdicts = self._in_order(names)
        return board

    def _part(self, name: str, touched: set[str]) -> "_Part":
        part = self._parts.get(name)
        if part is not None and not part.asked & touched:
            return part
        asked: set[str] = set()
        return _Part(verdicts(self._book(asked), self._rules, [name]), asked)

    def _book(self, asked: set[str]) -> FactStore:
        return FactStore(self._fleet, _Listening(self, asked), self._clocks)

    def _in_order(self, names: dict[str, None]) -> list[Verdict]:
        """The verdicts as `verdicts` gives them: rule by rule."""
        rule_place = {rule: place for place, rule in enumerate(self._rules)}
        item_place = {name: place for place, name in enumerate(names)}
        found = [verdict for part in self._parts.values() for verdict in part.verdicts]
        return sorted(found, key=lambda verdict: (rule_place[verdict.rule.id], item_place[verdict.item.id]))


class _Part(NamedTuple):
    """The verdicts on one item, and the names under which they have looked for events so far."""

    verdicts: list[Verdict]
    asked: set[str]


class _Listening(Source):
    """A source of the events known now that notes which names it was asked for."""

    def __init__(self, known: LogAsKnown, asked: set[str]) -> None:
        self._known = known
        self._asked = asked

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """The events in force filed under a name, in order; of one kind where `what` names it."""
        self._asked.add(name)
        return self._known.memory.of(name, what, self._known.now)
