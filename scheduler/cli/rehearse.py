"""`shelfbell rehearse --from TIME --to TIME`: what would have been, or will be, sent."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from scheduler.answers.side_by_side import Side, Sides, difference_json, difference_text
from scheduler.answers.suppose import suppose_file, suppose_use, supposing
from scheduler.base.findings import Refused
from scheduler.base.instants import DAY, local_date, start_of_day
from scheduler.base.typed_times import is_bare_day, parse_time
from scheduler.cli.common import Desk, clock, desk, numbered, print_json
from scheduler.cli.progress import counted, progress
from scheduler.events.memory import Memory
from scheduler.home.folder import Home
from scheduler.home.setup import Channel
from scheduler.reminders.board import Board
from scheduler.reminders.compare import compare
from scheduler.reminders.decide import Decision
from scheduler.reminders.giving_way import how_ended
from scheduler.reminders.known import Known
from scheduler.reminders.rehearse import Rehearsal, rehearse, rehearse_as_known
from scheduler.reminders.text import compose
from scheduler.reminders.told import Told
from scheduler.reminders.words import rank


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("--from", dest="start", metavar="TIME", required=True)
    parser.add_argument("--to", dest="end", metavar="TIME", required=True)
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.add_argument("--messages", action="store_true", help="print each message whole")
    parser.add_argument("--load", action="store_true", help="messages by week and channel, loudest and quietest rules")
    parser.add_argument("--as-known", action="store_true", help="at each instant from what had been recorded by then")
    parser.add_argument("--rules", metavar="DIR", type=Path, help="a folder of own rules in the place of the home's")
    parser.add_argument("--against", metavar="DIR", type=Path, help="and what another folder of own rules would do")
    parser.add_argument("--suppose", metavar="FILE", action="append", default=[], help="what-if events, JSON Lines")
    parser.add_argument("--like", metavar="FROM..TO", help="suppose that use goes on as in that stretch")


def run(home: Home, args: Namespace) -> int:
    """Print every reminder of the stretch with its messages."""
    if not (args.suppose or args.like):
        return _run(home, args, [])
    with supposing(home) as copy:
        return _run(copy, args, _supposed(copy, args))


def _run(home: Home, args: Namespace, heads: list[str]) -> int:
    at = desk(home)
    if args.rules:
        at = at._replace(setup=home.candidate(args.rules))
    start, end = stretch(at, args.start, args.end)
    result = lived(at, start, end, args.as_known)
    if args.against:
        other = at._replace(setup=home.candidate(args.against))
        now = Side(str(args.rules or "the installed rules"), at.setup.rules, result)
        instead = Side(str(args.against), other.setup.rules, lived(other, start, end, args.as_known))
        _print_sides(at, args, heads, Sides(now, instead))
    elif args.json:
        print_json({"supposed": heads} | to_json(at, result) if heads else to_json(at, result))
    else:
        print("\n".join([*heads, *_shown(at, args, result)]))
    return 0


def _shown(at: Desk, args: Namespace, result: Rehearsal) -> list[str]:
    if args.messages:
        board = at.board(as_told=False)
        return ["\n\n".join(message(at, decision, board) for decision in result.decisions)]
    if args.load:
        from scheduler.answers.message_load import load_text

        return [load_text(at, result)]
    return [to_text(at, result)]


def _print_sides(at: Desk, args: Namespace, heads: list[str], sides: Sides) -> None:
    difference = compare(sides.now.result, sides.instead.result)
    if args.json:
        print_json({"supposed": heads, **difference_json(at, sides, difference)})
    else:
        print("\n".join([*heads, difference_text(at, sides, difference)]))


def stretch(at: Desk, start: str, end: str) -> tuple[int, int]:
    """The stretch that two typed times mean: bare days count whole. Raises Refused."""
    zone = at.setup.hours.zone
    first, last = parse_time(start, clock(), zone), parse_time(end, clock(), zone, ahead=True, day_ends=True)
    if is_bare_day(start):
        first = start_of_day(local_date(first, zone), zone)
    if last <= first:
        raise Refused.because(f"--to {end} is not after --from {start}")
    return first, last


def lived(at: Desk, start: int, end: int, as_known: bool = False) -> Rehearsal:
    """The stretch lived through, knowing all that is known now or at each instant what had been recorded by then."""
    setup = at.setup
    if not as_known:
        board = at.board(as_told=False)
        with progress("Rules solved") as tell:
            for verdict in counted(board.verdicts, tell, len(board.verdicts)):
                _ = verdict.stretches
        return rehearse(board, setup.hours, start, end)
    known = Known(setup.fleet, setup.clocks, setup.rules, Memory(at.home.log.history()))
    with progress("Days lived through") as tell:
        first = known.memory.next_arrival(known.now)
        known.watch = lambda now: tell((now - first) // DAY, (end - first) // DAY)
        return rehearse_as_known(known, setup.hours, start, end)


def _supposed(home: Home, args: Namespace) -> list[str]:
    """Put into the copy of the log what is supposed; a line on each set, so that nobody takes it for what happened."""
    at = desk(home)
    heads = []
    for file in args.suppose:
        count = numbered(suppose_file(home, at.setup.fleet, file), "entry", "entries")
        heads.append(f"Supposed, not logged: {count} of {file}.")
    if args.like:
        begun, _, over = args.like.partition("..")
        like = stretch(at, begun, over)
        ahead = stretch(at, args.start, args.end)
        ahead = (max(ahead[0], at.now), ahead[1])
        count = numbered(suppose_use(home, at.setup.fleet, at.setup.hours, like, ahead), "entry", "entries")
        pattern = f"from {at.say(like[0])} to {at.say(like[1])}"
        heads.append(f"Supposed, not logged: {count} of use from {at.say(ahead[0])} on, as {pattern}.")
    return heads


def to_json(at: Desk, result: Rehearsal) -> dict[str, object]:
    """The rehearsal for programs."""
    return {
        "from": at.stamp(result.start),
        "to": at.stamp(result.end),
        "reminders": [
            {
                "rule": reminder.key.rule,
                "item": reminder.key.item,
                "opened_at": at.stamp(reminder.stretch.opened),
                "settled_at": at.stamp(reminder.stretch.ended) if reminder.stretch.ended < result.end else None,
                "ending": how_ended(reminder) if reminder.stretch.ended < result.end else "",
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


def _kind(told: Told) -> str:
    """The kind of message that a telling is: one that goes to further channels repeats what was said."""
    return "again" if told.kind == "escalated" else told.kind


def _carried(told: Told, channel: Channel, tellings: list[Told]) -> bool:
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
        stretch = reminder.stretch
        ended = f"{how_ended(reminder)} {at.say(stretch.ended)}" if stretch.ended < result.end else "open at the end"
        urgency = min((word for turn, word in reminder.verdict.rises(stretch) if turn < result.end), key=rank)
        rung = len(result.messages(reminder))
        name = f"{reminder.key.rule} {reminder.key.item}"
        lines.append(f"{at.say(stretch.opened):<17} {urgency:<9} {name}: {ended}; rung {rung}x")
    return "\n".join(lines)


def message(at: Desk, decision: Decision, board: Board) -> str:
    """One message, whole."""
    text = compose(decision, [word.reminder for word in decision.words], at.setup.hours.zone, board.book.newest)
    return f"{at.say(decision.at)}  [{decision.kind}]  {text.title}\n{text.body}"
