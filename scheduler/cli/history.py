"""`shelfbell history [ITEM]`: what happened, corrections shown."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.desk import Desk
from scheduler.answers.explain import through
from scheduler.answers.history import (
    event_line,
    filing_name,
    notification_json,
    notification_line,
    overtaken_marks,
    shared_mishaps,
    told_of,
)
from scheduler.base.text import clean
from scheduler.cli.common import asking, desk_or_fallback, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("item", nargs="?", metavar="ITEM")
    parser.add_argument("--reminders", action="store_true", help="also what was rung, and how it ended")
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print a line an event, oldest first."""
    with desk_or_fallback(home, args, past=True) as at:
        _tell(at, args)
    return 0


def _tell(at: Desk, args: Namespace) -> None:
    store = at.store()
    filed = list(at.home.log.history(filing_name(at, args.item)))
    shared = shared_mishaps(store, args.item, {event.id for event, _ in filed})
    found = [*filed, *((event, None) for event in shared)]
    entries = sorted((event, by) for event, by in found if event.at <= at.now)
    told = told_of(at, args.item) if args.reminders else []
    if args.json:
        print_json(
            [event.fields | {"taken_back_by": by} for event, by in entries] + [notification_json(at, t) for t in told]
        )
        return
    marks = {event.id: through(store, args.item, event) for event in shared} | overtaken_marks(store, entries, at.now)
    lines = [(event.at, clean(event_line(at, event, by) + marks.get(event.id, ""))) for event, by in entries]
    lines += [(line.at, notification_line(at, line)) for line in told]
    for _, text in sorted(lines, key=lambda line: line[0]):
        print(text)
    if not entries:
        print("Nothing is logged." if args.item is None else f"Nothing is logged of {clean(args.item)}.")
