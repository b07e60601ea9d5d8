"""How far a value is from the limit that it is held against."""

from scheduler.base.instants import CalendarSpan
from scheduler.base.units import show
from scheduler.facts.declare import Fact
from scheduler.verdicts.conditions import NUMERIC, Leaf
from scheduler.verdicts.verdict import Verdict


def margin(verdict: Verdict, leaf: Leaf, now: int) -> str:
    """The distance from the limit as a person reads it ("15 % above"); "" where there is none to tell."""
    value = verdict.ask(leaf.fact, leaf.of).at(now)
    if leaf.operator not in NUMERIC or not isinstance(value, int | float) or value == float("inf"):
        return ""
    limit = _in_time(verdict, leaf.limit, value, now) if isinstance(leaf.limit, CalendarSpan) else leaf.limit
    return _told(value - limit, verdict.store.catalogue[leaf.fact])  # type: ignore[operator]


def _in_time(verdict: Verdict, span: CalendarSpan, age: int | float, now: int) -> int:
    """The length of a calendar span from where an age was nought."""
    origin = now - int(age)
    return verdict.reach(origin, span) - origin


def _told(distance: int | float, fact: Fact) -> str:
    if distance == 0:
        return "at the limit"
    side = "above" if distance > 0 else "below"
    text = show(abs(distance), fact.unit)
    return f"just {side}" if text == show(0, fact.unit) else f"{text} {side}"
