"""`shelfbell rehearse --from TIME --to TIME`: what would have been, or will be, sent."""

from argparse import ArgumentParser, Namespace

from scheduler.cli.common import Desk, clock, desk, print_json
from scheduler.findings import Refused
from scheduler.home import Home
from scheduler.reminders.decide import Decision
from scheduler.reminders.rehearse import Rehearsal, rehearse
from scheduler.reminders.text import compose
from scheduler.reminders.words import rank
from scheduler.spoken import parse_time


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("--from", dest="start", metavar="TIME", required=True)
    parser.add_argument("--to", dest="end", metavar="TIME", required=True)
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.add_argument("--messages", action="store_true", help="print each message whole")


def run(home: Home, args: Namespace) -> int:
    """Print every reminder of the stretch with its messages."""
    at = desk(home)
    zone = at.setup.hours.zone
    start = parse_time(args.start, clock(), zone)
    end = parse_time(args.end, clock(), zone, ahead=True, day_ends=True)
    if end <= start:
        raise Refused.because(f"--to {args.end} is not after --from {args.start}")
    result = rehearse(at.board(as_told=False), at.setup.hours, start, end)
    if args.json:
        print_json(to_json(at, result))
    elif args.messages:
        print("\n\n".join(message(at, decision) for decision in result.decisions))
    else:
        print(to_text(at, result))
    return 0


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
                "ending": reminder.stretch.ending if reminder.stretch.ended < result.end else "",
                "messages": [
                    {"at": at.stamp(told.at), "kind": told.kind, "channel": channel.name}
                    for told in result.messages(reminder)
                    for channel in at.setup.channels
                    if told.urgency in channel.urgency
                ],
            }
            for reminder in result.reminders
        ],
    }


def to_text(at: Desk, result: Rehearsal) -> str:
    """The rehearsal for people: a line a reminder."""
    head = f"From {at.say(result.start)} to {at.say(result.end)}: {len(result.reminders)} reminders, "
    head += f"{len(result.decisions)} messages ({sum(decision.digest for decision in result.decisions)} of them digests)."
    lines = [head, ""]
    for reminder in result.reminders:
        stretch = reminder.stretch
        ended = f"{stretch.ending} {at.say(stretch.ended)}" if stretch.ended < result.end else "open at the end"
        urgency = min((word for _, word in reminder.verdict.rises(stretch)), key=rank)
        rung = len(result.messages(reminder))
        lines.append(f"{at.say(stretch.opened):<17} {urgency:<9} {reminder.key.rule} {reminder.key.item}: {ended}; rung {rung}x")
    return "\n".join(lines)


def message(at: Desk, decision: Decision) -> str:
    """One message, whole."""
    text = compose(decision, [word.reminder for word in decision.words], at.setup.hours.zone, at.board())
    return f"{at.say(decision.at)}  [{decision.kind}]  {text.title}\n{text.body}"
