"""`shelfbell run [--once] [--dry-run]`: the daemon."""

from argparse import ArgumentParser, Namespace

from scheduler.base.findings import Refused
from scheduler.base.typed_times import parse_time
from scheduler.cli.common import clock
from scheduler.cli.progress import progress
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("--once", action="store_true", help="decide once, send what is due, and end")
    parser.add_argument("--dry-run", action="store_true", help="print what would be sent; write and send nothing")
    parser.add_argument("--at", metavar="TIME", help="with --once or --dry-run: as of another instant")


def run(home: Home, args: Namespace) -> int:
    """Run until stopped, or once."""
    from scheduler.daemon import loop

    if args.at and not (args.once or args.dry_run):
        raise Refused.because("--at needs --once or --dry-run: the daemon itself follows the clock")
    at = parse_time(args.at, clock(), home.setup().hours.zone) if args.at else None
    with progress("Items looked at") as tell:
        return loop.run(home, once=args.once, dry_run=args.dry_run, at=at, progress=tell)
