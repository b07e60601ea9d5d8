"""`shelfbell check`: every file, every rule's cases."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.check import check_home, to_lines
from scheduler.cli.common import clock, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("--json", action="store_true", help="for programs")


def run(home: Home, args: Namespace) -> int:
    """Print all findings; exit 1 on any."""
    checked = check_home(home, clock())
    if args.json:
        print_json([finding._asdict() for finding in checked.findings])
    else:
        print("\n".join(to_lines(checked)))
    return 1 if checked.findings else 0
