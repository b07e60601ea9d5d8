"""Questions about all items go group by group: they answer as if all had been asked at once, and hold a few at a time.

A random life has every kind of entry, corrections and jobs called as items are; the demo season is the usual one.
SHELFBELL_LIVES: how many random lives, 2 unless given.
"""

import json
import os
import shutil
import weakref
from collections.abc import Iterator
from pathlib import Path

import pytest

from scheduler.answers import explain, groups, outlook
from scheduler.answers.board import solve_board, to_json, to_text
from scheduler.answers.desk import Desk
from scheduler.answers.groups import boards, placing
from scheduler.base.instants import DAY, HOUR, MINUTE
from scheduler.base.shipped import folder
from scheduler.daemon.work_list import uncollected
from scheduler.events.taking import take
from scheduler.facts.fact_store import FactStore
from scheduler.home.folder import Home
from scheduler.reminders.board import Board
from scheduler.reminders.groups import boards as one_by_one
from scheduler.reports.as_text import as_text
from scheduler.reports.audit import audit
from scheduler.reports.calendar import as_calendar
from scheduler.reports.season_audit import season_of
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Since
from tests.home.test_item_states import START, Luck, make_home
from tests.homes import SETTINGS, Bench
from tests.messages.clockwork import Clockwork
from tests.support import moment

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


def answers(at: Desk) -> list[str]:
    """All that is answered about all items."""
    due, ahead = solve_board(at), outlook.look_ahead(at, 20, outlook.todo)
    return [
        to_text(at, due),
        json.dumps(to_json(at, due)),
        explain.to_text(at, []),
        json.dumps(explain.to_json(at, [])),
        as_text(audit(season_of(at, at.now - 20 * DAY, at.now))),
        outlook.to_text(at, ahead),
        json.dumps(outlook.to_json(at, ahead)),
        as_calendar(at, ahead).decode(),
    ]


def at_once(at: Desk, as_recorded: bool = True, since: Since | None = None) -> Iterator[Board]:
    """One board of all items."""
    board = Board(at.store(), at.setup.rules, None, as_recorded, since)
    board.items = at.setup.fleet.ids()
    yield board


def ahead_at_once(
    store: FactStore, rules: Ruleset, _groups: object, as_recorded: bool, since: Since
) -> Iterator[Board]:
    """The same for an outlook, over all time."""
    yield Board(store, rules, None, as_recorded)


def assert_parts_are_whole(at: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """In groups and item by item, the answers are those of one board, in its order."""
    verdicts = at.board().verdicts
    assert sorted(reversed(verdicts), key=placing(at)) == verdicts
    with monkeypatch.context() as patch:
        patch.setattr(groups, "ITEMS_ON_ONE_BOARD", 0)
        found = [answers(at)]
        patch.setattr(
            groups, "group_items", lambda fleet, jobs: [[name] for name in dict.fromkeys([*fleet.ids(), *jobs])]
        )
        found.append(answers(at))
    with monkeypatch.context() as patch:
        for place in ("answers.groups", "answers.explain", "reports.season_watch"):
            patch.setattr(f"scheduler.{place}.boards", at_once)
        patch.setattr("scheduler.reminders.outlook.boards", ahead_at_once)
        whole_answers = answers(at)
    assert found == [whole_answers] * 2


NOW = "2026-06-27 20:00"


def demo_desk(path: Path, since: str) -> Desk:
    """Return the demo operator's home with its season from a day on."""
    home = Home(shutil.copytree(EXAMPLES / "home", path / "home"))
    lines = (EXAMPLES / "season.jsonl").read_text(encoding="utf-8").splitlines()
    part = [line for line in lines if json.loads(line)["at"] > since]
    take(home.log, enumerate(part, 1), home.setup().fleet, moment("2026-11-01 12:00"))
    return Desk(home, home.setup(), moment(NOW))


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Desk]:
    """The demo operator's home with its whole season."""
    at = demo_desk(tmp_path, "2026")
    yield at
    at.home.log.close()


def test_some_of_the_demo_season_as_known_in_parts_is_the_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = demo_desk(tmp_path, "2026-06-08")
    assert_parts_are_whole(at._replace(known=at.now), monkeypatch)
    at.home.log.close()


LIVES = [(0, 3 * DAY), (1, -5 * DAY), *((seed, 0) for seed in range(2, int(os.environ.get("SHELFBELL_LIVES", "2"))))]


@pytest.mark.parametrize(("seed", "later"), LIVES)
def test_a_random_life_in_parts_is_the_whole(
    tmp_path: Path, seed: int, later: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    luck = Luck(100 + seed)
    lifetime = Clockwork(make_home(tmp_path / "home"), START, held_every=1000)
    for _ in range(25):
        luck.log(lifetime)
        lifetime.now += luck.random.choice([20 * MINUTE, 7 * HOUR, 30 * HOUR])
    assert_parts_are_whole(Desk(lifetime.home, lifetime.setup, lifetime.now + later), monkeypatch)
    lifetime.close()


def test_nothing_logged_in_parts_is_the_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = Home(make_home(tmp_path / "home"))
    assert_parts_are_whole(Desk(home, home.setup(), START), monkeypatch)
    assert not home.log.exists(), "a question makes no database"


def test_the_entries_of_one_group_are_let_go_before_those_of_the_next(
    demo: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(groups, "ITEMS_ON_ONE_BOARD", 0)
    books: list[weakref.ref[object]] = []
    with uncollected():
        for board in boards(demo, as_recorded=False):
            assert not any(store() for store in books)
            assert [verdict.episodes for verdict in board.verdicts]
            books.append(weakref.ref(board.store))
    assert len(books) > 3


def test_an_outlook_holds_the_entries_of_one_group(demo: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    books: list[weakref.ref[FactStore]] = []

    def watched(*asked: object, **named: object) -> Iterator[Board]:
        for board in one_by_one(*asked, **named):  # type: ignore[arg-type]
            assert not any(store() for store in books[:-1]), "the last is at hand until this one is asked"
            books.append(weakref.ref(board.store))
            yield board

    monkeypatch.setattr(groups, "ITEMS_ON_ONE_BOARD", 0)
    monkeypatch.setattr("scheduler.reminders.outlook.boards", watched)
    with uncollected():
        found = outlook.look_ahead(demo, 90, outlook.todo)
    assert {due.by_use for due in found.due} == {True, False}
    assert len(books) > 12


def test_an_audit_where_every_rule_file_is_on(bench: Bench) -> None:
    files = [path.stem for path in folder("rules").glob("*.yaml")]
    bench.write("shelfbell.yaml", SETTINGS.replace("practice: []", f"practice: {json.dumps(sorted(files))}"))
    answer = bench("audit", "--from", "2026-03-01", "--to", "2026-03-10")
    assert (answer.status, answer.err) == (0, "")
    assert "are off here" not in answer.out
