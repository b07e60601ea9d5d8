"""`shelfbell intake FILE|-`: read events from JSON Lines, all of them or none."""

import sys
from argparse import ArgumentParser, Namespace
from shutil import copyfileobj
from tempfile import SpooledTemporaryFile
from typing import IO

from scheduler.answers.lines import lines
from scheduler.base.progress import counted
from scheduler.cli.common import clock, print_logged
from scheduler.cli.progress import progress
from scheduler.events.taking import take
from scheduler.home.folder import Home
from scheduler.home.notify_daemon import notify_daemon
from scheduler.home.process_pool import map_in_processes

IN_MEMORY = 16 * 2**20
"""Bytes of standard input that are kept in memory, the rest on disk."""


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("file", metavar="FILE", help="JSON Lines, one event a line; - reads standard input")


def run(home: Home, args: Namespace) -> int:
    """Take the file in."""
    setup = home.setup()
    name = "standard input" if args.file == "-" else args.file
    with opened(args.file) as source, progress("Lines read") as tell:
        counted_lines = counted(lines(source, name), tell)
        taken = take(home.log, counted_lines, setup.fleet, clock(), name, map_in_processes)
    notify_daemon(home.path)
    known = f"; {taken.known} were there already" if taken.known else ""
    print_logged([f"{len(taken.ids)} events taken in{known}."])
    return 0


def opened(file: str) -> IO[bytes]:
    """Open the file to read."""
    if file != "-":
        return open(file, "rb")  # noqa: SIM115 - the caller closes it
    # Standard input is read to its end first: the log is not locked while someone types.
    whole = SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - the caller closes it
    copyfileobj(sys.stdin.buffer, whole)
    whole.seek(0)
    return whole
