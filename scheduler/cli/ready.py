"""`shelfbell ready [JOB]`: can I fly, with which packs, how long, what first."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.ready import answer_ready, to_json, to_text
from scheduler.cli.common import asking, desk_or_fallback, print_answer, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("job", nargs="?", metavar="JOB", help="a booked job; the next one unless given")
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print the answer for a job, or for a flight now if none is booked."""
    with desk_or_fallback(home, args) as at:
        found = answer_ready(at, args.job)
        if args.json:
            print_json(to_json(at, found))
        else:
            print_answer(at, to_text(at, found))
    return 0
