"""`shelfbell explain [RULE] [ITEM]`: why a rule fires or stays silent."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.explain import to_json, to_text
from scheduler.cli.common import asking, desk_or_fallback, print_answer, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("names", nargs="*", metavar="RULE or ITEM", help="one rule, one item, or both")
    parser.add_argument("--all", action="store_true", help="each one whole, those that are silent too")
    asking(parser, as_known=True)


def run(home: Home, args: Namespace) -> int:
    """Print the tree of each verdict asked for."""
    with desk_or_fallback(home, args) as at:
        if args.json:
            print_json(to_json(at, args.names))
        else:
            print_answer(at, to_text(at, args.names, args.all))
    return 0
