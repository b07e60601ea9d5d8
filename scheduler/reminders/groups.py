"""Boards of a few items at a time, to bound memory."""

from collections.abc import Iterable, Iterator

from scheduler.events.event import HOME
from scheduler.facts.fact_store import FactStore, HomeSummary, ItemSummary
from scheduler.facts.home_facts import SUMMARISED, summarise
from scheduler.reminders.board import Board
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Since


def boards(
    store: FactStore, rules: Ruleset, groups: Iterable[list[str]], as_recorded: bool = True, since: Since | None = None
) -> Iterator[Board]:
    """Yield boards over the events of a fact store, one per group of items.

    HOME is in the last group. Use each board before taking the next: its entries are released then.
    """
    found: dict[str, ItemSummary] = {}
    for group in groups:
        part = store.fresh_copy(HomeSummary(None, found, frozenset()) if group == [HOME] else None)
        yield Board(part, rules, group, as_recorded, since)
        if HOME not in group:
            found |= {
                name: summarise(part, store.fleet[name]) for name in group if store.fleet.kind(name) in SUMMARISED
            }
        part.close()
