"""`shelfbell backup FILE` and `shelfbell restore FILE`."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from scheduler.base.findings import Refused
from scheduler.home.backup import backup, restore
from scheduler.home.folder import Home
from scheduler.messages.outbox import Outbox, remember


def add_arguments(parser: ArgumentParser, name: str) -> None:
    """Declare the options."""
    parser.add_argument("file", metavar="FILE", type=Path)
    parser.set_defaults(restoring=name == "restore")


def run(home: Home, args: Namespace) -> int:
    """Write an archive of the home, or unpack one into an empty home."""
    if args.restoring:
        events = restore(args.file, home)
        print(f"{events} events restored into {home.path}. Channel addresses are not in a backup: set them again.")
        return 0
    if not args.file.parent.is_dir():
        raise Refused.because(f"there is no folder {args.file.parent}")
    events = backup(home, args.file)
    from scheduler.cli.common import clock

    with Outbox(home.log).writing() as transaction:
        remember(transaction, "backed_up_at", clock())
    print(f"{events} events backed up to {args.file}, opened again and found whole. Keep a copy on another disk.")
    return 0
