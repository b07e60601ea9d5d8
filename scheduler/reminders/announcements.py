"""The next announcement of a reminder, from past notifications and the hours."""

from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, parse_rfc3339
from scheduler.events.event import Event
from scheduler.reminders.board import SNOOZE, Board, Reminder
from scheduler.reminders.hours import Hours
from scheduler.verdicts.rule import URGENCIES
from scheduler.verdicts.verdict import Key

DISTURBING = ("now", "today")
"""Urgencies that ring by themselves; the others come with the digest."""
_SPACING = (1, 3, 7, 15)


class Notification(NamedTuple):
    """A record that a message about a reminder was decided.

    `first_at`: when its first message was decided, which shows the episode it belongs to. `kind`: first, again, rise,
    escalated or settled. `reason`: how it ended, if it is settled.
    """

    key: Key
    first_at: int
    at: int
    kind: str
    urgency: str
    reason: str = ""


class Announcement(NamedTuple):
    """Something to say about a reminder from `due` on.

    `held`: it waits for the digest or for quiet hours to end. `unseen_since`: when it was first rung as `now` with no
    response from the operator since; else None.
    """

    reminder: Reminder
    due: int
    kind: str
    urgency: str
    first_at: int
    held: bool = False
    unseen_since: int | None = None


def rank(urgency: str) -> int:
    """Return 0 for the most urgent."""
    return URGENCIES.index(urgency)


def next_announcement(
    board: Board, reminder: Reminder, past: list[Notification], hours: Hours, now: int
) -> Announcement | None:
    """Return the next announcement of an open reminder as known at `now`, or None.

    None: it ends before any falls due. `past`: the notifications of this reminder, in order.
    """
    found = _next_announcement(board, reminder, past, hours, now)
    return found if found is not None and found.due < reminder.episode.ended else None


def _next_announcement(
    board: Board, reminder: Reminder, past: list[Notification], hours: Hours, now: int
) -> Announcement | None:
    rung = [line for line in past if line.kind != "settled"]
    if not rung:
        return _first(board, reminder, hours, now)
    if reminder.episode.unknown_at(now):
        return None
    last = past[-1]
    if last.kind == "settled":
        urgency = reminder.verdict.urgency(now)
        return _announce(board, reminder, hours, now, last.at, "again", urgency, rung[0].first_at, by_event=True)
    rise = _rise(board, reminder, rung, hours, now)
    repeat = _repeat(board, reminder, rung, hours, now)
    escalation = _escalation(board, reminder, rung, hours, now)
    coming = [each for each in (rise, repeat, escalation) if each is not None]
    due = (each for each in coming if each.due <= now)  # in this order: a rise counts before a repeat
    return next(due, min(coming, key=lambda each: each.due, default=None))


def _first(board: Board, reminder: Reminder, hours: Hours, now: int) -> Announcement | None:
    verdict = reminder.verdict
    start = board.known_at(reminder)
    by_event = start > reminder.episode.opened or verdict.opened_by_event(reminder.episode.opened)
    urgency = verdict.urgency(max(start, min(now, reminder.episode.ended - 1)))
    response = last_response(board, reminder, now)
    if response is not None and (until := quiet_ends(board, response)) > start:
        start, by_event = until, False
    if start == MAX_INSTANT:
        return None
    if verdict.of_morning:
        return Announcement(reminder, start, "first", urgency, 0)
    return _announce(board, reminder, hours, now, start, "first", urgency, 0, by_event)


def _rise(board: Board, reminder: Reminder, rung: list[Notification], hours: Hours, now: int) -> Announcement | None:
    """Return the first rise of urgency above all that was sent."""
    highest = min(map(rank, {line.urgency for line in rung}))
    for turn, urgency in reminder.verdict.rises(reminder.episode):
        if rank(urgency) < highest and (turn > now or reminder.verdict.urgency(now) == urgency):
            by_event = reminder.verdict.opened_by_event(turn)
            start = max(turn, rung[-1].at)
            return _announce(board, reminder, hours, now, start, "rise", urgency, rung[0].first_at, by_event)
    return None


def _repeat(board: Board, reminder: Reminder, rung: list[Notification], hours: Hours, now: int) -> Announcement | None:
    loudest = min({line.urgency for line in rung}, key=rank)
    urgency = max(reminder.verdict.urgency(now), loudest, key=rank)  # it may have fallen; a rise has its own kind
    last = rung[-1].at
    spacing = reminder.verdict.rule.spacing(urgency)
    due = _next_repeat(rung[0].at, last, spacing, urgency) if spacing else None
    response = last_response(board, reminder, now)
    if response is not None and (until := quiet_ends(board, response)) > last:
        due = until
    if due is None or due == MAX_INSTANT:
        return None
    found = _announce(board, reminder, hours, now, due, "again", urgency, rung[0].first_at, by_event=False)
    return found._replace(unseen_since=_unseen_since(board, reminder, rung, now))


def _escalation(
    board: Board, reminder: Reminder, rung: list[Notification], hours: Hours, now: int
) -> Announcement | None:
    """Return the next escalation of a reminder rung as `now` and not seen."""
    since = _unseen_since(board, reminder, rung, now)
    step = next((after for after in hours.escalate if since is not None and rung[-1].at < since + after), None)
    if since is None or step is None:
        return None
    turn = max(turn for turn, _ in reminder.verdict.rises(reminder.episode) if turn <= now)
    by_event = reminder.verdict.opened_by_event(turn)
    found = _announce(board, reminder, hours, now, since + step, "escalated", "now", rung[0].first_at, by_event)
    return found._replace(unseen_since=since)


def _unseen_since(board: Board, reminder: Reminder, rung: list[Notification], now: int) -> int | None:
    """Return when an unseen `now` was first rung after the last response, or None."""
    if reminder.verdict.urgency(now) != "now":
        return None
    response = last_response(board, reminder, now)
    after = MIN_INSTANT if response is None else quiet_ends(board, response)
    return next((line.at for line in rung if line.urgency == "now" and line.at >= after), None)


def last_response(board: Board, reminder: Reminder, now: int) -> Event | None:
    """Return the last `seen` or `snoozed` since it opened or became more urgent."""
    since = max(turn for turn, _ in reminder.verdict.rises(reminder.episode) if turn <= now)
    responses = [*board.responses(reminder.key, "seen"), *board.responses(reminder.key, "snoozed")]
    return max((event for event in responses if since <= event.at <= now), default=None)


def quiet_ends(board: Board, response: Event) -> int:
    """Return when a response's quiet ends; MAX_INSTANT while that is not known."""
    ends = []
    if "until" in response.fields:
        ends.append(parse_rfc3339(str(response.fields["until"])))
    if "until_next" in response.fields:
        done = board.store.filed(str(response.get("item")), str(response.get("until_next")))
        ends.append(next((event.at for event in done if event.at > response.at), MAX_INSTANT))
    if ends:
        return min(ends)
    return MAX_INSTANT if response.what == "seen" else response.at + SNOOZE


def _next_repeat(first: int, last: int, spacing: int, urgency: str) -> int:
    """Return when to repeat.

    At the first message + spacing x 1, 3, 7, 15, then every 8; a `now` at every spacing.
    """
    if urgency == "now":
        return first + ((last - first) // spacing + 1) * spacing
    steps = (last - first) // spacing
    nearest = next((step for step in _SPACING if step > steps), None)
    if nearest is None:
        nearest = _SPACING[-1] + ((steps - _SPACING[-1]) // 8 + 1) * 8
    return first + nearest * spacing


def _announce(
    board: Board,
    reminder: Reminder,
    hours: Hours,
    now: int,
    start: int,
    kind: str,
    urgency: str,
    first_at: int,
    by_event: bool,
) -> Announcement:
    """Return an announcement possible at `start`, delayed as the hours require."""
    if urgency == "now" and by_event:
        return Announcement(reminder, start, kind, urgency, first_at)
    due, held = _let_through(board, hours, start, urgency)
    if due <= now:  # it is late, and by now other quiet hours or an absence may hold it back
        free = max(hours.quiet_until(now), now if urgency == "now" else board.away_until(now))
        if free > now:
            due, held = _let_through(board, hours, free, urgency)[0], True
    return Announcement(reminder, due, kind, urgency, first_at, held)


def _let_through(board: Board, hours: Hours, start: int, urgency: str) -> tuple[int, bool]:
    """Return when to announce, and whether it waits for digest or quiet hours."""
    if urgency != "now":
        start = board.away_until(start)
    due = hours.delivery(start) if urgency in DISTURBING else hours.next_digest(start)
    return due, urgency not in DISTURBING or due > start
