"""The rehearsal against brute force: step through time and ask what is open; and a reading that shares no code."""

import json
import shutil
from bisect import bisect_right
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.answers.desk import Desk
from scheduler.base.instants import DAY, HOUR, MAX_INSTANT, MINUTE, parse_rfc3339, rfc3339
from scheduler.base.strict_yaml import read
from scheduler.cli.main import main
from scheduler.events.taking import take
from scheduler.home.folder import Home
from scheduler.reminders.announcements import Notification
from scheduler.reminders.board import Board
from scheduler.reminders.decide import Decision, Ledger, decide, next_wake
from scheduler.reminders.hours import Hours
from scheduler.reminders.rehearse import Rehearsal, live, rehearse
from tests.homes import FLEET, ruleset
from tests.homes import RULES as TEXT
from tests.support import Entries, Fields, book_of, event, moment

PLATES = read(FLEET, "fleet.yaml").data
RULES = ruleset()
_GROWS = "urgency: [{now: {fact: charge, at_least: 85 %, lasting: 3 d}}, today]"
LOUD = ruleset(TEXT.replace("urgency: today", _GROWS, 1))
"""The same rules, a full pack as urgent as can be after three days."""
HOURS = Hours.read({"quiet": {"from": "21:30", "to": "07:00"}}, ZoneInfo("UTC"))
START = moment("2026-03-01")
SPAN = 20 * 24
"""Hours in which things happen, in the random logs."""
GRID = 4
"""Hours between the instants at which they happen, and at which all that follows turns."""
Open = set[tuple[str, str]]
Turn = tuple[int, str, str, str]
"""(instant, "opens" or "ends", rule, item)."""


def board_of(entries: Entries) -> Board:
    return Board(book_of(PLATES, *entries), RULES, as_recorded=False)


def rehearsed(entries: Entries, start: int, end: int) -> Rehearsal:
    return rehearse(board_of(entries), HOURS, start, end)


def open_on(board: Board, now: int) -> Open:
    """What is open at an instant."""
    return {tuple(reminder.key) for reminder in board.reminders if reminder.episode.holds(now)}


def turns_of(result: Rehearsal) -> list[Turn]:
    """Every opening and ending within the time rehearsed."""
    found = []
    for reminder in result.reminders:
        episode = reminder.episode
        edges = [(episode.opened, "opens"), (episode.ended, "ends")]
        found += [(at, what, *reminder.key) for at, what in edges if result.start < at < result.end]
    return sorted(found)


def seen_by_polling(asked: Iterator[tuple[int, Open]]) -> list[Turn]:
    """The openings and endings that a poller finds from what is open at each instant it asks of."""
    found: list[Turn] = []
    before: Open | None = None
    for now, open_now in asked:
        if before is not None:
            found += [(now, "opens", *key) for key in open_now - before]
            found += [(now, "ends", *key) for key in before - open_now]
        before = open_now
    return sorted(found)


_KINDS: dict[str, dict[str, object]] = {
    "charged": {"item": "B", "percent": 100},
    "drained": {"item": "B", "percent": 58},
    "measured": {"item": "B", "percent": 80},
    "flown": {"aircraft": "heron", "packs": ["B"], "minutes": 60, "percent_from": 100, "percent_to": 75},
    "flown for long": {"aircraft": "heron", "packs": ["C"], "minutes": 60 * 4},
    "inspected": {"item": "heron-props", "result": "pass"},
    "noticed": {"item": "B", "findings": ["swollen"]},
    "set_aside": {"item": "B"},
    "replaced": {"item": "B"},
    "renewed": {"item": "certificate", "expires": "2026-03-20"},
    "retired": {"item": "B"},
}


@st.composite
def logs(draw: st.DrawFn) -> Entries:
    """Any log of the small home, events on the grid."""
    turns = sorted(draw(st.sets(st.integers(0, SPAN // GRID), min_size=1, max_size=12)))
    kinds = [draw(st.sampled_from(["charged", "flown", *_KINDS])) for _ in turns]
    return [_made(kind, turn * GRID) for kind, turn in zip(kinds, turns, strict=True)]


def grid(end: int) -> range:
    """The instants of the grid, from before the first event."""
    return range(START - GRID * HOUR, end, GRID * HOUR)


def _made(kind: str, hour: int) -> Fields:
    return event(rfc3339(START + hour * HOUR), kind.split()[0], **_KINDS[kind])


@settings(max_examples=40, deadline=None)
@given(logs())
def test_a_poller_that_knows_only_the_past_finds_the_same_openings_and_endings(entries: Entries) -> None:
    """It asks with the events up to then: nothing rehearsed rests on what was still to come.

    Flights are left out: they are told at their landing and are of hours before.
    """
    told = [fields for fields in entries if fields["what"] != "flown"]
    at = [parse_rfc3339(str(fields["at"])) for fields in told]
    end = START + (SPAN + 16 * 24) * HOUR

    def asked() -> Iterator[tuple[int, Open]]:
        boards: dict[int, Board] = {}
        for now in grid(end):
            known = bisect_right(at, now)
            if known not in boards:
                boards[known] = board_of(told[:known])
            yield now, open_on(boards[known], now)

    assert seen_by_polling(asked()) == turns_of(rehearsed(told, grid(end).start, end))


_SAYINGS: dict[str, dict[str, object]] = {
    "seen": {"item": "B", "rule": "left-full"},
    "snoozed": {"item": "B", "rule": "left-full"},
    "snoozed until it is drained": {"item": "B", "rule": "left-full", "until_next": "drained"},
    "seen swollen": {"item": "B", "rule": "swollen"},
    "away soon": {"from": rfc3339(START + 10 * HOUR), "to": rfc3339(START + 82 * HOUR)},
    "away": {"from": rfc3339(START + 9 * DAY), "to": rfc3339(START + 12 * DAY)},
}


@st.composite
def logs_with_words(draw: st.DrawFn) -> Entries:
    """A log of the small home in which two reminders open soon, people answer at any minute, and anything happens."""
    sayings = draw(st.lists(st.tuples(st.sampled_from([*_SAYINGS]), st.integers(9 * 60, SPAN * 60)), max_size=6))
    soon = [_made("charged", 0), _made("flown for long", 4), _made("flown", 8), _made("charged", 8)]
    said = [event(rfc3339(START + at * MINUTE), name.split()[0], **_SAYINGS[name]) for name, at in sayings]
    later = draw(st.one_of(st.just([]), logs()))
    return sorted([*soon, *later, *said], key=lambda fields: parse_rfc3339(str(fields["at"])))


def lived_in_full(board: Board, hours: Hours, start: int, end: int) -> Iterator[Decision]:
    """Every wake, at each of which every open reminder is looked at."""
    ledger, now = Ledger(began=start), start
    while now < end:
        decision = decide(board, ledger, hours, now)
        for line in decision.notifications():
            ledger.add(line)
        ledger.digest_at = now if decision.digest else ledger.digest_at
        yield decision
        now = next_wake(board, ledger, hours, decision)


@settings(max_examples=30, deadline=None)
@given(logs_with_words(), st.booleans())
def test_looking_only_at_what_can_have_changed_decides_as_looking_at_all(entries: Entries, as_recorded: bool) -> None:
    board = Board(book_of(PLATES, *entries), LOUD, as_recorded=as_recorded)
    end = START + 2 * SPAN * HOUR
    lived = [decision._replace(coming=[]) for _, decision in live(lambda _: (board, MAX_INSTANT), HOURS, START, end)]
    assert lived == [decision._replace(coming=[]) for decision in lived_in_full(board, HOURS, START, end)]


# A reading of the rules left-full, swollen and look-due in plain words, step by step, that shares no code with the
# facts, verdicts and reminders of the program. Pack B loses nothing by itself, so the grid is fine enough.


class Shelf:
    """What is on the shelf: pack B, and the propellers."""

    def __init__(self) -> None:
        self.charge: float | None = None
        self.full_for: int | None = None
        self.swollen = self.aside = self.gone = False
        self.airtime = 0
        self.armed = True
        self.open: Open = set()

    def happen(self, fields: Fields) -> None:
        """One event."""
        what, mine = fields["what"], fields.get("item") == "B" or fields.get("packs") == ["B"]
        if what in ("charged", "drained", "measured"):
            self.charge = float(fields["percent"])  # type: ignore[arg-type]
        elif what == "flown":
            self.charge = float(fields["percent_to"]) if mine else self.charge  # type: ignore[arg-type]
            self.airtime += int(fields["minutes"])  # type: ignore[call-overload]
        elif what == "inspected":
            self.airtime = 0
        elif what == "noticed":
            self.swollen = True
        elif what == "set_aside":
            self.aside = True
        elif what == "retired":
            self.gone = True
        elif what == "replaced":
            self.charge, self.full_for, self.armed = None, None, True
            self.swollen = self.aside = self.gone = False
            self.open -= {("left-full", "B"), ("swollen", "B")}

    def look(self) -> Open:
        """What is open, a step of the grid on."""
        self.full_for = None if self.charge is None or self.charge < 85 else (self.full_for or 0) + 1
        self._left_full()
        self._switch(("swollen", "B"), self.swollen and not self.aside and not self.gone)
        self._switch(("look-due", "heron-props"), self.airtime >= 5 * 60)
        return set(self.open)

    def _left_full(self) -> None:
        usable = not (self.swollen or self.aside or self.gone)
        calm = self.charge is not None and self.charge <= 70
        holds = usable and self.full_for is not None and self.full_for > 24 // GRID
        if self.gone or not usable or calm:
            self.open.discard(("left-full", "B"))
        if not holds and ("left-full", "B") not in self.open:
            self.armed = True
        if holds and self.armed:
            self.open.add(("left-full", "B"))
            self.armed = False

    def _switch(self, key: tuple[str, str], on: bool) -> None:
        self.open = self.open | {key} if on else self.open - {key}


READ_PLAINLY = {("left-full", "B"), ("swollen", "B"), ("look-due", "heron-props")}


@settings(max_examples=40, deadline=None)
@given(logs())
def test_a_plain_reading_step_by_step_finds_the_same_openings_and_endings(entries: Entries) -> None:
    happens: dict[int, list[Fields]] = {}
    for fields in entries:
        happens.setdefault(parse_rfc3339(str(fields["at"])), []).append(fields)
    shelf, end = Shelf(), START + (SPAN + 48) * HOUR

    def asked() -> Iterator[tuple[int, Open]]:
        for now in grid(end):
            for fields in happens.get(now, ()):
                shelf.happen(fields)
            yield now, shelf.look()

    found = [turn for turn in turns_of(rehearsed(entries, grid(end).start, end)) if turn[2:] in READ_PLAINLY]
    assert found == seen_by_polling(asked())


# Parts make the whole; what messages may be; nothing outside the time asked of.

whole_days = st.integers(0, SPAN // 24 + 40)


@settings(max_examples=30, deadline=None)
@given(logs(), st.lists(whole_days, min_size=3, max_size=3, unique=True))
def test_two_rehearsals_that_meet_find_what_one_over_both_finds(entries: Entries, days: list[int]) -> None:
    a, b, c = (START + day * DAY for day in sorted(days))
    whole, first, second = rehearsed(entries, a, c), rehearsed(entries, a, b), rehearsed(entries, b, c)

    def opened(result: Rehearsal, start: int) -> list[tuple[object, ...]]:
        return [(*r.key, *r.episode) for r in result.reminders if r.episode.opened >= start]

    assert opened(whole, a) == opened(first, a) + opened(second, b)
    assert {r.key for r in second.reminders} <= {r.key for r in whole.reminders}


@settings(max_examples=25, deadline=None)
@given(logs(), st.lists(whole_days, min_size=2, max_size=2, unique=True))
def test_each_reminder_has_its_messages_in_order_within_its_time(entries: Entries, days: list[int]) -> None:
    start, end = (START + day * DAY for day in sorted(days))
    result = rehearsed(entries, start, end)

    for reminder in result.reminders:
        told: list[Notification] = result.messages(reminder)
        assert {line.kind for line in told} <= {"first", "again", "rise", "digest", "settled", "summary"}
        assert [line.kind for line in told].count("first") <= 1
        assert all(start <= line.at < end and reminder.episode.holds(line.at) for line in told)
        assert [line.at for line in told] == sorted({line.at for line in told})
        if told and reminder.episode.opened >= start:
            assert told[0].kind == "first"


@settings(max_examples=20, deadline=None)
@given(logs())
def test_what_is_rehearsed_twice_is_the_same(entries: Entries) -> None:
    one, two = (rehearsed(entries, START, START + 60 * DAY) for _ in range(2))

    assert turns_of(one) == turns_of(two)
    assert [d.notifications() for d in one.decisions] == [d.notifications() for d in two.decisions]


# A month of the demo operator, asked through the command.


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo operator's home with the season in its log."""
    examples = Path(__file__).resolve().parents[2] / "examples"
    path = tmp_path_factory.mktemp("demo") / "home"
    shutil.copytree(examples / "home", path)
    home = Home(path)
    lines = (examples / "season.jsonl").read_text(encoding="utf-8").splitlines()
    take(home.log, enumerate(lines, 1), home.setup().fleet, moment("2026-11-01"))
    home.setup()
    home.log.close()
    return path


def open_by_command(home: Path, now: int, capsys: pytest.CaptureFixture[str]) -> Open:
    """What `due --at` shows as open."""
    status = main(["--home", str(home), "due", "--at", rfc3339(now), "--json"])
    board = json.loads(capsys.readouterr().out)
    assert status == (1 if board["open"] else 0)
    return {(entry["rule"], entry["item"]) for entry in board["open"]}


def test_polling_due_over_a_month_of_the_demo_finds_what_is_rehearsed(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every tenth day, and just before and at four instants at which the rehearsal says that something turns."""
    start, end = moment("2026-04-01"), moment("2026-05-01")
    assert main(["--home", str(demo), "rehearse", "--from", rfc3339(start), "--to", rfc3339(end), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["reminders"]
    edges = {parse_rfc3339(r[name]) for r in told for name in ("opened_at", "settled_at") if r[name]}
    turns = sorted(edge for edge in edges if start < edge < end)
    some = turns[:: len(turns) // 4 or 1]
    asked = {*range(start, end, 10 * DAY), *some, *(turn - 1 for turn in some)}

    board = {now: open_by_command(demo, now, capsys) for now in sorted(asked)}

    for now, found in board.items():
        expected = {
            (r["rule"], r["item"])
            for r in told
            if parse_rfc3339(r["opened_at"]) <= now and (not r["settled_at"] or now < parse_rfc3339(r["settled_at"]))
        }
        assert found == expected, rfc3339(now)
    assert len(turns) > 10


def test_polling_the_demo_s_board_each_half_hour_finds_no_turn_but_the_rehearsed(demo: Path) -> None:
    start, end, step = moment("2026-04-01"), moment("2026-05-01"), 30 * MINUTE
    home = Home(demo)
    desk = Desk(home, home.setup(), end)
    result = rehearse(desk.board(as_recorded=False), desk.setup.hours, start, end)
    board = desk.board()

    asked = ((now, open_on(board, now)) for now in range(start, end, step))
    polled = seen_by_polling(asked)

    home.log.close()
    exact = [(at + (start - at) % step, what, rule, item) for at, what, rule, item in turns_of(result)]
    met = {key for key in polled if key in exact}
    missed = [turn for turn in exact if turn not in met]
    assert set(polled) <= set(exact)
    assert all(_came_and_went(turn, exact, step) for turn in missed)


def _came_and_went(turn: Turn, exact: list[Turn], step: int) -> bool:
    """A turn and its opposite within one step, which no poller can see."""
    other = "ends" if turn[1] == "opens" else "opens"
    return any(turn[0] == at and (what, *key) == (other, *turn[2:]) for at, what, *key in exact)
