"""What is next to be said of one reminder, and when: a pure function of it, of what was told of it, of the hours."""

from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, parse_rfc3339
from scheduler.events.event import Event
from scheduler.reminders.board import SNOOZE, Board, Reminder
from scheduler.reminders.hours import Hours
from scheduler.verdicts.rule import URGENCIES
from scheduler.verdicts.verdict import Key

DISTURBING = ("now", "today")
"""Urgencies that ring of themselves; the others come with the digest."""
_SPACING = (1, 3, 7, 15)


class Notification(NamedTuple):
    """One telling of one reminder.

    `first_at`: when its first message was decided, which tells the stretch it belongs to. `kind`: first, again,
    rise, escalated or settled. `reason`: how it ended, where it is settled.
    """

    key: Key
    first_at: int
    at: int
    kind: str
    urgency: str
    reason: str = ""


class Announcement(NamedTuple):
    """What is to be said of a reminder: from `due` on.

    `held`: it waited for the digest or for quiet hours to end. `unseen_since`: when it was first rung as `now` with no
    word from the operator since; None where that does not apply.
    """

    reminder: Reminder
    due: int
    kind: str
    urgency: str
    first_at: int
    held: bool = False
    unseen_since: int | None = None


def rank(urgency: str) -> int:
    """0 for the most urgent."""
    return URGENCIES.index(urgency)


def next_announcement(
    board: Board, reminder: Reminder, told: list[Notification], hours: Hours, now: int
) -> Announcement | None:
    """What is next to be said of an open reminder as things stand at `now`; None when nothing will be until it is
    over.

    `told`: the tellings that belong to its stretch, in order.
    """
    word = _next_word(board, reminder, told, hours, now)
    return word if word is not None and word.due < reminder.episode.ended else None


def _next_word(
    board: Board, reminder: Reminder, told: list[Notification], hours: Hours, now: int
) -> Announcement | None:
    rung = [line for line in told if line.kind != "settled"]
    if not rung:
        return _first(board, reminder, hours, now)
    if reminder.episode.unknown_at(now):
        return None
    last = told[-1]
    if last.kind == "settled":
        urgency = reminder.verdict.urgency(now)
        return _word(board, reminder, hours, now, last.at, "again", urgency, rung[0].first_at, by_event=True)
    rise = _rise(board, reminder, rung, hours, now)
    repeat = _repeat(board, reminder, rung, hours, now)
    escalation = _escalation(board, reminder, rung, hours, now)
    words = [word for word in (rise, repeat, escalation) if word is not None]
    due = (word for word in words if word.due <= now)
    return next(due, min(words, key=lambda word: word.due, default=None))


def _first(board: Board, reminder: Reminder, hours: Hours, now: int) -> Announcement | None:
    verdict = reminder.verdict
    found = board.known_at(reminder)
    by_event = found > reminder.episode.opened or verdict.opened_by_event(reminder.episode.opened)
    urgency = verdict.urgency(max(found, min(now, reminder.episode.ended - 1)))
    said = last_response(board, reminder, now)
    if said is not None and (until := quiet_ends(board, said)) > found:
        found, by_event = until, False
    if found == MAX_INSTANT:
        return None
    if verdict.of_morning:
        return Announcement(reminder, found, "first", urgency, 0)
    return _word(board, reminder, hours, now, found, "first", urgency, 0, by_event)


def _rise(board: Board, reminder: Reminder, rung: list[Notification], hours: Hours, now: int) -> Announcement | None:
    """The first rise of urgency above all that was told."""
    highest = min(map(rank, {line.urgency for line in rung}))
    for turn, urgency in reminder.verdict.rises(reminder.episode):
        if rank(urgency) < highest and (turn > now or reminder.verdict.urgency(now) == urgency):
            by_event = reminder.verdict.opened_by_event(turn)
            start = max(turn, rung[-1].at)
            return _word(board, reminder, hours, now, start, "rise", urgency, rung[0].first_at, by_event)
    return None


def _repeat(board: Board, reminder: Reminder, rung: list[Notification], hours: Hours, now: int) -> Announcement | None:
    loudest = min({line.urgency for line in rung}, key=rank)
    urgency = max(reminder.verdict.urgency(now), loudest, key=rank)  # it may have fallen since; a rise is told as one
    last = rung[-1].at
    spacing = reminder.verdict.rule.spacing(urgency)
    due = _next_repeat(rung[0].at, last, spacing, urgency) if spacing else None
    said = last_response(board, reminder, now)
    if said is not None and (until := quiet_ends(board, said)) > last:
        due = until
    if due is None or due == MAX_INSTANT:
        return None
    word = _word(board, reminder, hours, now, due, "again", urgency, rung[0].first_at, by_event=False)
    return word._replace(unseen_since=_unseen_since(board, reminder, rung, now))


def _escalation(
    board: Board, reminder: Reminder, rung: list[Notification], hours: Hours, now: int
) -> Announcement | None:
    """The next step by which a reminder that is rung as `now` and not seen goes to further channels."""
    since = _unseen_since(board, reminder, rung, now)
    step = next((after for after in hours.escalate if since is not None and rung[-1].at < since + after), None)
    if since is None or step is None:
        return None
    turn = max(turn for turn, _ in reminder.verdict.rises(reminder.episode) if turn <= now)
    by_event = reminder.verdict.opened_by_event(turn)
    word = _word(board, reminder, hours, now, since + step, "escalated", "now", rung[0].first_at, by_event)
    return word._replace(unseen_since=since)


def _unseen_since(board: Board, reminder: Reminder, rung: list[Notification], now: int) -> int | None:
    """When it was first rung as `now` since anything was said of it; None where it is not `now`, or is kept quiet."""
    if reminder.verdict.urgency(now) != "now":
        return None
    said = last_response(board, reminder, now)
    after = MIN_INSTANT if said is None else quiet_ends(board, said)
    return next((line.at for line in rung if line.urgency == "now" and line.at >= after), None)


def last_response(board: Board, reminder: Reminder, now: int) -> Event | None:
    """The last `seen` or `snoozed` of an open reminder since it opened or, if it did, since its urgency rose."""
    since = max(turn for turn, _ in reminder.verdict.rises(reminder.episode) if turn <= now)
    said = [*board.responses(reminder.key, "seen"), *board.responses(reminder.key, "snoozed")]
    return max((event for event in said if since <= event.at <= now), default=None)


def quiet_ends(board: Board, said: Event) -> int:
    """Until when a `seen` or `snoozed` keeps its reminder quiet; MAX_INSTANT while no end can be told."""
    ends = []
    if "until" in said.fields:
        ends.append(parse_rfc3339(str(said.fields["until"])))
    if "until_next" in said.fields:
        done = board.store.filed(str(said.get("item")), str(said.get("until_next")))
        ends.append(next((event.at for event in done if event.at > said.at), MAX_INSTANT))
    if ends:
        return min(ends)
    return MAX_INSTANT if said.what == "seen" else said.at + SNOOZE


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
    """A word that could be said at `start`, put off to when the hours let it through."""
    if urgency == "now" and by_event:
        return Announcement(reminder, start, kind, urgency, first_at)
    due, held = _let_through(board, hours, start, urgency)
    if due <= now:  # it was not said in time, and by now other hours may hold it
        free = max(hours.quiet_until(now), now if urgency == "now" else board.away_until(now))
        if free > now:
            due, held = _let_through(board, hours, free, urgency)[0], True
    return Announcement(reminder, due, kind, urgency, first_at, held)


def _let_through(board: Board, hours: Hours, start: int, urgency: str) -> tuple[int, bool]:
    """When something that could be said at `start` is said, and whether it waits for the digest or for quiet hours."""
    if urgency != "now":
        start = board.away_until(start)
    due = hours.delivery(start) if urgency in DISTURBING else hours.next_digest(start)
    return due, urgency not in DISTURBING or due > start
