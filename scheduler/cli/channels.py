"""`shelfbell channels`: how each channel is doing."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.channels import channel_states, to_json, to_text
from scheduler.cli.common import asking, desk, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print each channel: last success, last error, waiting messages; 1 if one fails."""
    at = desk(home, args, setup=home.settings())
    states = channel_states(at)
    if args.json:
        print_json([to_json(at, state) for state in states])
    else:
        print(to_text(at, states))
    return 1 if any(state.failing for state in states) else 0
