"""What would have to turn out otherwise for a condition to hold, or to cease; and what turns at an instant."""

from collections.abc import Iterable
from functools import reduce
from typing import NamedTuple

from scheduler.facts.intervals import NO, WORDS, YES
from scheduler.verdicts.conditions import Condition, Leaf, leaves
from scheduler.verdicts.explain import Node
from scheduler.verdicts.verdict import Verdict

MOST = 8
"""So many ways are told, the shortest first."""


class Change(NamedTuple):
    """One comparison that should hold (`holds`), or should not, and does otherwise; its limit and value as text."""

    leaf: Leaf
    holds: bool
    limit: str
    value: str


Way = tuple[Change, ...]


def minimal_changes(node: Node, holds: bool) -> list[Way]:
    """The smallest sets of comparisons whose turning makes a condition hold, or cease; the shortest first.

    [()] where it is so already.
    """
    if node.verdict == WORDS[YES if holds else NO]:
        return [()]
    if node.leaf is not None:
        return [(Change(node.leaf, holds, node.limit, node.value),)]
    if node.kind == "not":
        return minimal_changes(node.parts[0], not holds)
    parts = [minimal_changes(part, holds) for part in node.parts]
    if (node.kind == "all") == holds:
        return reduce(_together, parts)
    return _smallest(way for part in parts for way in part)


def _together(some: list[Way], others: list[Way]) -> list[Way]:
    return _smallest(tuple(dict.fromkeys((*way, *other))) for way in some for other in others)


def _smallest(found: Iterable[Way]) -> list[Way]:
    """Those that hold no other whole, the shortest first."""
    kept: list[Way] = []
    for way in sorted(found, key=len):
        if not any(set(other) <= set(way) for other in kept):
            kept.append(way)
    return kept[:MOST]


class LeafChange(NamedTuple):
    """A comparison that changes at an instant, and what it is from then on: no, unknown or yes."""

    leaf: Leaf
    becomes: str


def changes_at(verdict: Verdict, instant: int) -> list[LeafChange]:
    """The comparisons of a rule, in the order it has them, that change at an instant."""
    rule = verdict.rule
    conditions: list[Condition] = [rule.when, *([rule.until] if rule.until is not None else [])]
    conditions += [part for _, part in rule.urgency if part is not None]
    found = []
    for leaf in dict.fromkeys(leaf for condition in conditions for leaf in leaves(condition)):
        solved = verdict.solve(leaf)
        if solved.at(instant) != solved.at(instant - 1):
            found.append(LeafChange(leaf, WORDS[solved.at(instant)]))
    return found
