"""`shelfbell rehearse --from TIME --to TIME`: what would be sent."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from scheduler.answers import rule_comparison
from scheduler.answers.desk import Desk
from scheduler.answers.message_load import load_text
from scheduler.answers.rehearse import messages_text, rehearse_interval, to_json, to_text, typed_interval
from scheduler.answers.rule_comparison import Side, compared
from scheduler.answers.suppose import suppose_file, suppose_use_like, supposed_copy
from scheduler.cli.common import desk, print_json
from scheduler.cli.intake import opened
from scheduler.cli.progress import progress
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("--from", dest="start", metavar="TIME", required=True)
    parser.add_argument("--to", dest="end", metavar="TIME", required=True)
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.add_argument("--messages", action="store_true", help="print each message whole")
    parser.add_argument("--load", action="store_true", help="messages by week and channel, loudest and quietest rules")
    parser.add_argument("--as-known", action="store_true", help="at each instant from what had been recorded by then")
    parser.add_argument("--rules", metavar="DIR", type=Path, help="a folder of own rules in the place of the home's")
    parser.add_argument("--against", metavar="DIR", type=Path, help="and what another folder of own rules would do")
    parser.add_argument("--suppose", metavar="FILE", action="append", default=[], help="what-if events, JSON Lines")
    parser.add_argument("--like", metavar="FROM..TO", help="suppose that use goes on as in that time")


def run(home: Home, args: Namespace) -> int:
    """Print every reminder of the interval with its messages."""
    if not (args.suppose or args.like):
        return _run(home, args, [])
    with supposed_copy(home) as copy:
        return _run(copy, args, _suppose(desk(copy), args))


def _run(home: Home, args: Namespace, heads: list[str]) -> int:
    at = desk(home)
    if args.rules:
        at = at._replace(setup=home.candidate(args.rules))
    side = _rehearsed(at, args, str(args.rules or "this home's own rules"))
    if args.against:
        other = _rehearsed(at._replace(setup=home.candidate(args.against)), args, str(args.against))
        sides = compared(side, other)
        if args.json:
            print_json({"supposed": heads} | rule_comparison.to_json(at, sides))
        else:
            print("\n".join([*heads, rule_comparison.to_text(at, sides)]))
    elif args.json:
        print_json(({"supposed": heads} if heads else {}) | to_json(at, side.result))
    else:
        write = messages_text if args.messages else load_text if args.load else to_text
        print("\n".join([*heads, write(at, side.result)]))
    return 0


def _rehearsed(at: Desk, args: Namespace, name: str) -> Side:
    """Rehearse the interval asked about with a set-up's rules; `name`: of these rules."""
    start, end = typed_interval(at, args.start, args.end)
    with progress("Days lived through" if args.as_known else "Rules solved") as tell:
        return Side(name, at.setup.rules, rehearse_interval(at, start, end, args.as_known, tell))


def _suppose(at: Desk, args: Namespace) -> list[str]:
    """Add the supposed entries to the copy of the log; return a line on each set."""
    heads = []
    for file in args.suppose:
        with opened(file) as source:
            heads.append(suppose_file(at, source, "standard input" if file == "-" else file))
    if args.like:
        begun, _, over = args.like.partition("..")
        like = typed_interval(at, begun, over)
        heads.append(suppose_use_like(at, like, typed_interval(at, args.start, args.end)))
    return heads
