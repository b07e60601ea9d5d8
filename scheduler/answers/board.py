"""The board: what is open now, most urgent first, and what cannot be judged."""

from collections.abc import Iterable, Iterator
from functools import partial
from itertools import groupby
from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.base.text import listed, set_in
from scheduler.events.event import HOME
from scheduler.events.log import LogReader
from scheduler.facts.fact_store import FactStore, HomeSummary
from scheduler.facts.home_facts import SUMMARISED
from scheduler.home.item_states import CacheKey, ItemStates, new_entries
from scheduler.messages.outbox import Outbox
from scheduler.reminders.board import Board, Reminder, urgency_order
from scheduler.reminders.message_text import Lines, advice, gathered, log_line, take_snapshot, unknown_lines
from scheduler.reminders.unjudged import Unknown, unknown_at, unknown_order
from scheduler.reminders.why_silent import Mute, Say, mute_of, mute_text
from scheduler.verdicts.verdict import Key

_HEADS = {"now": "Now", "today": "Today", "this_week": "This week", "whenever": "Whenever it suits"}
_MOST_UNSEEN_ENTRIES = 1_000
"""With more entries that no wake has seen, solving all items is as quick."""


class BoardView(NamedTuple):
    """The board at an instant: open reminders by urgency, mutes, unjudged verdicts."""

    opened: list[Reminder]
    mutes: dict[Key, Mute]
    unknown: list[Unknown]


def solve_board(at: Desk) -> BoardView:
    """Return the board, solving every item."""
    from scheduler.answers.groups import boards

    return _merge(at, boards(at, since=lambda _key: at.now))


def current_board(at: Desk) -> BoardView:
    """Return the same board, solving only items the last wake or later entries touch."""
    if not at.home.log.exists():
        return solve_board(at)
    with at.home.log.reading():
        key, place = ItemStates(at.home.log).key(), at.home.log.place()
        if key is None or not _usable(at, key, place):
            return solve_board(at)
        return _merge(at, _boards(at, _touched(at, key, place)))


def _usable(at: Desk, key: CacheKey, place: int) -> bool:
    woke_at = Outbox(at.home.log).state("woke_at")
    return (
        key.fingerprint == at.setup.fingerprint
        and woke_at is not None
        and woke_at <= at.now
        and place - key.seq <= _MOST_UNSEEN_ENTRIES
    )


def _touched(at: Desk, key: CacheKey, place: int) -> set[str]:
    """Return the items that entries after the last wake touch; with any, the home."""
    if place <= key.seq:
        return set()
    return ItemStates(at.home.log).touched(new_entries(at.home.log, key.seq, place)) | {HOME}


def _boards(at: Desk, touched: set[str]) -> Iterator[Board]:
    """Yield boards of items with news, with news possible by now, or touched.

    Use each board before taking the next.
    """
    from scheduler.answers.groups import item_groups
    from scheduler.reminders.item_state import home_since

    states, setup = ItemStates(at.home.log), at.setup
    items = states.with_news() | states.waiting(at.now) | touched
    begins = home_since(setup.rules, at.now)
    for group in item_groups(at, items):
        summary = _home_summary(at, touched - {HOME}, begins) if HOME in group else None
        store = FactStore(setup.fleet, LogReader(at.home.log), setup.clocks, summary=summary, starting_at=begins)
        yield Board(store, setup.rules, group, since=lambda _key: at.now)
        store.close()


def _home_summary(at: Desk, touched: set[str], begins: int) -> HomeSummary:
    """Return what the home's own rules need to know of items outside `touched`."""
    states = ItemStates(at.home.log)
    summary = states.home_summary(touched, begins)
    if summary.by_item or any(at.setup.fleet.kind(item) in SUMMARISED for item in touched):
        return states.home_summary(touched)  # a reading may be missing: since when, all items tell together
    return summary


def _merge(at: Desk, boards: Iterable[Board]) -> BoardView:
    """Merge boards of some items each, ordered like one board of all items."""
    opened, mutes, unknown = [], {}, []
    for board in boards:
        for reminder in board.open_at(at.now):
            opened.append(take_snapshot(reminder, at.now))
            if (mute := mute_of(board, reminder, at.now)) is not None:
                mutes[reminder.key] = mute
        unknown += unknown_at(board, at.now)
    opened.sort(key=partial(urgency_order, at.now))
    unknown.sort(key=unknown_order(at.setup.rules, at.setup.fleet))
    return BoardView(opened, mutes, unknown)


def to_json(at: Desk, view: BoardView) -> dict[str, object]:
    """Return the board for programs."""
    return {
        "at": at.stamp(at.now),
        "open": [
            {
                "rule": reminder.key.rule,
                "item": reminder.key.item,
                "urgency": reminder.verdict.urgency(at.now),
                "title": reminder.verdict.rule.title,
                "do": advice(Lines(reminder.verdict.rule, [reminder]), at.now),
                "opened_at": at.stamp(reminder.episode.opened),
                "caution": reminder.verdict.rule.caution,
                "ground_unknown": reminder.episode.unknown_at(at.now),
                "kept_quiet": _mute_text(at, view, reminder, at.stamp) or None,
            }
            for reminder in view.opened
        ],
        "unknown": [
            {"rule": entry.key.rule, "item": entry.key.item, "missing": [lack.fact for lack in entry.lacks]}
            for entry in view.unknown
        ],
    }


def to_text(at: Desk, view: BoardView) -> str:
    """Return the board for people."""
    opened, unknown = view.opened, view.unknown
    lines = [f"{at.say(at.now)}: {_headline(opened)}"]
    for urgency, these in groupby(opened, key=lambda reminder: reminder.verdict.urgency(at.now)):
        lines += ["", _HEADS[urgency]]
        lines += [line for group in gathered(list(these)) for line in _group(at, view, group)]
    if unknown:
        lines += ["", "Cannot be judged"]
        lines += [f"  - {line}" for line in unknown_lines(unknown)]
    return "\n".join(lines)


def _headline(opened: list[Reminder]) -> str:
    if not opened:
        return "nothing is open. No reminder does not mean fit to fly: look before each flight."
    items = len({reminder.key.item for reminder in opened})
    return f"{len(opened)} open, on {items} {'item' if items == 1 else 'items'}."


def _group(at: Desk, view: BoardView, group: Lines) -> list[str]:
    opened = min(reminder.episode.opened for reminder in group.reminders)
    lines = [f"  - {set_in(advice(group, at.now), 6)}"]
    lines.append(f"      open since {at.say(opened)} · {group.rule.id} · {group.items()}")
    lines += [f"      {line}" for line in _mute_lines(at, view, group)]
    unsure = [reminder.key.item for reminder in group.reminders if reminder.episode.unknown_at(at.now)]
    if unsure:
        lines.append(f"      may be done already ({', '.join(unsure)}): the log does not tell")
    if group.rule.caution:
        lines.append(f"      caution: {group.rule.caution}")
    if entry := log_line(group, at.now):
        lines.append(f"      then: {entry}")
    return lines


def _mute_lines(at: Desk, view: BoardView, group: Lines) -> list[str]:
    """Say what keeps reminders of a group quiet; name the items if not all share it."""
    items_by_line: dict[str, list[str]] = {}
    for reminder in group.reminders:
        if line := _mute_text(at, view, reminder, at.say):
            items_by_line.setdefault(line, []).append(reminder.key.item)
    count = len(group.reminders)
    return [line if len(items) == count else f"{listed(items)}: {line}" for line, items in items_by_line.items()]


def _mute_text(at: Desk, view: BoardView, reminder: Reminder, say: Say) -> str:
    return mute_text(view.mutes.get(reminder.key), reminder.key.item, at.now, say)
