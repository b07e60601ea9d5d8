"""`shelfbell doctor`: is all well with the home, and if not, what to do."""

import os
from argparse import ArgumentParser, Namespace

from scheduler.answers.doctor import diagnose
from scheduler.cli.common import clock, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("--json", action="store_true", help="for programs")


def run(home: Home, args: Namespace) -> int:
    """Check everything; exit 1 if anything is not fine."""
    found = list(diagnose(home, clock(), os.environ))
    if args.json:
        print_json([one._asdict() for one in found])
    else:
        print("\n".join(f"{'well ' if one.fine else 'LOOK '} {one.about}: {one.said}" for one in found))
    return 0 if all(one.fine for one in found) else 1
