"""`shelfbell history [ITEM]`: what happened, corrections shown."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.history import history_of, to_json, to_lines
from scheduler.cli.common import asking, desk_or_fallback, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("item", nargs="?", metavar="ITEM")
    parser.add_argument("--reminders", action="store_true", help="also what was rung, and how it ended")
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print a line an event, oldest first."""
    with desk_or_fallback(home, args, past=True) as at:
        history = history_of(at, args.item, args.reminders)
        if args.json:
            print_json(to_json(at, history))
        else:
            print("\n".join(to_lines(at, history)))
    return 0
