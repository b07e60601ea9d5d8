"""Find the smallest changes that flip a condition, and changes at an instant."""

from collections.abc import Iterable
from functools import reduce
from typing import NamedTuple

from scheduler.facts.intervals import NO, WORDS, YES
from scheduler.verdicts.conditions import Condition, Leaf, leaves
from scheduler.verdicts.explain import Node
from scheduler.verdicts.verdict import Verdict

MOST = 8
"""The most alternatives returned, the shortest first."""


class Change(NamedTuple):
    """A comparison to make true (`holds`) or false; limit and present value as text."""

    leaf: Leaf
    holds: bool
    limit: str
    value: str


ChangeSet = tuple[Change, ...]
"""Changes that are needed together."""


def minimal_changes(node: Node, holds: bool) -> list[ChangeSet]:
    """Return the smallest sets of changes that make a condition true or false.

    The shortest first; [()] if it is so already. `holds`: make it true.
    """
    if node.verdict == WORDS[YES if holds else NO]:
        return [()]
    if node.leaf is not None:
        return [(Change(node.leaf, holds, node.limit, node.value),)]
    if node.kind == "not":
        return minimal_changes(node.parts[0], not holds)
    parts = [minimal_changes(part, holds) for part in node.parts]
    if (node.kind == "all") == holds:
        return reduce(_combine, parts)
    return _smallest(changes for part in parts for changes in part)


def _combine(some: list[ChangeSet], others: list[ChangeSet]) -> list[ChangeSet]:
    return _smallest(tuple(dict.fromkeys((*one, *other))) for one in some for other in others)


def _smallest(sets: Iterable[ChangeSet]) -> list[ChangeSet]:
    """Return the sets that contain no other, the shortest first."""
    kept: list[ChangeSet] = []
    for changes in sorted(sets, key=len):
        if not any(set(other) <= set(changes) for other in kept):
            kept.append(changes)
    return kept[:MOST]


class LeafChange(NamedTuple):
    """A comparison whose result changes at an instant; `becomes`: no, unknown or yes."""

    leaf: Leaf
    becomes: str


def changes_at(verdict: Verdict, instant: int) -> list[LeafChange]:
    """Return a rule's comparisons whose result changes at `instant`, in its order."""
    rule = verdict.rule
    conditions: list[Condition] = [rule.when, *([rule.until] if rule.until is not None else [])]
    conditions += [part for _, part in rule.urgency if part is not None]
    found = []
    for leaf in dict.fromkeys(leaf for condition in conditions for leaf in leaves(condition)):
        solved = verdict.solve(leaf)
        if solved.at(instant) != solved.at(instant - 1):
            found.append(LeafChange(leaf, WORDS[solved.at(instant)]))
    return found
