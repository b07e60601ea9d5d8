"""Boards of a few items at a time, to bound memory."""

from collections.abc import Iterable, Iterator

from scheduler.events.event import HOME
from scheduler.facts.fact_store import FactStore
from scheduler.facts.home_facts import ASKED, Evidence, HomeSummary, evidence
from scheduler.reminders.board import Board
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Since


def boards(
    store: FactStore, rules: Ruleset, groups: Iterable[list[str]], as_recorded: bool = True, since: Since | None = None
) -> Iterator[Board]:
    """Yield boards over the events of a fact store, one for each group of items. HOME is in the last group.

    Use each board before taking the next: its entries are released then.
    """
    found: dict[str, Evidence] = {}
    for group in groups:
        part = store.beside(HomeSummary(None, found, frozenset()) if group == [HOME] else None)
        yield Board(part, rules, group, as_recorded, since)
        if HOME not in group:
            found |= {name: evidence(part, store.fleet[name]) for name in group if store.fleet.kind(name) in ASKED}
        part.close()
