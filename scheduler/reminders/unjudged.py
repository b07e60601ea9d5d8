"""What of a board cannot be judged at an instant, and which entries would help."""

from typing import NamedTuple

from scheduler.facts.intervals import UNKNOWN
from scheduler.reminders.board import Board
from scheduler.verdicts.verdict import Key, Verdict


class Lack(NamedTuple):
    """A fact that is missing: how that comes, and the entry that would make it known."""

    fact: str
    unknown: str
    record: str


class Unknown(NamedTuple):
    """A verdict that cannot be told at an instant, and the facts that are missing."""

    key: Key
    lacks: tuple[Lack, ...]
    since: int


def unknown_at(board: Board, now: int) -> list[Unknown]:
    """What cannot be judged at an instant, open reminders apart; what time alone resolves is left out."""
    found = []
    for verdict in board.sometimes_unknown:
        if verdict.when.at(now) != UNKNOWN or verdict.open_at(now):
            continue
        lacks = missing_facts(verdict, now)
        if lacks:
            found.append(Unknown(verdict.key, lacks, verdict.when.since(now)))
    return found


def missing_facts(verdict: Verdict, now: int) -> tuple[Lack, ...]:
    """The facts that a verdict needs, that are unknown at an instant, and that an entry would make known."""
    asked = [(leaf, verdict.store.catalogue[leaf.fact]) for leaf in verdict.asked]
    lacks = (
        Lack(fact.name, fact.unknown, fact.record)
        for leaf, fact in asked
        if fact.record and verdict.ask(leaf.fact, leaf.of).at(now) is None
    )
    return tuple(dict.fromkeys(lacks))
