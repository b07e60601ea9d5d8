"""`shelfbell history [ITEM]`: what happened, corrections shown."""

from argparse import ArgumentParser, Namespace

from scheduler.cli.common import asking, desk, print_json
from scheduler.cli.explain import entry_line
from scheduler.findings import Refused, did_you_mean
from scheduler.home import Home
from scheduler.reminders.text import clean


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("item", nargs="?", metavar="ITEM")
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print a line an event, oldest first."""
    at = desk(home, args)
    if args.item is not None and args.item not in at.setup.fleet and args.item not in home.log.names():
        raise Refused.because(f"nothing is logged of {args.item!r}{did_you_mean(args.item, at.setup.fleet.ids())}")
    entries = [(event, by) for event, by in home.log.history(args.item) if event.at <= at.now]
    if args.json:
        print_json([event.fields | {"taken_back_by": by} for event, by in entries])
        return 0
    for event, by in entries:
        note = f"  \"{clean(str(event.fields['note']))}\"" if "note" in event.fields else ""
        instead = f"  [in place of {event.fields['instead_of']}]" if "instead_of" in event.fields else ""
        gone = f"  [taken back by {by}]" if by else ""
        print(f"{entry_line(at, event)}{note}{instead}{gone}")
    if not entries:
        print("Nothing is logged." if args.item is None else f"Nothing is logged of {clean(args.item)}.")
    return 0
