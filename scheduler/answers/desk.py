"""What every question is asked of: a home, its set-up and an instant."""

from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import MAX_INSTANT, moment_near, rfc3339
from scheduler.events.event import Event
from scheduler.events.log import LogReader
from scheduler.events.source import Source
from scheduler.facts.fact_store import FactStore
from scheduler.facts.jobs import all_jobs
from scheduler.home.folder import Home
from scheduler.home.setup import Setup
from scheduler.reminders.board import Board

if TYPE_CHECKING:
    pass


class Without(Source):
    """The events of a book less some."""

    def __init__(self, store: FactStore, ids: frozenset[str]) -> None:
        self._book = store
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
    known: int = MAX_INSTANT
    day: str = ""

    def store(self, before: int = MAX_INSTANT) -> FactStore:
        """The book of the home's log."""
        return FactStore(self.setup.fleet, LogReader(self.home.log, self.known, before), self.setup.clocks)

    def board(self, items: list[str] | None = None, as_recorded: bool = True) -> Board:
        """The board of the home's log."""
        return Board(self.store(), self.setup.rules, items, as_recorded)

    def stamp(self, instant: int) -> str:
        """An instant for programs."""
        return rfc3339(instant, self.setup.hours.zone)

    def say(self, instant: int | None) -> str:
        """An instant for people."""
        return "never" if instant is None else moment_near(instant, self.now, self.setup.hours.zone)


def setup_or_fallback(home: Home) -> tuple[Setup, Refused | None]:
    """The set-up, and None; where its files are refused, what can be had of it, and what is wrong with them.

    Raises Refused where too little can be had.
    """
    try:
        return home.setup(), None
    except Refused as refused:
        from scheduler.answers.fallback_setup import fallback_setup

        return fallback_setup(home, refused), refused


_MOST_JOBS = 5
"""So many jobs are named where one is not found."""


def no_such_job(store: FactStore, name: str, now: int) -> Refused:
    """The refusal of a job that was never booked: the name most like it, and the next ones that are booked ahead."""
    plans = {job.name: plan for job in all_jobs(store).values() if (plan := job.plan_at(now))}
    ahead = sorted((job for job, plan in plans.items() if plan.ends > now), key=lambda job: plans[job].starts)
    near = did_you_mean(name, ahead) or did_you_mean(name, plans)
    more = f" and {len(ahead) - _MOST_JOBS} more" if len(ahead) > _MOST_JOBS else ""
    return Refused.because(
        f"there is no job {name!r}{near}; booked ahead: {', '.join(ahead[:_MOST_JOBS]) or 'none'}{more}"
    )
