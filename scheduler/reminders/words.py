"""What is next to be said of one reminder, and when: a pure function of the reminder, what was told of it, and the hours."""

from typing import NamedTuple

from scheduler.events.log import Event
from scheduler.instants import parse_rfc3339
from scheduler.reminders.board import SNOOZE, Board, Reminder
from scheduler.reminders.hours import Hours
from scheduler.verdicts.rule import URGENCIES
from scheduler.verdicts.verdict import Key

DISTURBING = ("now", "today")
"""Urgencies that ring of themselves; the others come with the digest."""
_SPACING = (1, 3, 7, 15)


class Told(NamedTuple):
    """One telling of one reminder. `first_at`: when its first message was decided, which tells the stretch it belongs to.

    `kind`: first, again, rise, digest or settled.
    """

    key: Key
    first_at: int
    at: int
    kind: str
    urgency: str


class Word(NamedTuple):
    """What is to be said of a reminder: from `due` on. `held`: it waited for the digest or for quiet hours to end."""

    reminder: Reminder
    due: int
    kind: str
    urgency: str
    first_at: int
    held: bool = False


def rank(urgency: str) -> int:
    """0 for the most urgent."""
    return URGENCIES.index(urgency)


def next_word(board: Board, reminder: Reminder, told: list[Told], hours: Hours, now: int) -> Word | None:
    """What is next to be said of an open reminder as things stand at `now`; None when nothing will be.

    `told`: the tellings that belong to its stretch, in order.
    """
    rung = [line for line in told if line.kind in ("first", "again", "rise")]
    if not rung:
        return _first(board, reminder, hours, now)
    if reminder.stretch.unknown_at(now):
        return None
    last = told[-1]
    if last.kind == "settled":
        urgency = reminder.verdict.urgency(now)
        return _word(board, reminder, hours, last.at, "again", urgency, rung[0].first_at, by_event=True)
    rise = _rise(board, reminder, rung, hours, now)
    repeat = _repeat(board, reminder, rung, hours, now)
    if rise is None or repeat is None or rise.due <= now:
        return rise or repeat
    return min(rise, repeat, key=lambda word: word.due)


def _first(board: Board, reminder: Reminder, hours: Hours, now: int) -> Word:
    verdict = reminder.verdict
    found = board.found_at(reminder)
    by_event = found > reminder.stretch.opened or verdict.opened_by_event(reminder.stretch.opened)
    urgency = verdict.urgency(max(found, min(now, reminder.stretch.ended - 1)))
    said = said_of(board, reminder, now)
    if said is not None and said.what == "snoozed" and snoozed_until(said) > found:
        found, by_event = snoozed_until(said), False
    return _word(board, reminder, hours, found, "first", urgency, 0, by_event)


def _rise(board: Board, reminder: Reminder, rung: list[Told], hours: Hours, now: int) -> Word | None:
    """The first rise of urgency above all that was told."""
    highest = min(rank(line.urgency) for line in rung)
    for turn, urgency in reminder.verdict.rises(reminder.stretch):
        if rank(urgency) < highest and (turn > now or reminder.verdict.urgency(now) == urgency):
            by_event = reminder.verdict.opened_by_event(turn)
            start = max(turn, rung[-1].at)
            return _word(board, reminder, hours, start, "rise", urgency, rung[0].first_at, by_event)
    return None


def _repeat(board: Board, reminder: Reminder, rung: list[Told], hours: Hours, now: int) -> Word | None:
    loudest = min((line.urgency for line in rung), key=rank)
    urgency = max(reminder.verdict.urgency(now), loudest, key=rank)  # it may have fallen since; a rise is told as one
    first, last = rung[0].first_at, rung[-1].at
    spacing = reminder.verdict.rule.spacing(urgency)
    due = _next_repeat(first, last, spacing, urgency) if spacing else None
    said = said_of(board, reminder, now)
    if said is not None and said.what == "seen":
        return None
    if said is not None and snoozed_until(said) > last:
        due = snoozed_until(said)
    return None if due is None else _word(board, reminder, hours, due, "again", urgency, first, by_event=False)


def said_of(board: Board, reminder: Reminder, now: int) -> Event | None:
    """The last `seen` or `snoozed` of an open reminder since it opened or, if it did, since its urgency rose."""
    since = max(turn for turn, _ in reminder.verdict.rises(reminder.stretch) if turn <= now)
    said = [*board.said(reminder.key, "seen"), *board.said(reminder.key, "snoozed")]
    return max((event for event in said if since <= event.at <= now), default=None)


def snoozed_until(snoozed: Event) -> int:
    return parse_rfc3339(str(snoozed.fields["until"])) if "until" in snoozed.fields else snoozed.at + SNOOZE


def _next_repeat(first: int, last: int, spacing: int, urgency: str) -> int:
    """Repeats fall at the first message + spacing x 1, 3, 7, 15, then every 8 more; for `now` at every spacing."""
    if urgency == "now":
        return first + ((last - first) // spacing + 1) * spacing
    steps = (last - first) // spacing
    nearest = next((step for step in _SPACING if step > steps), None)
    if nearest is None:
        nearest = _SPACING[-1] + ((steps - _SPACING[-1]) // 8 + 1) * 8
    return first + nearest * spacing


def _word(
    board: Board, reminder: Reminder, hours: Hours, start: int, kind: str, urgency: str, first_at: int, by_event: bool
) -> Word:
    """A word that could be said at `start`, put off to when the hours let it through."""
    if urgency == "now" and by_event:
        return Word(reminder, start, kind, urgency, first_at)
    if urgency != "now":
        start = board.away_until(start)
    due = hours.delivery(start) if urgency in DISTURBING else hours.next_digest(start)
    return Word(reminder, due, kind, urgency, first_at, held=urgency not in DISTURBING or due > start)
