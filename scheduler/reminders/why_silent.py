"""Why a reminder is, or is not, rung: in plain words, from what decides it."""

from collections.abc import Callable, Iterator

from scheduler.base.instants import MAX_INSTANT
from scheduler.base.text import clean
from scheduler.reminders.announcements import (
    DISTURBING,
    Announcement,
    Notification,
    last_response,
    next_announcement,
    quiet_ends,
)
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.decide import Ledger
from scheduler.reminders.ground import Mute
from scheduler.reminders.hours import Hours

Say = Callable[[int], str]
"""Writes an instant for people."""


def why(board: Board, reminder: Reminder, ledger: Ledger, hours: Hours, now: int, say: Say) -> list[str]:
    """What holds an open reminder back at `now`, and when it will be rung next."""
    told = ledger.of_reminder(reminder)
    word = next_announcement(board, reminder, told, hours, now)
    quiet = kept_quiet(mute_of(board, reminder, now), reminder.key.item, now, say)
    return [*quiet, *_dark(reminder, told, now), _next(board, word, hours, now, say)]


def mute_of(board: Board, reminder: Reminder, now: int) -> Mute | None:
    """By what an open reminder is kept quiet, if by anything."""
    said = last_response(board, reminder, now)
    if said is None:
        return None
    return Mute(said.what, said.at, said.id, quiet_ends(board, said), said.get("until_next"))


def kept_quiet(mute: Mute | None, item: str, now: int, say: Say) -> Iterator[str]:
    """By what an open reminder on an item is kept quiet: seen or snoozed, when and how long."""
    if mute is None:
        return
    if mute.until == MAX_INSTANT and mute.what == "seen":
        yield f"seen {say(mute.at)} ({mute.id}): no repeats, unless it becomes more urgent"
    elif mute.until > now:
        end = f"{clean(item)} is {mute.until_next}" if mute.until == MAX_INSTANT else say(mute.until)
        yield f"{mute.what} {say(mute.at)} ({mute.id}): quiet until {end}"


def _dark(reminder: Reminder, told: list[Notification], now: int) -> Iterator[str]:
    if told and reminder.episode.unknown_at(now):
        yield "its ground is unknown: it may be done, so it is not repeated and stands in the digest"


def _next(board: Board, word: Announcement | None, hours: Hours, now: int, say: Say) -> str:
    if word is None:
        return "nothing more will be rung of it by itself; the digest lists it"
    if word.due <= now:
        return f"due now ({word.kind}, {word.urgency})"
    return f"next ({word.kind}, {word.urgency}): {say(word.due)}{_held(board, word, hours, now, say)}"


def _held(board: Board, word: Announcement, hours: Hours, now: int, say: Say) -> str:
    """Why a word waits for that instant."""
    if word.urgency != "now" and (back := board.away_until(now)) > now:
        return f"; you are away until {say(back)}"
    if word.urgency not in DISTURBING:
        return f"; what is for {word.urgency.replace('_', ' ')} comes gathered, with the digest"
    if word.held and (end := hours.quiet_until(word.due - 1)) >= word.due - 1:
        return f"; quiet hours until {say(end)} hold it, with all else that waits"
    return ""
