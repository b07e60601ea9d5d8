"""Why an open reminder does not ring now, in plain words."""

from collections.abc import Callable
from typing import NamedTuple

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
from scheduler.reminders.hours import Hours

Say = Callable[[int], str]
"""Writes an instant for people."""


class Mute(NamedTuple):
    """What keeps a reminder quiet: an entry, and until when.

    MAX_INSTANT: no end is known. `until_next`: the kind of entry that would end it, if any.
    """

    what: str
    at: int
    id: str
    until: int
    until_next: str | None


def why(board: Board, reminder: Reminder, ledger: Ledger, hours: Hours, now: int, say: Say) -> list[str]:
    """Return lines on why an open reminder waits at `now`, and when it next rings."""
    sent = ledger.of_reminder(reminder)
    announcement = next_announcement(board, reminder, sent, hours, now)
    quiet = mute_text(mute_of(board, reminder, now), reminder.key.item, now, say)
    lines = [quiet, _unknown(reminder, sent, now), _next(board, announcement, hours, now, say)]
    return [line for line in lines if line]


def mute_of(board: Board, reminder: Reminder, now: int) -> Mute | None:
    """Return what keeps an open reminder quiet at `now`, if anything does."""
    said = last_response(board, reminder, now)
    if said is None:
        return None
    return Mute(said.what, said.at, said.id, quiet_ends(board, said), said.get("until_next"))


def mute_text(mute: Mute | None, item: str, now: int, say: Say) -> str:
    """Return a line on what keeps a reminder on an item quiet at `now`, or ""."""
    if mute is None:
        return ""
    if mute.until == MAX_INSTANT and mute.what == "seen":
        return f"seen {say(mute.at)} ({mute.id}): no repeats, unless it becomes more urgent"
    if mute.until <= now:
        return ""
    end = f"{clean(item)} is {mute.until_next}" if mute.until == MAX_INSTANT else say(mute.until)
    return f"{mute.what} {say(mute.at)} ({mute.id}): quiet until {end}"


def _unknown(reminder: Reminder, sent: list[Notification], now: int) -> str:
    if sent and reminder.episode.unknown_at(now):
        return "whether it still applies is unknown: it may be done, so it is not repeated; the digest lists it"
    return ""


def _next(board: Board, announcement: Announcement | None, hours: Hours, now: int, say: Say) -> str:
    if announcement is None:
        return "it will not ring again by itself; the digest lists it"
    kind, due = f"{announcement.kind}, {announcement.urgency}", announcement.due
    return (
        f"due now ({kind})" if due <= now else f"next ({kind}): {say(due)}{_wait(board, announcement, hours, now, say)}"
    )


def _wait(board: Board, announcement: Announcement, hours: Hours, now: int, say: Say) -> str:
    """Return why an announcement waits, to append to the instant it is due."""
    if announcement.urgency != "now" and (back := board.away_until(now)) > now:
        return f"; you are away until {say(back)}"
    if announcement.urgency not in DISTURBING:
        return f"; reminders for {announcement.urgency.replace('_', ' ')} come together, with the digest"
    before = announcement.due - 1
    if announcement.held and (end := hours.quiet_until(before)) >= before:
        return f"; quiet hours until {say(end)} hold it, with all the rest"
    return ""
