"""`shelfbell rehearse --from TIME --to TIME`: what would have been, or will be, sent."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from scheduler.answers.desk import Desk
from scheduler.answers.rehearse import live_through, message, to_json, to_text, typed_interval
from scheduler.answers.side_by_side import Side, Sides, difference_json, difference_text
from scheduler.answers.suppose import suppose_file, suppose_use, supposing
from scheduler.base.text import numbered
from scheduler.cli.common import desk, print_json
from scheduler.cli.intake import opened
from scheduler.cli.progress import progress
from scheduler.home.folder import Home
from scheduler.reminders.rehearse import Rehearsal, compare


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
    start, end = typed_interval(at, args.start, args.end)
    result = _live_through(at, start, end, args.as_known)
    if args.against:
        other = at._replace(setup=home.candidate(args.against))
        now = Side(str(args.rules or "the installed rules"), at.setup.rules, result)
        instead = Side(str(args.against), other.setup.rules, _live_through(other, start, end, args.as_known))
        _print_sides(at, args, heads, Sides(now, instead))
    elif args.json:
        print_json({"supposed": heads} | to_json(at, result) if heads else to_json(at, result))
    else:
        print("\n".join([*heads, *_shown(at, args, result)]))
    return 0


def _shown(at: Desk, args: Namespace, result: Rehearsal) -> list[str]:
    if args.messages:
        board = at.board(as_recorded=False)
        return ["\n\n".join(message(at, decision, board) for decision in result.decisions)]
    if args.load:
        from scheduler.answers.message_load import load_text

        return [load_text(at, result)]
    return [to_text(at, result)]


def _live_through(at: Desk, start: int, end: int, as_known: bool) -> Rehearsal:
    with progress("Days lived through" if as_known else "Rules solved") as tell:
        return live_through(at, start, end, as_known, tell)


def _print_sides(at: Desk, args: Namespace, heads: list[str], sides: Sides) -> None:
    difference = compare(sides.now.result, sides.instead.result)
    if args.json:
        print_json({"supposed": heads, **difference_json(at, sides, difference)})
    else:
        print("\n".join([*heads, difference_text(at, sides, difference)]))


def _supposed(home: Home, args: Namespace) -> list[str]:
    """Put into the copy of the log what is supposed; a line on each set, so that nobody takes it for what happened."""
    at = desk(home)
    heads = []
    for file in args.suppose:
        name = "standard input" if file == "-" else file
        with opened(file) as source:
            count = numbered(suppose_file(home, at.setup.fleet, source, name), "entry", "entries")
        heads.append(f"Supposed, not logged: {count} of {file}.")
    if args.like:
        begun, _, over = args.like.partition("..")
        like = typed_interval(at, begun, over)
        ahead = typed_interval(at, args.start, args.end)
        ahead = (max(ahead[0], at.now), ahead[1])
        count = numbered(suppose_use(home, at.setup.fleet, at.setup.hours, like, ahead), "entry", "entries")
        pattern = f"from {at.say(like[0])} to {at.say(like[1])}"
        heads.append(f"Supposed, not logged: {count} of use from {at.say(ahead[0])} on, as {pattern}.")
    return heads
