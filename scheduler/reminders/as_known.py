"""Boards as known at each instant: what a daemon had at that time."""

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

    Calls `on_ask` with each instant asked for. Recomputes an item's verdicts only if something recorded since touches a
    name that they depend on. Each item has its own fact store: its verdicts can depend only on the names it asked for.
    """

    def __init__(self, fleet: Fleet, clocks: Clocks, rules: Ruleset, memory: Memory) -> None:
        self.memory = memory
        self.now = MIN_INSTANT
        self.on_ask: Callable[[int], object] = lambda _now: None
        self._fleet = fleet
        self._clocks = clocks
        self._rules = rules
        self._by_item: dict[str, _ItemVerdicts] = {}
        self._board: Board | None = None

    def board(self, now: int) -> Board:
        """Return the board from what was recorded by `now`.

        `now` must not lie before the last instant asked for.
        """
        self.on_ask(now)
        touched = self.memory.touched(self.now, now)
        self.now = now
        if self._board is None or touched:
            self._board = self._build(touched)
        return self._board

    def _build(self, touched: set[str]) -> Board:
        store = self._store(set())
        names = dict.fromkeys([*self._fleet.ids(), *all_jobs(store), HOME])
        self._by_item = {name: self._item_verdicts(name, touched) for name in names}
        board = Board(store, self._rules, items=[])
        board.verdicts = self._in_order(names)
        return board

    def _item_verdicts(self, name: str, touched: set[str]) -> "_ItemVerdicts":
        part = self._by_item.get(name)
        if part is not None and not part.asked & touched:
            return part
        asked: set[str] = set()
        return _ItemVerdicts(verdicts(self._store(asked), self._rules, [name]), asked)

    def _store(self, asked: set[str]) -> FactStore:
        return FactStore(self._fleet, _RecordingSource(self, asked), self._clocks)

    def _in_order(self, names: dict[str, None]) -> list[Verdict]:
        """Return the verdicts in the order of `verdicts`: rule by rule."""
        rule_place = {rule: place for place, rule in enumerate(self._rules)}
        item_place = {name: place for place, name in enumerate(names)}
        found = [verdict for part in self._by_item.values() for verdict in part.verdicts]
        return sorted(found, key=lambda verdict: (rule_place[verdict.rule.id], item_place[verdict.item.id]))


class _ItemVerdicts(NamedTuple):
    """The verdicts on one item, and the names whose events they asked for so far."""

    verdicts: list[Verdict]
    asked: set[str]


class _RecordingSource(Source):
    """A source of the events known now that notes the names it is asked for."""

    def __init__(self, known: LogAsKnown, asked: set[str]) -> None:
        self._known = known
        self._asked = asked

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """Return the valid events filed under a name, in order; `what`: one kind."""
        self._asked.add(name)
        return self._known.memory.of(name, what, self._known.now)
