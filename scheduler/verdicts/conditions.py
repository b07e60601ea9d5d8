"""Conditions: what a rule asks of the facts of an item."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple, Union

from scheduler.base.instants import MIN_INSTANT, CalendarSpan, parse_span
from scheduler.base.units import parse
from scheduler.facts.declare import Fact
from scheduler.facts.intervals import NO, YES, Intervals, every, some
from scheduler.facts.timeline import Timeline

NUMERIC = ("at_least", "more_than", "at_most", "less_than")
NAMED = ("is", "is_not", "one_of")
OPERATORS = (*NUMERIC, *NAMED)
AGES = ("age", "idle", "hours_since_reading", "since_inspected", "since_capacity_test")
"""Facts that rise with time from zero: only these compare with months and years, whose length varies."""

Ask = Callable[[str, str | None, int], Timeline]
"""Return a fact (and variant) of the item, from an instant on."""
Reach = Callable[[int, CalendarSpan], int]
"""Return the instant a calendar span after another, in the operator's zone."""


class Leaf(NamedTuple):
    """One comparison.

    `limit_name`, `lasting_name`: the rule's limits that gave the values, if any.
    """

    fact: str
    of: str | None
    operator: str
    limit: object
    limit_name: str | None
    lasting: int = 0
    lasting_name: str | None = None


class Every(NamedTuple):
    """All parts are true."""

    parts: tuple["Condition", ...]


class Some(NamedTuple):
    """At least one part is true."""

    parts: tuple["Condition", ...]


class Not(NamedTuple):
    """The part, a condition, is not true."""

    part: Any  # in quotes it would be compiled at import, and the first use of the compiler costs a millisecond


Condition = Union[Leaf, Every, Some, Not]  # noqa: UP007 - the parts refer to it before it is made


def build(raw: dict, limits: dict[str, object], about: str, catalogue: Mapping[str, Fact]) -> Condition:
    """Build a condition from checked YAML. Raises ValueError where `faults` finds any."""
    if "all" in raw:
        return Every(tuple(build(part, limits, about, catalogue) for part in raw["all"]))
    if "any" in raw:
        return Some(tuple(build(part, limits, about, catalogue) for part in raw["any"]))
    if "not" in raw:
        return Not(build(raw["not"], limits, about, catalogue))
    return leaf_of(raw, limits, about, catalogue)


def leaf_of(raw: dict, limits: dict[str, object], about: str, catalogue: Mapping[str, Fact]) -> Leaf:
    """Build a comparison from checked YAML. Raises ValueError saying what is right."""
    declared = catalogue[raw["fact"]]
    if about not in declared.about:
        raise ValueError(f"{declared.name} is no fact of {about}: it belongs to {', '.join(declared.about)}")
    operator = operator_of(raw)
    limit, name = _value(raw[operator], limits)
    if operator == "one_of":
        limit = tuple(str(parse(word, declared.unit)) for word in raw["one_of"])
    else:
        limit = parse(limit, declared.unit)  # type: ignore[arg-type]
    if isinstance(limit, CalendarSpan) and declared.name not in AGES:
        ages = ", ".join(AGES)
        raise ValueError(f"{declared.name} takes a duration such as '24 h' or '10 d': months and years go with {ages}")
    lasting, lasting_name = lasting_of(raw, limits)
    return Leaf(declared.name, raw.get("of"), operator, limit, name, lasting, lasting_name)


def lasting_of(raw: dict, limits: dict[str, object]) -> tuple[int, str | None]:
    """Return a comparison's lasting (microseconds) and its limit. Raises ValueError."""
    if "lasting" not in raw:
        return 0, None
    written, name = _value(raw["lasting"], limits)
    lasting = parse_span(str(written))
    if isinstance(lasting, CalendarSpan):
        raise ValueError("lasting takes a duration such as '24 h' or '10 d', not months or years")
    return lasting, name


def operator_of(raw: dict) -> str:
    """Return the operator of a leaf."""
    return next(name for name in OPERATORS if name in raw)


def _value(written: object, limits: dict[str, object]) -> tuple[object, str | None]:
    if isinstance(written, str) and written in limits:
        return limits[written], written
    return written, None


def leaves(condition: Condition) -> Iterator[Leaf]:
    """Yield every comparison of a condition."""
    if isinstance(condition, Leaf):
        yield condition
    elif isinstance(condition, Not):
        yield from leaves(condition.part)
    else:
        for part in condition.parts:
            yield from leaves(part)


def intervals(condition: Condition, ask: Ask, reach: Reach, since: int = MIN_INSTANT) -> Intervals:
    """Return when a condition is true from `since` on; before that, as at `since`."""
    if isinstance(condition, Leaf):
        begins = max(MIN_INSTANT, since - condition.lasting)
        found = leaf_spans(condition, ask(condition.fact, condition.of, begins), reach, begins)
        return found.lasting(condition.lasting).level_before(since) if condition.lasting else found
    if isinstance(condition, Not):
        return ~intervals(condition.part, ask, reach, since)
    settles = NO if isinstance(condition, Every) else YES
    parts = []
    for part in condition.parts:
        parts.append(intervals(part, ask, reach, since))
        if parts[-1].values == [settles]:  # whatever the others say: they need not be asked
            return parts[-1]
    return every(parts) if isinstance(condition, Every) else some(parts)


def leaf_spans(leaf: Leaf, timeline: Timeline, reach: Reach, since: int = MIN_INSTANT) -> Intervals:
    """Return when one comparison is true from `since` on, without its `lasting`."""
    if leaf.operator in NUMERIC:
        return timeline.compare(leaf.operator, leaf.limit, reach, since)
    words = leaf.limit if isinstance(leaf.limit, tuple) else (str(leaf.limit),)
    found = timeline.matches(words, since)
    return ~found if leaf.operator == "is_not" else found
