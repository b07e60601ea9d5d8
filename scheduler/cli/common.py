"""What the commands share: the clock, times as typed, the book of a home, words for people."""

import json
import re
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from scheduler.answers.desk import Desk, setup_or_fallback
from scheduler.base.findings import Refused
from scheduler.base.instants import MAX_INSTANT
from scheduler.base.typed_times import is_bare_day, parse_time
from scheduler.home.folder import Home
from scheduler.home.setup import Setup

if TYPE_CHECKING:
    from argparse import ArgumentParser, Namespace


def clock() -> int:
    """Now."""
    return time.time_ns() // 1000


def asking(parser: "ArgumentParser", as_known: bool = False) -> None:
    """The options of every question; `as_known`: it can be answered from what had been recorded by then."""
    parser.add_argument("--at", metavar="TIME", help="as of another instant")
    parser.add_argument("--json", action="store_true", help="for programs")
    if as_known:
        parser.add_argument("--as-known", action="store_true", help="from what had been recorded by that instant")


_CLOCK_ALONE = r"(?i:\d{1,2}(:\d\d)?\s*([ap]m)?)"


def desk(home: Home, args: "Namespace | None" = None, past: bool = False, setup: Setup | None = None) -> Desk:
    """The home as of --at, or now. A weekday is the coming one, unless the question is about the `past`; a clock time
    alone is always the last one. `setup`: given where less than the whole of it will do."""
    return _asked_of(home, setup or home.setup(), args, past)


@contextmanager
def desk_or_fallback(home: Home, args: "Namespace | None" = None, past: bool = False) -> Iterator[Desk]:
    """The same for a question that is answered while files of the home are refused too: by them as they last passed.

    Raises Refused after the answer then, with what is wrong; at once where no rules are left to go by.
    """
    setup, refused = setup_or_fallback(home)
    if refused and not list(setup.rules):
        raise refused
    at = _asked_of(home, setup, args, past)
    if refused is None:
        yield at
        return
    from scheduler.answers.degraded import by_older_files

    try:
        yield at
    except Refused as unanswered:
        raise by_older_files(at, refused, clock(), unanswered.findings) from None
    sys.stdout.flush()  # what is wrong comes last, also where both go to one place
    raise by_older_files(at, refused, clock())


def _asked_of(home: Home, setup: Setup, args: "Namespace | None", past: bool) -> Desk:
    now, day = clock(), ""
    at = getattr(args, "at", None)
    if at is not None:
        past = past or getattr(args, "as_known", False) or re.fullmatch(_CLOCK_ALONE, at.strip()) is not None
        now = parse_time(at, now, setup.hours.zone, ahead=not past, day_ends=True)
        day = at if is_bare_day(at) else ""
    return Desk(home, setup, now, known=now if getattr(args, "as_known", False) else MAX_INSTANT, day=day)


def print_json(data: object) -> None:
    """Print for programs."""
    json.dump(data, sys.stdout, ensure_ascii=False, indent=2)
    print()


def print_answer(at: Desk, text: str) -> None:
    """Print an answer for people, and before it how a day without a time was taken."""
    if at.day:
        print(f'No time given with "{at.day}": the end of that day is taken.')
    print(text)
