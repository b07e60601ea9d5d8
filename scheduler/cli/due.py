"""`shelfbell due`: the board."""

from argparse import ArgumentParser, Namespace

from scheduler.cli.common import Desk, asking, desk, print_json
from scheduler.home import Home
from scheduler.reminders.board import Board, Reminder, Unknown
from scheduler.reminders.text import Lines, advice, gathered, listed, log_line, unknown_lines
from scheduler.reminders.why import kept_quiet

_HEADS = {"now": "Now", "today": "Today", "this_week": "This week", "whenever": "Whenever it suits"}


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    asking(parser, as_known=True)


def run(home: Home, args: Namespace) -> int:
    """Print what is open; exit 1 when anything is."""
    at = desk(home, args)
    board = at.board()
    opened, unknown = board.open_at(at.now), board.unknown_at(at.now)
    if args.json:
        print_json(to_json(at, board, opened, unknown))
    else:
        print(to_text(at, board, opened, unknown))
    return 1 if opened else 0


def to_json(at: Desk, board: Board, opened: list[Reminder], unknown: list[Unknown]) -> dict[str, object]:
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
                "opened_at": at.stamp(reminder.stretch.opened),
                "caution": reminder.verdict.rule.caution,
                "ground_unknown": reminder.stretch.unknown_at(at.now),
                "kept_quiet": next(kept_quiet(board, reminder, at.now, at.stamp), None),
            }
            for reminder in opened
        ],
        "unknown": [
            {"rule": entry.key.rule, "item": entry.key.item, "missing": [lack.fact for lack in entry.lacks]}
            for entry in unknown
        ],
    }


def to_text(at: Desk, board: Board, opened: list[Reminder], unknown: list[Unknown]) -> str:
    """The board for people."""
    lines = [f"{at.say(at.now)}: {_headline(board, opened, at.now)}"]
    for urgency, head in _HEADS.items():
        these = [reminder for reminder in opened if reminder.verdict.urgency(at.now) == urgency]
        if these:
            lines += ["", head]
            lines += [line for group in gathered(these) for line in _group(at, board, group)]
    if unknown:
        lines += ["", "Cannot be judged"]
        lines += [f"  - {line}" for line in unknown_lines(unknown)]
    return "\n".join(lines)


def _headline(board: Board, opened: list[Reminder], now: int) -> str:
    if not opened:
        return "nothing is open. No reminder does not mean fit to fly: look before each flight."
    items = len({reminder.key.item for reminder in opened})
    return f"{len(opened)} open, on {items} {'item' if items == 1 else 'items'}."


def _group(at: Desk, board: Board, group: Lines) -> list[str]:
    opened = min(reminder.stretch.opened for reminder in group.reminders)
    lines = [f"  - {advice(group, at.now)}", f"      open since {at.say(opened)} · {group.rule.id} · {group.items()}"]
    lines += [f"      {line}" for line in _kept_quiet(at, board, group)]
    dark = [reminder.key.item for reminder in group.reminders if reminder.stretch.unknown_at(at.now)]
    if dark:
        lines.append(f"      may be done already ({', '.join(dark)}): the log does not tell")
    if group.rule.caution:
        lines.append(f"      caution: {group.rule.caution}")
    if entry := log_line(group, at.now):
        lines.append(f"      then: {entry}")
    return lines


def _kept_quiet(at: Desk, board: Board, group: Lines) -> list[str]:
    """What was seen or snoozed of a group, each with its items where it is not all of them."""
    said: dict[str, list[str]] = {}
    for reminder in group.reminders:
        for line in kept_quiet(board, reminder, at.now, at.say):
            said.setdefault(line, []).append(reminder.key.item)
    whole = len(group.reminders)
    return [line if len(items) == whole else f"{listed(items)}: {line}" for line, items in said.items()]
