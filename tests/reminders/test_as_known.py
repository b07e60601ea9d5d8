"""One computation: a rehearsal as known equals what a daemon decides that lives through the same time.

The daemon here is written a second time: at each instant at which an entry is recorded, and at each at which it would
wake, it builds a new fact store from what was recorded by then and calls `decide`.
"""

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.instants import DAY, HOUR, MAX_INSTANT, MINUTE, rfc3339
from scheduler.base.strict_yaml import read
from scheduler.events.log import Log
from scheduler.events.memory import Memory
from scheduler.events.source import Source
from scheduler.events.taking import take, to_line
from scheduler.facts.event_cache import Clocks
from scheduler.facts.fact_store import FactStore
from scheduler.fleet.fleet import Fleet
from scheduler.reminders.as_known import LogAsKnown
from scheduler.reminders.board import Board
from scheduler.reminders.decide import Decision, Ledger, decide, next_wake
from scheduler.reminders.hours import Hours
from scheduler.reminders.message_text import compose
from scheduler.reminders.rehearse import Rehearsal, rehearse, rehearse_as_known
from tests.homes import FLEET, ruleset
from tests.support import Entries, event, moment

PLATES = read(FLEET, "fleet.yaml").data
RULES = ruleset()
ZONE = ZoneInfo("Europe/Lisbon")
HOURS = Hours.read({"quiet": {"from": "21:30", "to": "07:00"}}, ZONE)
CLOCKS = Clocks(ZONE)
START = moment("2026-03-20")
SPAN = 30
"""Days in which things happen."""


def log_of(folder: Path, entries: Entries) -> Log:
    """A log that holds the entries; those without an id are e1, e2 and so on."""
    log = Log(folder / "shelfbell.db")
    lines = [
        to_line({"id": f"e{number}", "recorded_at": fields["at"]} | fields) for number, fields in enumerate(entries, 1)
    ]
    take(log, enumerate(lines, 1), Fleet(PLATES), MAX_INSTANT)
    return log


class AsToldBy(Source):
    """The events of a log that had been told by an instant."""

    def __init__(self, log: Log, now: int) -> None:
        self._log = log
        self._now = now

    def of(self, name: str, what: str | None = None) -> list:
        return self._log.of(name, what, known=self._now)


def daemon(log: Log, start: int, end: int) -> list[tuple[Decision, Board]]:
    """What a daemon decides in [start, end) that has been there since before the first entry was told."""
    told_at = sorted({event.recorded_at for event, _ in log.history()})
    now = min([start, *told_at])
    ledger, made = Ledger(began=now), []
    while now < end:
        board = Board(FactStore(Fleet(PLATES), AsToldBy(log, now), CLOCKS), RULES)
        decision = decide(board, ledger, HOURS, now)
        for line in decision.notifications():
            ledger.add(line)
        ledger.digest_at = now if decision.digest else ledger.digest_at
        if decision and now >= start:
            made.append((decision, board))
        now = min([next_wake(board, ledger, HOURS, decision), *(told for told in told_at if told > now)])
    return made


def as_known(log: Log, start: int, end: int) -> Rehearsal:
    return rehearse_as_known(LogAsKnown(Fleet(PLATES), CLOCKS, RULES, Memory(log.history())), HOURS, start, end)


def said(decision: Decision, board: Board) -> tuple[object, ...]:
    """All that a decision says: when, what kind, each telling, and its words."""
    text = compose(decision, [word.reminder for word in decision.announcements], ZONE, board.store.newest)
    return decision.at, decision.kind, decision.notifications(), text


hours = st.integers(0, SPAN * 24)
delays = st.sampled_from([0, 0, 0, 5 * MINUTE, 2 * HOUR, 9 * HOUR, 2 * DAY, 6 * DAY])
pack = st.sampled_from("ABC")
happenings = st.one_of(
    st.builds(lambda p, c: {"what": "charged", "item": p, "percent": c}, pack, st.sampled_from([60, 100, 100])),
    st.builds(lambda p: {"what": "drained", "item": p, "percent": 58}, pack),
    st.builds(lambda p: {"what": "flown", "aircraft": "heron", "packs": [p], "minutes": 150, "percent_to": 30}, pack),
    st.builds(lambda p: {"what": "noticed", "item": p, "findings": ["swollen"]}, pack),
    st.builds(lambda p: {"what": "set_aside", "item": p}, pack),
    st.just({"what": "inspected", "item": "heron-props", "result": "pass"}),
    st.just({"what": "replaced", "item": "heron-props"}),
    st.just({"what": "mishap", "item": "heron", "severity": "hard_landing"}),
    st.builds(lambda d: {"what": "renewed", "item": "certificate", "expires": f"2026-04-{d:02}"}, st.integers(1, 30)),
    st.builds(
        lambda name, at: {"what": "booked", "job": name, "starts": rfc3339(START + at * HOUR)},
        st.sampled_from(["mill", "quay"]), hours,
    ),
    st.builds(lambda name: {"what": "cancelled", "job": name}, st.sampled_from(["mill", "quay"])),
    st.builds(lambda p: {"what": "seen", "item": p, "rule": "left-full"}, pack),
    st.builds(lambda p: {"what": "snoozed", "item": p, "rule": "left-full"}, pack),
    st.builds(
        lambda at: {"what": "away", "from": rfc3339(at), "to": rfc3339(at + 3 * DAY)},
        hours.map(lambda hour: START + hour * HOUR),
    ),
)  # fmt: skip


@st.composite
def logs(draw: st.DrawFn) -> Entries:
    """Entries told late or at once, some of them taken back later."""
    entries = []
    for number, (what, hour, delay) in enumerate(draw(st.lists(st.tuples(happenings, hours, delays), max_size=14)), 1):
        at = START + hour * HOUR
        entries.append(what | {"at": rfc3339(at), "recorded_at": rfc3339(at + delay), "id": f"e{number}"})
    for target in draw(st.lists(st.sampled_from(entries), max_size=3, unique_by=lambda e: e["id"])) if entries else ():
        told = rfc3339(moment(str(target["recorded_at"])) + draw(st.integers(1, 200)) * HOUR)
        entries.append(
            {"what": "struck", "event": target["id"], "at": told, "recorded_at": told, "id": f"x{target['id']}"}
        )
    return entries


@settings(max_examples=20, deadline=None)
@given(entries=logs(), first=st.integers(0, SPAN), days=st.integers(1, 40))
def test_a_rehearsal_as_known_says_what_a_daemon_said(
    tmp_path_factory: pytest.TempPathFactory, entries: Entries, first: int, days: int
) -> None:
    log = log_of(tmp_path_factory.mktemp("log"), entries)
    start = START + first * DAY
    end = start + days * DAY

    lived = daemon(log, start, end)
    rehearsed = as_known(log, start, end)

    boards = [board for _, board in lived]
    assert [said(d, b) for d, b in zip(rehearsed.decisions, boards, strict=True)] == [said(d, b) for d, b in lived]
    log.close()


def test_the_reminders_as_known_are_those_that_a_daemon_had_before_it(tmp_path: Path) -> None:
    """B was drained in time, but that was told two days late: a reminder was open, and withdrawn."""
    log = log_of(tmp_path, [
        event("2026-03-21 10:00", "charged", item="B"),
        event("2026-03-22 09:00", "drained", item="B", percent=58, recorded_at="2026-03-24 12:00"),
    ])  # fmt: skip

    (reminder,) = as_known(log, moment("2026-03-21"), moment("2026-03-30")).reminders

    assert (reminder.key, reminder.episode.opened) == (("left-full", "B"), moment("2026-03-22 10:00"))
    assert (reminder.episode.ended, reminder.episode.ending) == (moment("2026-03-24 12:00"), "withdrawn")
    assert reminder.episode.holds(moment("2026-03-23"))


def test_what_was_told_late_rings_late_as_known_and_in_time_in_hindsight(tmp_path: Path) -> None:
    log = log_of(tmp_path, [event("2026-03-21 10:00", "charged", item="B", recorded_at="2026-03-24 12:00")])
    start, end = moment("2026-03-21"), moment("2026-03-26")
    board = Board(FactStore(Fleet(PLATES), AsToldBy(log, MAX_INSTANT), CLOCKS), RULES, as_recorded=False)

    then, now = as_known(log, start, end), rehearse(board, HOURS, start, end)

    assert [d.at for d in then.decisions if d.announcements][0] == moment("2026-03-24 12:00")
    assert [d.at for d in now.decisions if d.announcements][0] == moment("2026-03-22 10:00")


def test_a_stretch_as_known_begins_with_what_is_open_then(tmp_path: Path) -> None:
    log = log_of(tmp_path, [event("2026-03-21 10:00", "charged", item="B")])

    result = as_known(log, moment("2026-03-23"), moment("2026-03-24"))

    assert [tuple(reminder.key) for reminder in result.reminders] == [("left-full", "B")]
