"""Ask about the items of a home a few at a time."""

from collections.abc import Callable, Iterator

from scheduler.answers.desk import Desk
from scheduler.events.event import HOME
from scheduler.facts.jobs import find_job
from scheduler.home.item_states import ItemStates
from scheduler.reminders import groups
from scheduler.reminders.board import Board
from scheduler.reminders.item_state import group_items
from scheduler.verdicts.verdict import Since, Verdict

ITEMS_ON_ONE_BOARD = 100
"""Up to this many items share one board: to go group by group takes a few milliseconds more."""


def item_groups(at: Desk, items: set[str] | None = None) -> list[list[str]]:
    """Return `items`, or all with jobs and the home, in groups: one group if few.

    Else each group depends on the same entries, and the home is the last one.
    """
    if items is not None and len(items) <= ITEMS_ON_ONE_BOARD:
        return [sorted(items)]
    log = at.home.log
    found = list(group_items(at.setup.fleet, ItemStates(log).jobs() if log.exists() else {}))
    names = [name for group in found for name in group]
    if len(names) <= ITEMS_ON_ONE_BOARD:
        found = [names]
    else:
        found = [*([name for name in group if name != HOME] for group in found), [HOME]]
    kept = ([name for name in group if items is None or name in items] for group in found)
    return [group for group in kept if group]


def boards(at: Desk, as_recorded: bool = True, since: Since | None = None) -> Iterator[Board]:
    """Yield boards that cover all items. Use each before the next: this bounds memory."""
    return groups.boards(at.store(), at.setup.rules, item_groups(at), as_recorded, since)


def placing(at: Desk) -> Callable[[Verdict], tuple[object, ...]]:
    """Return a sort key for verdicts as on one board: by rule, then fleet or bookings."""
    rules = {rule: place for place, rule in enumerate(at.setup.rules)}

    def place(verdict: Verdict) -> tuple[object, ...]:
        item = verdict.item
        job = find_job(verdict.store, item.id) if item.kind == "job" else None
        return rules[verdict.rule.id], job.events[0] if job else at.setup.fleet.place(item.id)

    return place
