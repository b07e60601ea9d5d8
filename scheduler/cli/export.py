"""`shelfbell export`: every event as JSON Lines, in the order of arrival."""

import sys
from argparse import ArgumentParser, Namespace

from scheduler.home.folder import Home


def add_arguments(_parser: ArgumentParser, _name: str) -> None:
    """Declare no options."""


def run(home: Home, _args: Namespace) -> int:
    """Write all lines."""
    home.require()
    sys.stdout.reconfigure(encoding="utf-8", newline="\n")  # type: ignore[union-attr]
    for line in home.log.lines():
        sys.stdout.write(f"{line}\n")
    return 0
