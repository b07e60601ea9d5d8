"""Say how far a value is from the limit it is compared with."""

from scheduler.base.instants import CalendarSpan
from scheduler.base.units import show
from scheduler.facts.declare import Fact
from scheduler.verdicts.conditions import NUMERIC, Leaf
from scheduler.verdicts.verdict import Verdict


def distance_to_limit(verdict: Verdict, leaf: Leaf, now: int) -> str:
    """Return the distance as a person reads it ("15 % above"); "" if there is none."""
    value = verdict.ask(leaf.fact, leaf.of).at(now)
    if leaf.operator not in NUMERIC or not isinstance(value, int | float) or value == float("inf"):
        return ""
    limit = _in_time(verdict, leaf.limit, value, now) if isinstance(leaf.limit, CalendarSpan) else leaf.limit
    return _describe(value - limit, verdict.store.catalogue[leaf.fact])  # type: ignore[operator]


def _in_time(verdict: Verdict, span: CalendarSpan, age: int | float, now: int) -> int:
    """Return the length of a calendar span that begins where the age was zero."""
    origin = now - int(age)
    return verdict.reach(origin, span) - origin


def _describe(distance: int | float, fact: Fact) -> str:
    if distance == 0:
        return "at the limit"
    side = "above" if distance > 0 else "below"
    text = show(abs(distance), fact.unit)
    return f"just {side}" if text == show(0, fact.unit) else f"{text} {side}"
