"""Say in words what an entry opened and what it ended."""

from scheduler.answers.describe_event import describe
from scheduler.answers.desk import Desk
from scheduler.base.instants import MAX_INSTANT
from scheduler.base.text import set_in
from scheduler.events.event import Event, corrects
from scheduler.facts.event_times import begins_at
from scheduler.reminders.announcements import next_announcement
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.message_text import Lines, advice, gathered, log_line
from scheduler.reminders.superseded import superseded_by

_MANUAL = " The maker's manual comes first."
"""The end of most cautions: once in an answer is enough."""


def opened_lines(desk: Desk, board: Board, opened: list[Reminder], ring: str) -> list[str]:
    """Say what opened; a shared caution, once. `ring`: "I ring" or "I would ring"."""
    lines, said = [], ""
    for group in gathered(opened):
        lines.append(f"Open: {set_in(advice(group, desk.now), 2)}")
        caution = group.rule.caution
        if caution and caution not in said:
            lines.append(f"  Caution: {caution.removesuffix(_MANUAL) if _MANUAL in said else caution}")
            said += caution
        if entry := log_line(group, desk.now):
            lines.append(f"  Then: {entry}")
        lines += _rings(desk, board, group, ring)
    return lines


def _rings(desk: Desk, board: Board, group: Lines, ring: str) -> list[str]:
    """Say when the bell rings for what has just opened."""
    announcements = [next_announcement(board, r, [], desk.setup.hours, desk.now) for r in group.reminders]
    due = min((each.due for each in announcements if each is not None), default=None)
    if due is None or due == MAX_INSTANT:
        return []
    return [f"  {ring} at once."] if due <= desk.now else [f"  {ring} {desk.say(due)}."]


def ended_lines(board: Board, gone: list[Reminder], events: list[Event]) -> list[str]:
    """Say how each reminder ended.

    Withdrawn by a correction or a late entry, closed with its item, superseded by another, or settled.
    """
    how = {reminder.key: _how_ended(board, reminder, events) for reminder in gone}
    return [
        f"{word}: {group.rule.title.lower()} ({group.items()})."
        for word in dict.fromkeys(how.values())
        for group in gathered([reminder for reminder in gone if how[reminder.key] == word])
    ]


def _how_ended(board: Board, gone: Reminder, events: list[Event]) -> str:
    """Return how an open reminder ended with some entries, which `board` includes."""
    if any(map(corrects, events)):
        return "Withdrawn"
    if any(event.what in ("retired", "replaced") and event.get("item") == gone.key.item for event in events):
        return "Closed"
    verdict, opened = board.by_key[gone.key], gone.episode.opened
    episode = next((episode for episode in verdict.episodes if episode.holds(opened)), None)
    if episode is None and min(map(begins_at, events)) < opened:  # logged in time, they keep it closed
        return "Withdrawn"
    other = superseded_by(Reminder(verdict, episode or gone.episode))
    return f"Gave way to {other.verdict.rule.title.lower()}" if other else "Settled"


def ended_since_lines(desk: Desk, over: list[Reminder], events: list[Event]) -> list[str]:
    """Say what some entries opened when they happened, and what has ended it since."""
    lines, own = [], {event.id for event in events}
    for reminder in over:
        ended = reminder.episode.ended
        ends = [e for e in reminder.verdict.events if e.at == ended and e.id not in own]
        by = f" by {describe(ends[-1], desk.setup.hours.zone)}" if ends else ""
        other = superseded_by(reminder)
        how = f"gave way to {_titled(other)}" if other else "settled"
        lines.append(f"Opened then and {how} since{by}, {desk.say(ended)}: {_titled(reminder)}.")
    return list(dict.fromkeys(lines))


def _titled(reminder: Reminder) -> str:
    """ "pack left full (A)"."""
    return f"{reminder.verdict.rule.title.lower()} ({reminder.key.item})"
