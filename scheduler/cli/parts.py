"""All items of a home a few at a time, so that the entries of a few are held at once."""

from collections.abc import Callable, Iterator

from scheduler.cli.common import Desk
from scheduler.events.log import HOME, Reader
from scheduler.facts.book import Book
from scheduler.facts.quiet import ASKED, Evidence, Known, evidence
from scheduler.messages.folds import Folds
from scheduler.reminders.board import Board
from scheduler.reminders.fold import together
from scheduler.verdicts.verdict import Since, Verdict

AT_ONCE = 100
"""So many items are asked about together: to go group by group takes a few milliseconds more."""


def boards(at: Desk, as_told: bool = True, since: Since | None = None) -> Iterator[Board]:
    """Boards that have all items between them: one where they are few, else one for each group of items that rest on
    the same entries, the last for the home.

    Each is to be asked before the next is taken, for then its entries are let go.
    """
    log, fleet, rules = at.home.log, at.setup.fleet, at.setup.rules
    groups = list(together(fleet, Folds(log).jobs() if log.exists() else {}))
    names = [name for group in groups for name in group]
    if len(names) <= AT_ONCE:
        yield Board(at.book(), rules, names, as_told, since)
        return
    found: dict[str, Evidence] = {}
    for group in (*([name for name in group if name != HOME] for group in groups), [HOME]):
        known = Known(None, found, frozenset()) if group == [HOME] else None
        book = Book(fleet, Reader(log, at.known), at.setup.clocks, known=known)
        yield Board(book, rules, group, as_told, since)
        found |= {name: evidence(book, fleet[name]) for name in group if fleet.kind(name) in ASKED}
        book.close()


def placing(at: Desk) -> Callable[[Verdict], tuple[object, ...]]:
    """Sorts verdicts as one board of all items has them: by rule, then as fleet.yaml or the bookings go."""
    rules = {rule: place for place, rule in enumerate(at.setup.rules)}

    def place(verdict: Verdict) -> tuple[object, ...]:
        item = verdict.item
        job = verdict.book.job(item.id) if item.kind == "job" else None
        return rules[verdict.rule.id], job.events[0] if job else at.setup.fleet.place(item.id)

    return place
