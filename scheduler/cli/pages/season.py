"""What an audit is made from: a stretch of time lived through, and the words for it."""

from statistics import median
from typing import NamedTuple

from scheduler.cli.common import Desk, numbered
from scheduler.events.log import Event
from scheduler.instants import local_date, to_datetime
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.giving_way import gave_way_to, how_ended
from scheduler.reminders.ground import clean
from scheduler.reminders.rehearse import Rehearsal
from scheduler.units import show_span
from scheduler.verdicts.verdict import Verdict


class Season(NamedTuple):
    """One stretch of time: `board` from all that is known now, `result` as it was lived through, the entries of it.

    `judged_at`: where it is judged, its last instant or now, whichever comes first. `sent`: how many messages went out
    and how many were given up. `files_off`: the shipped rule files that are not on. `told`: the rules rung in it.
    """

    at: Desk
    start: int
    end: int
    judged_at: int
    board: Board
    result: Rehearsal
    entries: list[Event]
    corrections: list[tuple[Event, Event]]
    sent: tuple[int, int]
    files_off: list[str]
    told: frozenset[str] = frozenset()

    def day(self, instant: int) -> str:
        """A date: "1 Apr 2026"."""
        when = local_date(instant, self.at.setup.hours.zone)
        return f"{when.day} {when:%b %Y}"

    def moment(self, instant: int) -> str:
        """A date and time: "1 Apr 2026 18:40"."""
        return f"{self.day(instant)} {to_datetime(instant, self.at.setup.hours.zone):%H:%M}"

    def opened(self, rule: str | None = None) -> list[Reminder]:
        """The reminders that opened within it, of one rule or of all."""
        found = [r for r in self.result.reminders if self.start <= r.stretch.opened < self.judged_at]
        return [r for r in found if rule in (None, r.key.rule)]

    def still_open(self) -> list[Reminder]:
        """The reminders open where it is judged."""
        return self.board.open_at(self.judged_at)

    def watching(self, item: str) -> list[Verdict]:
        """The verdicts on an item."""
        return [verdict for verdict in self.board.verdicts if verdict.item.id == item]


def settled(reminders: list[Reminder], by: int) -> list[Reminder]:
    """Those that were settled by then, the quickest first."""
    found = [r for r in reminders if r.stretch.ended <= by and how_ended(r) == "settled"]
    return sorted(found, key=lambda r: r.stretch.ended - r.stretch.opened)


def responses(reminders: list[Reminder], by: int) -> list[int]:
    """The times from opening to settling, of those that were settled by then, microseconds, shortest first."""
    return [r.stretch.ended - r.stretch.opened for r in settled(reminders, by)]


def given_way(reminders: list[Reminder], by: int) -> int:
    """How many gave way by then to another on the same item."""
    return sum(r.stretch.ended <= by and gave_way_to(r) is not None for r in reminders)


def typical(spans: list[int]) -> str:
    """The median, "-" without any."""
    return show_span(round(median(spans))) if spans else "-"


def safe(value: object) -> str:
    """Text from outside made safe to show."""
    return clean(str(value))


def some(count: int, noun: str, plural: str = "") -> str:
    """ "1 rule", "2 rules", "no rules"."""
    return numbered(count, noun, plural) if count else f"no {plural or noun + 's'}"
