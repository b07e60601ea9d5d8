"""Gather one past interval for an audit; write its dates and counts."""

from collections.abc import Mapping
from statistics import median
from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.base.instants import local_date, to_datetime
from scheduler.base.text import clean, numbered
from scheduler.base.units import show_span
from scheduler.events.event import Event
from scheduler.facts.timeline import Value
from scheduler.reminders.board import Reminder
from scheduler.reminders.unjudged import Unknown
from scheduler.reports.pack_report import PackHistory
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.verdict import Key


class Watched(NamedTuple):
    """A rule on an item. `undecided`: it was unknown all through the season.

    `never_logged`: what its facts need and no entry of the season gave. `unknown`: why it cannot be judged at the end.
    """

    key: Key
    title: str
    undecided: bool
    never_logged: list[str]
    unknown: Unknown | None


class Opened(NamedTuple):
    """A reminder open in the season. `urgent`: it once had the highest urgency.

    `superseded`: it ended only because another on the same item replaced it.
    """

    key: Key
    title: str
    episode: Episode
    urgent: bool
    superseded: bool


class State(NamedTuple):
    """An item at the end: facts by name, out of service for good, a pack's history."""

    facts: dict[str, Value]
    retired: bool
    history: PackHistory | None


class Logged(NamedTuple):
    """Counts of the season. `airtime`: microseconds; `by_pack`: flights of each pack."""

    entries: int
    flights: int
    airtime: int
    mishaps: int
    by_pack: Mapping[str, int]


class Season(NamedTuple):
    """One interval of time, from all entries known now.

    `judged_at`: its last instant or now, whichever comes first. `watched`: each rule by each item; `reminders`: those
    open in it, in order of opening; `still_open`: those open at `judged_at`, the most urgent first; `states`: by item.
    `sent`: how many messages went out and how many were given up. `files_off`: the shipped rule files that are not on.
    `rang`: the rules that rang in it.
    """

    at: Desk
    start: int
    end: int
    judged_at: int
    watched: list[Watched]
    reminders: list[Opened]
    still_open: list[Reminder]
    states: dict[str, State]
    logged: Logged
    corrections: list[tuple[Event, Event]]
    sent: tuple[int, int]
    files_off: list[str]
    rang: frozenset[str] = frozenset()

    def day(self, instant: int) -> str:
        """Write a date: "1 Apr 2026"."""
        when = local_date(instant, self.at.setup.hours.zone)
        return f"{when.day} {when:%b %Y}"

    def moment(self, instant: int) -> str:
        """Write a date and time: "1 Apr 2026 18:40"."""
        return f"{self.day(instant)} {to_datetime(instant, self.at.setup.hours.zone):%H:%M}"

    def opened(self, rule: str | None = None) -> list[Opened]:
        """Return the reminders that opened in it, of one rule or of all."""
        found = [r for r in self.reminders if self.start <= r.episode.opened < self.judged_at]
        return [r for r in found if rule in (None, r.key.rule)]


def settled(reminders: list[Opened], by: int) -> list[Opened]:
    """Return those that were settled by then, the quickest first."""
    found = [r for r in reminders if r.episode.ending == "settled" and not r.superseded and r.episode.ended <= by]
    return sorted(found, key=lambda r: r.episode.ended - r.episode.opened)


def responses(reminders: list[Opened], by: int) -> list[int]:
    """Return times from opening to settling by then, microseconds, shortest first."""
    return [r.episode.ended - r.episode.opened for r in settled(reminders, by)]


def count_superseded(reminders: list[Opened], by: int) -> int:
    """Count those that another on the same item replaced by then."""
    return sum(r.episode.ended <= by and r.superseded for r in reminders)


def typical(intervals: list[int]) -> str:
    """Write the median, "-" without any."""
    return show_span(round(median(intervals))) if intervals else "-"


def safe(value: object) -> str:
    """Make text from outside safe to show."""
    return clean(str(value))


def some(count: int, noun: str, plural: str = "") -> str:
    """ "1 rule", "2 rules", "no rules"."""
    return numbered(count, noun, plural) if count else f"no {plural or noun + 's'}"
