"""`shelfbell case RULE ITEM --at T`: a case of a rule from history, to paste."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.case import case_text
from scheduler.cli.common import desk
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("rule", metavar="RULE")
    parser.add_argument("item", metavar="ITEM")
    parser.add_argument("--at", metavar="TIME", help="the instant that the case is to hold; now unless given")


def run(home: Home, args: Namespace) -> int:
    """Print the case."""
    print(case_text(desk(home, args, past=True), args.rule, args.item))
    return 0
