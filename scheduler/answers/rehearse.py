"""What would have been, or will be, sent in a span of time."""

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
    """The rehearsal for programs."""
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
                    {"at": at.stamp(told.at), "kind": _kind(told), "channel": channel.name}
                    for told in result.messages(reminder)
                    for channel in at.setup.channels
                    if _carried(told, channel, result.messages(reminder))
                ],
            }
            for reminder in result.reminders
        ],
    }


def _kind(told: Notification) -> str:
    """The kind of message that a telling is: one that goes to further channels repeats what was said."""
    return "again" if told.kind == "escalated" else told.kind


def _carried(told: Notification, channel: Channel, tellings: list[Notification]) -> bool:
    """True when a channel takes a telling: a further one what was rung as `now` so long before."""
    if not channel.after:
        return told.kind != "escalated" and told.urgency in channel.urgency
    return told.urgency == "now" and any(t.urgency == "now" and told.at - t.at >= channel.after for t in tellings)


def to_text(at: Desk, result: Rehearsal) -> str:
    """The rehearsal for people: a line a reminder."""
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


def message(at: Desk, decision: Decision, board: Board) -> str:
    """One message, whole."""
    text = compose(
        decision, [word.reminder for word in decision.announcements], at.setup.hours.zone, board.store.newest
    )
    return f"{at.say(decision.at)}  [{decision.kind}]  {text.title}\n{text.body}"


def typed_interval(at: Desk, start: str, end: str) -> tuple[int, int]:
    """Return the interval that two typed times mean; bare days count whole. Raises Refused."""
    zone = at.setup.hours.zone
    first, last = parse_time(start, at.now, zone), parse_time(end, at.now, zone, ahead=True, day_ends=True)
    if is_bare_day(start):
        first = start_of_day(local_date(first, zone), zone)
    if last <= first:
        raise Refused.because(f"--to {end} is not after --from {start}")
    return first, last


def live_through(at: Desk, start: int, end: int, as_known: bool = False, progress: Progress = nobody) -> Rehearsal:
    """Return what is sent from `start` to `end`, from all that is known now.

    `as_known`: at each instant from what had been recorded by then. `progress`: is told how many rules are solved, or
    how many days are over.
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
