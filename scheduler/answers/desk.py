"""The desk: a home, its set-up and an instant, which every question needs."""

import re
from typing import NamedTuple

from scheduler.base.findings import Refused, and_then, did_you_mean
from scheduler.base.instants import MAX_INSTANT, moment_near, rfc3339
from scheduler.base.typed_times import is_bare_day, parse_time
from scheduler.events.event import Event
from scheduler.events.log import LogReader
from scheduler.events.source import Source
from scheduler.facts.fact_store import FactStore
from scheduler.facts.jobs import all_jobs
from scheduler.home.folder import Home
from scheduler.home.setup import Setup
from scheduler.reminders.board import Board


class Without(Source):
    """The events of a fact store, some left out."""

    def __init__(self, store: FactStore, ids: frozenset[str]) -> None:
        self._store = store
        self._ids = ids

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """Return events in force filed under a name, in order; if given, only of `what`."""
        return [event for event in self._store.filed(name, what) if event.id not in self._ids]


class Desk(NamedTuple):
    """A home with its set-up and the instant a question asks about.

    `known`: only what was recorded by then counts. `day`: the words typed, if they name a day without a time; the
    answer is for its end. Else "".
    """

    home: Home
    setup: Setup
    now: int
    known: int = MAX_INSTANT
    day: str = ""

    def store(self, before: int = MAX_INSTANT) -> FactStore:
        """Return the facts of the home's log; `before`: only of entries before that place."""
        return FactStore(self.setup.fleet, LogReader(self.home.log, self.known, before), self.setup.clocks)

    def board(self, items: list[str] | None = None, as_recorded: bool = True) -> Board:
        """Return the board of some items, or of all."""
        return Board(self.store(), self.setup.rules, items, as_recorded)

    def stamp(self, instant: int) -> str:
        """Write an instant for programs."""
        return rfc3339(instant, self.setup.hours.zone)

    def say(self, instant: int | None) -> str:
        """Write an instant for people."""
        return "never" if instant is None else moment_near(instant, self.now, self.setup.hours.zone)


class AskedAt(NamedTuple):
    """The instant a question asks about, as typed; None for now.

    `past`: a weekday is the last one, not the coming one (a clock time alone is always the last one). `as_known`: only
    what had been recorded by that instant counts.
    """

    typed: str | None = None
    past: bool = False
    as_known: bool = False


NOW = AskedAt()
_CLOCK_ALONE = r"(?i:\d{1,2}(:\d\d)?\s*([ap]m)?)"


def desk_at(home: Home, setup: Setup, now: int, asked: AskedAt = NOW) -> Desk:
    """Return the desk at the instant asked about. Raises Refused for a bad time."""
    day = ""
    if asked.typed is not None:
        past = asked.past or asked.as_known or re.fullmatch(_CLOCK_ALONE, asked.typed.strip()) is not None
        now = parse_time(asked.typed, now, setup.hours.zone, ahead=not past, day_ends=True)
        day = asked.typed if is_bare_day(asked.typed) else ""
    return Desk(home, setup, now, known=now if asked.as_known else MAX_INSTANT, day=day)


_MOST_JOBS = 5
"""The most jobs that are named where one is not found."""


def no_such_job(store: FactStore, name: str, now: int) -> Refused:
    """Return the refusal of a job never booked: the nearest name, the next bookings."""
    plans = {job.name: plan for job in all_jobs(store).values() if (plan := job.plan_at(now))}
    ahead = sorted((job for job, plan in plans.items() if plan.ends > now), key=lambda job: plans[job].starts)
    near = did_you_mean(name, ahead) or did_you_mean(name, plans)
    more = f" and {len(ahead) - _MOST_JOBS} more" if len(ahead) > _MOST_JOBS else ""
    return Refused.because(
        f"there is no job {name!r}" + and_then(near, f"booked ahead: {', '.join(ahead[:_MOST_JOBS]) or 'none'}{more}")
    )
