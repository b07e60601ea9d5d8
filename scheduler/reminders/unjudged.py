"""Verdicts that cannot be judged at an instant, and entries that would help."""

from collections.abc import Callable
from typing import NamedTuple

from scheduler.facts.intervals import UNKNOWN
from scheduler.fleet.fleet import Fleet
from scheduler.reminders.board import Board
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Key, Verdict


class Lack(NamedTuple):
    """A missing fact: why it is unknown, and the entry that would make it known."""

    fact: str
    unknown: str
    record: str


class Unknown(NamedTuple):
    """A verdict that is unknown, since when, and the facts that it lacks."""

    key: Key
    lacks: tuple[Lack, ...]
    since: int


def unknown_at(board: Board, now: int) -> list[Unknown]:
    """Return what cannot be judged at `now`.

    Leaves out open reminders and what time alone resolves.
    """
    found = []
    for verdict in board.sometimes_unknown:
        if verdict.when.at(now) != UNKNOWN or verdict.open_at(now):
            continue
        lacks = missing_facts(verdict, now)
        if lacks:
            found.append(Unknown(verdict.key, lacks, verdict.when.since(now)))
    return found


def unknown_order(rules: Ruleset, fleet: Fleet) -> Callable[[Unknown], tuple[int, int, str]]:
    """Return a sort key for unknowns as one board has them: by rule, then item."""
    ids = list(rules)
    return lambda unknown: (ids.index(unknown.key.rule), fleet.place(unknown.key.item), unknown.key.item)


def missing_facts(verdict: Verdict, now: int) -> tuple[Lack, ...]:
    """Return the unknown facts that a verdict needs at `now` and an entry would give."""
    asked = [(leaf, verdict.store.catalogue[leaf.fact]) for leaf in verdict.asked]
    lacks = (
        Lack(fact.name, fact.unknown, fact.record)
        for leaf, fact in asked
        if fact.record and verdict.ask(leaf.fact, leaf.of).at(now) is None
    )
    return tuple(dict.fromkeys(lacks))
