"""`shelfbell ring CHANNEL`: a trial message, by the same path as real ones."""

from argparse import ArgumentParser, Namespace

from scheduler.base.findings import Refused, and_then, did_you_mean
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("channel", metavar="CHANNEL")


def run(home: Home, args: Namespace) -> int:
    """Send it and say whether it went out; exit 1 if it did not."""
    from scheduler.daemon import loop

    channels = {channel.name: channel for channel in home.settings().channels}
    if not channels:
        raise Refused.because("no channel is set up yet: see channels: in shelfbell.yaml")
    if args.channel not in channels:
        there = and_then(did_you_mean(args.channel, channels), f"there is {', '.join(channels)}")
        raise Refused.because(f"there is no channel {args.channel!r}{there}")
    outcome = loop.ring(home, channels[args.channel])
    print(f"{args.channel}: {'sent' if outcome.result == 'sent' else f'not sent: {outcome.reason}'}")
    return 0 if outcome.result == "sent" else 1
