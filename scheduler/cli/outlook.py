"""`shelfbell outlook --days 90`: what falls due, by calendar and expected use."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from scheduler.answers.outlook import look_ahead, to_json, to_text, todo, without_advice
from scheduler.base.findings import Refused
from scheduler.cli.common import asking, desk, print_answer, print_json
from scheduler.home.folder import Home

_FURTHEST = 3660


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("--days", metavar="N", type=int, default=90, help="how far to look, 90 unless given")
    parser.add_argument("--ics", metavar="FILE", type=Path, help="write it as a calendar too (iCalendar, RFC 5545)")
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print what will fall due; with --ics, write the calendar."""
    if not 1 <= args.days <= _FURTHEST:
        raise Refused.because(f"--days {args.days} is not between 1 and {_FURTHEST}")
    at = desk(home, args)
    found = look_ahead(at, args.days, todo if args.json or args.ics else without_advice)
    if args.ics:
        from scheduler.reports.calendar import as_calendar

        args.ics.write_bytes(as_calendar(at, found))
    if args.json:
        print_json(to_json(at, found))
    else:
        print_answer(at, to_text(at, found))
        if args.ics:
            print(f"Written: {args.ics}")
    return 0
