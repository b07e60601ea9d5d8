"""All items a few at a time, so that the entries of a few are held at once."""

from collections.abc import Iterable, Iterator

from scheduler.events.event import HOME
from scheduler.facts.fact_store import FactStore, HomeSummary, ItemSummary
from scheduler.facts.home_facts import SUMMARISED, summarise
from scheduler.reminders.board import Board
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Since


def boards(
    store: FactStore, rules: Ruleset, groups: Iterable[list[str]], as_told: bool = True, since: Since | None = None
) -> Iterator[Board]:
    """Boards over the events of a book, one for each group of items. The home is in the last, alone or with all others.

    Each is to be asked before the next is taken, for then its entries are let go.
    """
    found: dict[str, ItemSummary] = {}
    for group in groups:
        part = store.fresh_copy(HomeSummary(None, found, frozenset()) if group == [HOME] else None)
        yield Board(part, rules, group, as_told, since)
        if HOME not in group:
            found |= {
                name: summarise(part, store.fleet[name]) for name in group if store.fleet.kind(name) in SUMMARISED
            }
        part.close()
