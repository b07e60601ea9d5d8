"""The plainest way to watch rules: ask each, every minute. What the solved verdicts are measured against."""

from scheduler.base.instants import CalendarSpan
from scheduler.facts.timeline import Timeline
from scheduler.reminders.board import Board
from scheduler.verdicts.conditions import Condition, Every, Leaf, Not

_COMPARE = {
    "at_least": lambda value, limit: value >= limit,
    "more_than": lambda value, limit: value > limit,
    "at_most": lambda value, limit: value <= limit,
    "less_than": lambda value, limit: value < limit,
    "is": lambda value, limit: value == limit,
    "is_not": lambda value, limit: value != limit,
    "one_of": lambda value, limit: value in limit,
}


class Poller:
    """Asks all rules of a board at an instant; remembers since when each lasting comparison holds."""

    def __init__(self, board: Board) -> None:
        self.conditions = [(verdict.rule.when, verdict) for verdict in board.verdicts]
        self.facts: dict[tuple[int, str, str | None], Timeline] = {
            (id(verdict), leaf.fact, leaf.of): verdict.ask(leaf.fact, leaf.of)
            for condition, verdict in self.conditions
            for leaf in _leaves(condition)
        }
        self.since: dict[tuple[int, Leaf], int] = {}

    def ask(self, now: int) -> int:
        """How many rules hold."""
        return sum(bool(self._holds(condition, id(verdict), now)) for condition, verdict in self.conditions)

    def _holds(self, condition: Condition, owner: int, now: int) -> bool | None:
        if isinstance(condition, Leaf):
            return self._leaf(condition, owner, now)
        if isinstance(condition, Not):
            inner = self._holds(condition.part, owner, now)
            return None if inner is None else not inner
        results = [self._holds(part, owner, now) for part in condition.parts]
        decisive = not isinstance(condition, Every)
        return decisive if decisive in results else None if None in results else not decisive

    def _leaf(self, leaf: Leaf, owner: int, now: int) -> bool | None:
        value = self.facts[owner, leaf.fact, leaf.of].at(now)
        if value is None or isinstance(leaf.limit, CalendarSpan):
            return None
        holds = _COMPARE[leaf.operator](value, leaf.limit)
        if not leaf.lasting:
            return holds
        if not holds:
            self.since.pop((owner, leaf), None)
            return False
        return now - self.since.setdefault((owner, leaf), now) >= leaf.lasting


def _leaves(condition: Condition) -> list[Leaf]:
    if isinstance(condition, Leaf):
        return [condition]
    parts = (condition.part,) if isinstance(condition, Not) else condition.parts
    return [leaf for part in parts for leaf in _leaves(part)]


class EnginePoller(Poller):
    """The same with the comparisons left to a general rule engine: simpleeval, its expressions parsed once.

    Where a fact is unknown the engine is spared the question, which is in its favour.
    """

    def __init__(self, board: Board) -> None:
        from simpleeval import SimpleEval

        super().__init__(board)
        self.engine = SimpleEval()
        self.parsed = []
        for condition, verdict in self.conditions:
            asked = _leaves(condition)
            text = _expression(condition, asked)
            self.parsed.append((text, self.engine.parse(text), asked, id(verdict)))

    def ask(self, now: int) -> int:
        """How many rules hold."""
        return sum(self._ask(*entry, now) for entry in self.parsed)

    def _ask(self, text: str, parsed: object, asked: list[Leaf], owner: int, now: int) -> bool:
        names: dict[str, object] = {}
        for number, leaf in enumerate(asked):
            value = self.facts[owner, leaf.fact, leaf.of].at(now)
            if value is None or isinstance(leaf.limit, CalendarSpan):
                return False
            names[f"v{number}"], names[f"l{number}"] = value, leaf.limit
            if leaf.lasting:
                self._leaf(leaf, owner, now)
                names[f"h{number}"] = now - self.since.get((owner, leaf), now)
        self.engine.names = names
        return bool(self.engine.eval(text, previously_parsed=parsed))


_WRITTEN = {
    "at_least": ">=",
    "more_than": ">",
    "at_most": "<=",
    "less_than": "<",
    "is": "==",
    "is_not": "!=",
    "one_of": "in",
}


def _expression(condition: Condition, asked: list[Leaf]) -> str:
    if isinstance(condition, Leaf):
        number = next(index for index, leaf in enumerate(asked) if leaf is condition)
        held = f" and h{number} >= {condition.lasting}" if condition.lasting else ""
        return f"(v{number} {_WRITTEN[condition.operator]} l{number}{held})"
    if isinstance(condition, Not):
        return f"(not {_expression(condition.part, asked)})"
    word = " and " if isinstance(condition, Every) else " or "
    return f"({word.join(_expression(part, asked) for part in condition.parts)})"
