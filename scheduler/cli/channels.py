"""`shelfbell channels`: how each channel does."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.channels import channel_json, channel_line
from scheduler.cli.common import asking, desk, print_json
from scheduler.home.folder import Home
from scheduler.messages.outbox import Outbox


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print each channel with its last success, last error and waiting messages; exit 1 when one fails."""
    at = desk(home, args, setup=home.settings())
    health = Outbox(home.log).channel_health()
    if args.json:
        print_json([channel_json(at, channel, health.get(channel.name)) for channel in at.setup.channels])
    else:
        print("\n".join(channel_line(at, channel, health.get(channel.name)) for channel in at.setup.channels) or NONE)
    return 1 if any(health[c.name].failing_since for c in at.setup.channels if c.name in health) else 0


NONE = "No channel is named in shelfbell.yaml: nothing can ring. `shelfbell due` is all there is."
