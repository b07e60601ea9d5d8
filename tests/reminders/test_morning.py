"""The message of a job's morning alone also goes in quiet hours."""

from datetime import time
from zoneinfo import ZoneInfo

import pytest

from scheduler.facts.catalogue import CATALOGUE
from scheduler.reminders.board import Board
from scheduler.reminders.hours import Hours
from scheduler.reminders.rehearse import rehearse
from scheduler.verdicts.rule import Ruleset
from tests.support import book_of, event, moment

UTC = ZoneInfo("UTC")
HOURS = Hours(UTC, (time(21, 30), time(7, 0)), time(7, 0))


def rule(fact: str) -> dict[str, object]:
    return {
        "id": "job-soon",
        "about": "job",
        "title": "Job soon",
        "when": {"fact": fact, "is": "yes"},
        "urgency": "today",
        "do": "Go.",
        "why": "It starts.",
        "basis": {"kind": "common practice"},
    }


@pytest.mark.parametrize(
    ("fact", "told_at"),
    [("job_morning", "2026-04-03T06:00:00Z"), ("job_under_way", "2026-04-04T07:00:00Z")],
    ids=["the morning of a job goes at 06:00, in quiet hours", "another fact of a job waits for the digest"],
)
def test_only_the_morning_of_a_job_opens_the_quiet_hours(fact: str, told_at: str) -> None:
    starts = "2026-04-03T08:30:00Z" if fact == "job_morning" else "2026-04-03T22:00:00Z"
    store = book_of({}, event("2026-04-01T12:00:00Z", "booked", job="harbour", starts=starts))
    board = Board(store, Ruleset([rule(fact)], {}, CATALOGUE), as_recorded=False)
    lived = rehearse(board, HOURS, moment("2026-04-02T00:00:00Z"), moment("2026-04-05T00:00:00Z"))
    told = [line.at for reminder in lived.reminders for line in lived.messages(reminder)]
    assert told[0] == moment(told_at)
