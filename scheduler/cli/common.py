"""Share among commands: the clock, options of questions, the desk, printing."""

import json
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from scheduler.answers.desk import AskedAt, Desk, desk_at
from scheduler.base.findings import Refused
from scheduler.home.folder import Home
from scheduler.home.setup import Setup

if TYPE_CHECKING:
    from argparse import ArgumentParser, Namespace


def clock() -> int:
    """Return the instant now."""
    return time.time_ns() // 1000


def asking(parser: "ArgumentParser", as_known: bool = False) -> None:
    """Add the options of every question; `as_known`: also --as-known."""
    parser.add_argument("--at", metavar="TIME", help="as of another instant")
    parser.add_argument("--json", action="store_true", help="for programs")
    if as_known:
        parser.add_argument("--as-known", action="store_true", help="from what had been recorded by that instant")


def desk(home: Home, args: "Namespace | None" = None, past: bool = False, setup: Setup | None = None) -> Desk:
    """Return the home as of --at, or now. `past`: a weekday is the last, not the next.

    `setup`: a partial set-up, if the command needs no more.
    """
    return desk_at(home, setup or home.setup(), clock(), _asked(args, past))


@contextmanager
def desk_or_fallback(home: Home, args: "Namespace | None" = None, past: bool = False) -> Iterator[Desk]:
    """Give the same desk; by the files that last passed if the present are refused.

    Raises Refused with what is wrong, then after the answer; at once where the rules are not known.
    """
    from scheduler.answers import fallback

    at, refused = fallback.desk_or_fallback(home, clock(), _asked(args, past))
    if refused is None:
        yield at
        return
    try:
        yield at
    except Refused as unanswered:
        raise fallback.answered_by_older_files(at, refused, clock(), unanswered.findings) from None
    sys.stdout.flush()  # what is wrong comes last, also where both go to one place
    raise fallback.answered_by_older_files(at, refused, clock())


def _asked(args: "Namespace | None", past: bool) -> AskedAt:
    return AskedAt(getattr(args, "at", None), past, getattr(args, "as_known", False))


def print_logged(lines: list[str]) -> None:
    """Print the answer to entries already logged; a failure here leaves them logged."""
    try:
        print("\n".join(lines), flush=True)
    except BrokenPipeError:  # the reader, such as `head`, has seen enough
        raise
    except OSError as error:
        print(f"It is logged; the answer could not be printed: {error.strerror}", file=sys.stderr)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is left unwritten would fail once more


def print_json(data: object) -> None:
    """Print for programs."""
    json.dump(data, sys.stdout, ensure_ascii=False, indent=2)
    print()


def print_answer(at: Desk, text: str) -> None:
    """Print an answer for people; first, how a day without a time was understood."""
    if at.day:
        print(f'No time given with "{at.day}": the end of that day is taken.')
    print(text)
