"""Explain why a rule fires or not.

Each condition with its value, limit, events, and what is missing.
"""

from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT
from scheduler.base.units import show
from scheduler.events.event import Event
from scheduler.facts.declare import Fact, show_fact
from scheduler.facts.intervals import NO, UNKNOWN, WORDS, Intervals
from scheduler.facts.timeline import events_of
from scheduler.verdicts.conditions import Condition, Every, Leaf, Not, leaf_spans
from scheduler.verdicts.distance_to_limit import distance_to_limit
from scheduler.verdicts.verdict import Verdict


class Node(NamedTuple):
    """One condition at an instant.

    `kind`: leaf, all, any, not. `verdict`: no, unknown or yes. `since`, `until`: the interval around the instant in
    which the verdict stays the same, None without a bound. The rest is for leaves: `value` and `limit` as text, the
    distance between them (`margin`), since when the comparison without its `lasting` has this result (`held_since`),
    whether its result before that is unknown (`dark_before`), and the events behind the value.
    """

    kind: str
    verdict: str
    since: int | None
    until: int | None
    parts: tuple["Node", ...] = ()
    leaf: Leaf | None = None
    value: str = ""
    limit: str = ""
    held_since: int | None = None
    dark_before: bool = False
    events: tuple[Event, ...] = ()
    missing: str = ""
    margin: str = ""


def explain(verdict: Verdict, condition: Condition, now: int) -> Node:
    """Return the tree of a condition at an instant."""
    solved = verdict.solve(condition)
    around = (WORDS[solved.at(now)], _bound(solved.since(now)), solved.next_change(now))
    if isinstance(condition, Leaf):
        return _leaf(verdict, condition, now, around)
    if isinstance(condition, Not):
        return Node("not", *around, parts=(explain(verdict, condition.part, now),))
    kind = "all" if isinstance(condition, Every) else "any"
    return Node(kind, *around, parts=tuple(explain(verdict, part, now) for part in condition.parts))


def _leaf(verdict: Verdict, leaf: Leaf, now: int, around: tuple[str, int | None, int | None]) -> Node:
    fact = verdict.store.catalogue[leaf.fact]
    timeline = verdict.ask(leaf.fact, leaf.of)
    raw = leaf_spans(leaf, timeline, verdict.reach)
    value = timeline.at(now)
    return Node(
        "leaf",
        *around,
        leaf=leaf,
        value=show_fact(fact, value),
        limit=limit_text(leaf, fact),
        held_since=_bound(raw.since(now)),
        dark_before=around[0] == WORDS[UNKNOWN] and value is not None,
        events=tuple(events_behind(verdict, leaf, raw, now)),
        missing=fact.record.replace("{item}", verdict.item.id) if value is None else "",
        margin=distance_to_limit(verdict, leaf, now),
    )


def limit_text(leaf: Leaf, fact: Fact) -> str:
    """Return the limit of a comparison as a person reads it."""
    return ", ".join(leaf.limit) if leaf.operator == "one_of" else show(leaf.limit, fact.unit)  # type: ignore[arg-type]


def events_behind(verdict: Verdict, leaf: Leaf, raw: Intervals, now: int) -> list[Event]:
    """Return the events that a comparison's result depends on, oldest first."""
    start = _counts_from(leaf, raw, now)
    found: dict[str, Event] = {}
    for segment, end in verdict.ask(leaf.fact, leaf.of):
        if segment.start <= now and end > start:
            found.update({event.id: event for event in events_of(segment.evidence)})
    return sorted(found.values())


def _counts_from(leaf: Leaf, raw: Intervals, now: int) -> int:
    """Return the start of the interval that decides a comparison.

    At its last plain no, else all of its `lasting`.
    """
    earliest = now - leaf.lasting
    failed = [min(end - 1, now) for start, end, value in raw if value == NO and start <= now and end > earliest]
    return failed[-1] if failed else earliest


def _bound(instant: int) -> int | None:
    return None if instant in (MIN_INSTANT, MAX_INSTANT) else instant


def missing_of(node: Node) -> list[str]:
    """Return the entries that would make the unknown known."""
    found = [node.missing] if node.missing else []
    for part in node.parts:
        if part.verdict == WORDS[UNKNOWN]:
            found += missing_of(part)
    return list(dict.fromkeys(found))


def events_in(node: Node) -> list[Event]:
    """Return all events in a tree, in order."""
    found = {event.id: event for event in node.events}
    for part in node.parts:
        found.update({event.id: event for event in events_in(part)})
    return sorted(found.values())


def to_json(node: Node, stamp: object) -> dict[str, object]:
    """Return the tree for programs; `stamp` writes an instant."""

    def when(instant: int | None) -> object:
        return None if instant is None else stamp(instant)  # type: ignore[operator]

    common: dict[str, object] = {"verdict": node.verdict, "since": when(node.since), "next_change": when(node.until)}
    if node.leaf is None:
        parts = [to_json(part, stamp) for part in node.parts]
        return {node.kind: parts[0] if node.kind == "not" else parts} | common
    leaf = node.leaf
    described: dict[str, object] = {"fact": leaf.fact}
    if leaf.of:
        described["of"] = leaf.of
    described |= {"value": node.value, "comparison": leaf.operator, "limit": node.limit}
    if node.margin:
        described["margin"] = node.margin
    if leaf.limit_name:
        described["limit_name"] = leaf.limit_name
    if leaf.lasting:
        described |= {"lasting": leaf.lasting // 1_000_000, "held_since": when(node.held_since)}
    described["events"] = [{"id": e.id, "at": stamp(e.at), "what": e.what} for e in node.events]  # type: ignore[operator]
    if node.missing:
        described["missing"] = node.missing
    return described | common
