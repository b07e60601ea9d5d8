"""Rehearse an interval of time: what would have been, or will be, sent."""

from scheduler.answers.desk import Desk
from scheduler.base.findings import Refused
from scheduler.base.instants import DAY, local_date, start_of_day
from scheduler.base.progress import Progress, nobody
from scheduler.base.text import numbered
from scheduler.base.typed_times import is_bare_day, parse_time
from scheduler.events.memory import Memory
from scheduler.home.setup import Channel
from scheduler.reminders.announcements import Notification, rank
from scheduler.reminders.as_known import LogAsKnown
from scheduler.reminders.board import Board
from scheduler.reminders.decide import Decision
from scheduler.reminders.message_text import compose
from scheduler.reminders.rehearse import Rehearsal, rehearse, rehearse_as_known
from scheduler.reminders.superseded import how_ended


def to_json(at: Desk, result: Rehearsal) -> dict[str, object]:
    """Return the rehearsal for programs."""
    return {
        "from": at.stamp(result.start),
        "to": at.stamp(result.end),
        "reminders": [
            {
                "rule": reminder.key.rule,
                "item": reminder.key.item,
                "opened_at": at.stamp(reminder.episode.opened),
                "settled_at": at.stamp(reminder.episode.ended) if reminder.episode.ended < result.end else None,
                "ending": how_ended(reminder) if reminder.episode.ended < result.end else "",
                "messages": [
                    {"at": at.stamp(sent.at), "kind": _kind(sent), "channel": channel.name}
                    for sent in result.messages(reminder)
                    for channel in at.setup.channels
                    if _carried(sent, channel, result.messages(reminder))
                ],
            }
            for reminder in result.reminders
        ],
    }


def _kind(sent: Notification) -> str:
    """Return the kind of its message: an escalated one repeats an earlier message."""
    return "again" if sent.kind == "escalated" else sent.kind


def _carried(sent: Notification, channel: Channel, of_reminder: list[Notification]) -> bool:
    """Return whether a channel carries a notification.

    One with `after` carries only what rang as `now` that long before.
    """
    if not channel.after:
        return sent.kind != "escalated" and sent.urgency in channel.urgency
    return sent.urgency == "now" and any(n.urgency == "now" and sent.at - n.at >= channel.after for n in of_reminder)


def to_text(at: Desk, result: Rehearsal) -> str:
    """Return the rehearsal for people: a line a reminder."""
    reminders, messages = numbered(len(result.reminders), "reminder"), numbered(len(result.decisions), "message")
    digests = sum(decision.digest for decision in result.decisions)
    head = f"From {at.say(result.start)} to {at.say(result.end)}: {reminders}, {messages} ({digests} of them digests)."
    lines = [head, ""] if result.reminders else [head]
    for reminder in result.reminders:
        episode = reminder.episode
        ended = f"{how_ended(reminder)} {at.say(episode.ended)}" if episode.ended < result.end else "open at the end"
        urgency = min((word for turn, word in reminder.verdict.rises(episode) if turn < result.end), key=rank)
        rung = len(result.messages(reminder))
        name = f"{reminder.key.rule} {reminder.key.item}"
        lines.append(f"{at.say(episode.opened):<17} {urgency:<9} {name}: {ended}; rung {rung}x")
    return "\n".join(lines)


def messages_text(at: Desk, result: Rehearsal) -> str:
    """Return the full messages of a rehearsal."""
    board = at.board(as_recorded=False)
    return "\n\n".join(_message(at, decision, board) for decision in result.decisions)


def _message(at: Desk, decision: Decision, board: Board) -> str:
    text = compose(
        decision, [word.reminder for word in decision.announcements], at.setup.hours.zone, board.store.newest
    )
    return f"{at.say(decision.at)}  [{decision.kind}]  {text.title}\n{text.body}"


def typed_interval(at: Desk, start: str, end: str) -> tuple[int, int]:
    """Return the interval of two typed times; bare days count whole. Raises Refused."""
    zone = at.setup.hours.zone
    first, last = parse_time(start, at.now, zone), parse_time(end, at.now, zone, ahead=True, day_ends=True)
    if is_bare_day(start):
        first = start_of_day(local_date(first, zone), zone)
    if last <= first:
        raise Refused.because(f"--to {end} is not after --from {start}")
    return first, last


def rehearse_interval(at: Desk, start: int, end: int, as_known: bool = False, progress: Progress = nobody) -> Rehearsal:
    """Return what is sent from `start` to `end`, from all entries known now.

    `as_known`: at each instant from entries recorded by then. `progress` gets the number of rules solved, or of days
    over.
    """
    setup = at.setup
    if not as_known:
        board = at.board(as_recorded=False)
        for done, verdict in enumerate(board.verdicts, 1):
            _ = verdict.episodes
            progress(done, len(board.verdicts))
        return rehearse(board, setup.hours, start, end)
    known = LogAsKnown(setup.fleet, setup.clocks, setup.rules, Memory(at.home.log.history()))
    first = known.memory.next_arrival(known.now)
    known.on_ask = lambda now: progress((now - first) // DAY, (end - first) // DAY)
    return rehearse_as_known(known, setup.hours, start, end)
