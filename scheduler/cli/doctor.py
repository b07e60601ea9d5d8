"""`shelfbell doctor`: is all well with the home, and what to do where it is not."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.doctor import look
from scheduler.cli.common import clock, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("--json", action="store_true", help="for programs")


def run(home: Home, args: Namespace) -> int:
    """Look at everything; exit 1 when anything is not fine."""
    looks = list(look(home, clock()))
    if args.json:
        print_json([one._asdict() for one in looks])
    else:
        for one in looks:
            print(f"{'well ' if one.fine else 'LOOK '} {one.about}: {one.said}")
    return 0 if all(one.fine for one in looks) else 1
