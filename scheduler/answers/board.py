"""The board: what is open now, most urgent first, and what cannot be judged."""

from functools import partial
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from scheduler.answers.desk import Desk
from scheduler.base.text import listed, set_in
from scheduler.messages.standing import board_of, standing
from scheduler.reminders.board import Board, Reminder, urgency_order
from scheduler.reminders.ground import Mute, as_kept
from scheduler.reminders.message_text import Lines, advice, gathered, keep, log_line, unknown_lines
from scheduler.reminders.unjudged import Unknown, unknown_at
from scheduler.reminders.why_silent import kept_quiet, mute_of

if TYPE_CHECKING:
    pass


_HEADS = {"now": "Now", "today": "Today", "this_week": "This week", "whenever": "Whenever it suits"}


class Found(NamedTuple):
    """The board at an instant: what is open, most urgent first, and what cannot be judged."""

    opened: list[Reminder]
    unknown: list[Unknown]


def whole(at: Desk) -> Found:
    """The board of all items, solved."""
    from scheduler.answers.groups import boards

    opened, unknown = [], []
    for board in boards(at, since=lambda _key: at.now):
        found = solved(board, at.now)
        opened += found.opened
        unknown += _placed(at, found.unknown)
    return _in_order(at, opened, unknown)


def solved(board: Board, now: int) -> Found:
    """What a board tells."""
    opened = [keep(reminder, now, mute_of(board, reminder, now)) for reminder in board.open_at(now)]
    return Found(opened, unknown_at(board, now))


def kept(at: Desk) -> Found:
    """The same, as far as it can be had from what the last wake kept; the rest is solved."""
    stands = standing(at.home, at.setup, at.now)
    if stands is None:
        return whole(at)
    opened = [reminder for outline in stands.outlines for reminder in outline.open]
    unknown = [(outline.place, each) for outline in stands.outlines for each in outline.unknown]
    if stands.anew:
        anew = solved(board_of(at.home, at.setup, at.now, stands.anew), at.now)
        opened += anew.opened
        unknown += _placed(at, anew.unknown)
    return _in_order(at, opened, unknown)


def _placed(at: Desk, unknown: list[Unknown]) -> list[tuple[int, Unknown]]:
    """What cannot be judged, each with the place of its item."""
    return [(at.setup.fleet.place(each.key.item), each) for each in unknown]


def _in_order(at: Desk, opened: list[Reminder], unknown: list[tuple[int, Unknown]]) -> Found:
    """The board as one of all items has it, of what was found in parts."""
    rules = {rule: place for place, rule in enumerate(at.setup.rules)}
    opened.sort(key=partial(urgency_order, at.now))
    unknown.sort(key=lambda placed: (rules[placed[1].key.rule], placed[0], placed[1].key.item))
    return Found(opened, [each for _, each in unknown])


def to_json(at: Desk, found: Found) -> dict[str, object]:
    """The board for programs."""
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
                "kept_quiet": next(kept_quiet(_hush(reminder), reminder.key.item, at.now, at.stamp), None),
            }
            for reminder in found.opened
        ],
        "unknown": [
            {"rule": entry.key.rule, "item": entry.key.item, "missing": [lack.fact for lack in entry.lacks]}
            for entry in found.unknown
        ],
    }


def to_text(at: Desk, found: Found) -> str:
    """The board for people."""
    opened, unknown = found
    lines = [f"{at.say(at.now)}: {_headline(opened)}"]
    for urgency, these in groupby(opened, key=lambda reminder: reminder.verdict.urgency(at.now)):
        lines += ["", _HEADS[urgency]]
        lines += [line for group in gathered(list(these)) for line in _group(at, group)]
    if unknown:
        lines += ["", "Cannot be judged"]
        lines += [f"  - {line}" for line in unknown_lines(unknown)]
    return "\n".join(lines)


def _headline(opened: list[Reminder]) -> str:
    if not opened:
        return "nothing is open. No reminder does not mean fit to fly: look before each flight."
    items = len({reminder.key.item for reminder in opened})
    return f"{len(opened)} open, on {items} {'item' if items == 1 else 'items'}."


def _group(at: Desk, group: Lines) -> list[str]:
    opened = min(reminder.episode.opened for reminder in group.reminders)
    lines = [f"  - {set_in(advice(group, at.now), 6)}"]
    lines.append(f"      open since {at.say(opened)} · {group.rule.id} · {group.items()}")
    lines += [f"      {line}" for line in _kept_quiet(at, group)]
    dark = [reminder.key.item for reminder in group.reminders if reminder.episode.unknown_at(at.now)]
    if dark:
        lines.append(f"      may be done already ({', '.join(dark)}): the log does not tell")
    if group.rule.caution:
        lines.append(f"      caution: {group.rule.caution}")
    if entry := log_line(group, at.now):
        lines.append(f"      then: {entry}")
    return lines


def _kept_quiet(at: Desk, group: Lines) -> list[str]:
    """What was seen or snoozed of a group, each with its items where it is not all of them."""
    said: dict[str, list[str]] = {}
    for reminder in group.reminders:
        if mute := _hush(reminder):
            for line in kept_quiet(mute, reminder.key.item, at.now, at.say):
                said.setdefault(line, []).append(reminder.key.item)
    whole = len(group.reminders)
    return [line if len(items) == whole else f"{listed(items)}: {line}" for line, items in said.items()]


def _hush(reminder: Reminder) -> Mute | None:
    kept = as_kept(reminder.verdict)
    return kept.mute if kept else None
