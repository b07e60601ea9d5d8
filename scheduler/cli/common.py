"""What the commands share: the clock, times as typed, the book of a home, words for people."""

import json
import re
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple

from scheduler.answers.describe_event import describe as describe
from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import DUSK, moment_near, rfc3339
from scheduler.base.typed_times import is_bare_day, parse_time
from scheduler.events.event import Event
from scheduler.events.log import Reader
from scheduler.events.source import Source
from scheduler.facts.book import Book
from scheduler.home.folder import Home
from scheduler.home.setup import Setup
from scheduler.reminders.board import Board

if TYPE_CHECKING:
    from argparse import ArgumentParser, Namespace


def clock() -> int:
    """Now."""
    return time.time_ns() // 1000


class Without(Source):
    """The events of a book less some."""

    def __init__(self, book: Book, ids: frozenset[str]) -> None:
        self._book = book
        self._ids = ids

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """The events in force filed under a name, in order; of one kind where `what` names it."""
        return [event for event in self._book.filed(name, what) if event.id not in self._ids]


class Desk(NamedTuple):
    """A home with its set-up and the instant that is asked about; `known`: only what was recorded by then counts.
    `day`: what was typed, where it is a day without a time, of which the end is asked about; else ""."""

    home: Home
    setup: Setup
    now: int
    known: int = DUSK
    day: str = ""

    def book(self, before: int = DUSK) -> Book:
        """The book of the home's log."""
        return Book(self.setup.fleet, Reader(self.home.log, self.known, before), self.setup.clocks)

    def board(self, items: list[str] | None = None, as_told: bool = True) -> Board:
        """The board of the home's log."""
        return Board(self.book(), self.setup.rules, items, as_told)

    def stamp(self, instant: int) -> str:
        """An instant for programs."""
        return rfc3339(instant, self.setup.hours.zone)

    def say(self, instant: int | None) -> str:
        """An instant for people."""
        return "never" if instant is None else moment_near(instant, self.now, self.setup.hours.zone)


def asking(parser: "ArgumentParser", as_known: bool = False) -> None:
    """The options of every question; `as_known`: it can be answered from what had been recorded by then."""
    parser.add_argument("--at", metavar="TIME", help="as of another instant")
    parser.add_argument("--json", action="store_true", help="for programs")
    if as_known:
        parser.add_argument("--as-known", action="store_true", help="from what had been recorded by that instant")


def setup_or_spare(home: Home) -> tuple[Setup, Refused | None]:
    """The set-up, and None; where its files are refused, what can be had of it, and what is wrong with them.

    Raises Refused where too little can be had.
    """
    try:
        return home.setup(), None
    except Refused as refused:
        from scheduler.answers.fallback_setup import spare_setup

        return spare_setup(home, refused), refused


_CLOCK_ALONE = r"(?i:\d{1,2}(:\d\d)?\s*([ap]m)?)"


def desk(home: Home, args: "Namespace | None" = None, past: bool = False, setup: Setup | None = None) -> Desk:
    """The home as of --at, or now. A weekday is the coming one, unless the question is about the `past`; a clock time
    alone is always the last one. `setup`: given where less than the whole of it will do."""
    return _asked_of(home, setup or home.setup(), args, past)


@contextmanager
def desk_or_spare(home: Home, args: "Namespace | None" = None, past: bool = False) -> Iterator[Desk]:
    """The same for a question that is answered while files of the home are refused too: by them as they last passed.

    Raises Refused after the answer then, with what is wrong; at once where no rules are left to go by.
    """
    setup, refused = setup_or_spare(home)
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
        raise by_older_files(at, refused, unanswered.findings) from None
    sys.stdout.flush()  # what is wrong comes last, also where both go to one place
    raise by_older_files(at, refused)


def _asked_of(home: Home, setup: Setup, args: "Namespace | None", past: bool) -> Desk:
    now, day = clock(), ""
    at = getattr(args, "at", None)
    if at is not None:
        past = past or getattr(args, "as_known", False) or re.fullmatch(_CLOCK_ALONE, at.strip()) is not None
        now = parse_time(at, now, setup.hours.zone, ahead=not past, day_ends=True)
        day = at if is_bare_day(at) else ""
    return Desk(home, setup, now, known=now if getattr(args, "as_known", False) else DUSK, day=day)


_MOST_JOBS = 5
"""So many jobs are named where one is not found."""


def no_such_job(book: Book, name: str, now: int) -> Refused:
    """The refusal of a job that was never booked: the name most like it, and the next ones that are booked ahead."""
    plans = {job.name: plan for job in book.jobs.values() if (plan := job.plan_at(now))}
    ahead = sorted((job for job, plan in plans.items() if plan.ends > now), key=lambda job: plans[job].starts)
    near = did_you_mean(name, ahead) or did_you_mean(name, plans)
    more = f" and {len(ahead) - _MOST_JOBS} more" if len(ahead) > _MOST_JOBS else ""
    return Refused.because(
        f"there is no job {name!r}{near}; booked ahead: {', '.join(ahead[:_MOST_JOBS]) or 'none'}{more}"
    )


def print_json(data: object) -> None:
    """Print for programs."""
    json.dump(data, sys.stdout, ensure_ascii=False, indent=2)
    print()


def print_answer(at: Desk, text: str) -> None:
    """Print an answer for people, and before it how a day without a time was taken."""
    if at.day:
        print(f'No time given with "{at.day}": the end of that day is taken.')
    print(text)


def numbered(count: int, noun: str, plural: str = "") -> str:
    """ "1 finding", "2 findings"; "2 entries" where the plural is given."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"
