"""`shelfbell seen RULE ITEM [TIME]`, `shelfbell snooze RULE ITEM [TIME or KIND]`."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.seen import Quieting, log_quieting
from scheduler.base.findings import Refused
from scheduler.base.units import show_span
from scheduler.cli.common import clock, print_logged
from scheduler.events.kinds import AWAITED
from scheduler.home.folder import Home
from scheduler.reminders.board import SNOOZE


def add_arguments(parser: ArgumentParser, name: str) -> None:
    """Declare the options."""
    parser.add_argument("rule", metavar="RULE")
    parser.add_argument("item", metavar="ITEM")
    default = "never unless given" if name == "seen" else f"{show_span(SNOOZE)} from now unless given"
    kinds = "" if name == "seen" else f"; or the next entry of a kind: {', '.join(AWAITED)}"
    meaning = f"when repeats go on, such as 2d or 'sat 09:00': {default}{kinds}"
    parser.add_argument("time", nargs="?", metavar="TIME", help=meaning)
    parser.add_argument("--until", metavar="TIME", help="the same by name")
    parser.add_argument("--note", metavar="TEXT")
    parser.set_defaults(what="seen" if name == "seen" else "snoozed")


def run(home: Home, args: Namespace) -> int:
    """Log it if that reminder is open; print the answer."""
    if args.time and args.until:
        raise Refused.because(f"{args.time!r} and --until {args.until!r}: one of them is enough")
    asked = Quieting(args.what, args.rule, args.item, args.time or args.until or "", args.note or "")
    print_logged(log_quieting(home, asked, clock()).lines)
    return 0
