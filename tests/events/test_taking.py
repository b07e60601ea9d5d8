"""A load is the same whichever way it takes: in large parts or small, in one process or several, into any log."""

import json
import pickle
import random
import sqlite3
from collections.abc import Generator, Iterable, Iterator
from pathlib import Path

import pytest

from scheduler.answers.describe_event import describe
from scheduler.base.findings import Refused
from scheduler.events import taking
from scheduler.events.log import Log
from scheduler.events.taking import Check, Checked, Part, check_here, take
from scheduler.fleet.fleet import Fleet, Sections
from scheduler.home import process_pool
from scheduler.home.process_pool import map_in_processes
from tests.support import Fields, event, moment

PLATES: Sections = {"aircraft": [{"id": "heron"}], "packs": [{"id": "A", "cells": 4}, {"id": "B"}, {"id": "C"}]}
NOW = moment("2026-06-01")
LINES = 60
BAD = (
    "{", "[]", "", "  ", '{"what": "charged", "what": "drained"}', '{"a": NaN}',
    json.dumps({"at": "2026-04-01T00:00:00Z", "what": "charged", "item": "b"}),
    json.dumps({"at": "2026-07-01T00:00:00Z", "what": "charged", "item": "B"}),
    json.dumps({"at": "2026-04-01T00:00:00Z", "what": "charged", "item": "B", "percent": 130}),
    json.dumps({"at": "2026-04-01T00:00:00Z", "what": "measured", "item": "A", "rest_volts": 40}),
)  # fmt: skip


def good(rng: random.Random, number: int) -> Fields:
    """An entry of that number, which may take back an earlier one, or its place."""
    at = f"2026-04-{rng.randint(1, 28):02}"
    told = {"recorded_at": f"2026-05-{rng.randint(1, 28):02}"} if rng.random() < 0.8 else {}
    target = f"e{rng.randrange(number)}" if number and rng.random() < 0.2 else None
    if target is not None and rng.random() < 0.5:
        return event(at, "struck", event=target, id=f"e{number}", **told)
    fields = told if target is None else told | {"instead_of": target}
    if rng.random() < 0.5:
        return event(at, "flown", aircraft="heron", packs=rng.sample("ABC", 2), minutes=9, id=f"e{number}", **fields)
    return event(at, "charged", item=rng.choice("ABC"), percent=rng.randint(1, 100), id=f"e{number}", **fields)


def lines(seed: int, sound: bool) -> list[str]:
    """Entries, some of them twice; unless they are to be sound, corrections of what is gone too, and faulty lines."""
    rng = random.Random(seed)
    made: list[str] = []
    gone: set[object] = set()
    while len(made) < LINES:
        entry = good(rng, len(made))
        target = entry.get("event", entry.get("instead_of"))
        if sound and target is not None and (target in gone or f'"id": "{target}"' not in "".join(made)):
            continue
        gone |= {target} | ({entry["id"]} if entry["what"] == "struck" else set())
        made.append(json.dumps(entry))
        if rng.random() < 0.2:
            made.append(rng.choice(made))
        if not sound and rng.random() < 0.2:
            made.append(rng.choice(BAD))
    return made


def outcome(path: Path, before: list[str], given: list[str]) -> object:
    """What came of a load, and what the log held after it."""
    path.mkdir()
    log = Log(path / "shelfbell.db")
    fleet = Fleet(PLATES)
    take(log, enumerate(before, 1), fleet, NOW)
    try:
        told: object = take(log, enumerate(given, 1), fleet, NOW, "season.jsonl", as_elsewhere)
    except Refused as refused:
        told = refused.findings
    tables = [log.connection.execute(f"SELECT * FROM {name}").fetchall() for name in ("events", "concerned")]
    log.close()
    return told, tables


def as_elsewhere(check: Check, parts: Iterable[Part]) -> Generator[Checked, None, None]:
    """Check parts as another process would: all that is handed over is a copy."""
    check = pickle.loads(pickle.dumps(check))
    yield from (pickle.loads(pickle.dumps(result)) for result in check_here(check, parts))


@pytest.fixture(params=[(1, 0, 7), (4, 1, 500), (7, 0, 3), (1000, 4, 500)], ids=str)
def way(request: pytest.FixtureRequest) -> tuple[int, int, int]:
    """So many lines in a part, parts checked here, and rows in a batch."""
    return request.param


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("sound", [True, False])
@pytest.mark.parametrize("filled", [True, False])
def test_each_way_a_load_takes_comes_to_the_same(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    way: tuple[int, int, int],
    seed: int,
    sound: bool,
    filled: bool,
) -> None:
    given = lines(seed, sound)
    before = lines(seed, sound=True)[: LINES // 2] if filled else []

    def by(parts: int, few: int, batch: int, name: str) -> object:
        monkeypatch.setattr(taking, "_LINES", parts)
        monkeypatch.setattr(taking, "_FEW", few)
        monkeypatch.setattr(taking, "_BATCH", batch)
        return outcome(tmp_path / name, before, given)

    line_by_line = by(1, LINES * 2, 1, "plain")

    assert by(*way, "other") == line_by_line
    assert isinstance(line_by_line[0], list) is not sound  # type: ignore[index]


def layout(log: Log) -> list[tuple]:
    """The tables, indexes and triggers of a log."""
    return log.connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY name").fetchall()


def test_many_lines_are_checked_in_other_processes_and_a_fault_far_down_undoes_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(process_pool, "cores", lambda: 2)
    asked: list[int] = []

    def counted(texts: list[str]) -> Iterator[tuple[int, str]]:
        for number, line in enumerate(texts, 1):
            asked.append(number)
            yield number, line

    many = [json.dumps(event("2026-04-01", "charged", item="B", id=f"e{number}")) for number in range(8_000)]
    log, fleet = Log(tmp_path / "shelfbell.db"), Fleet(lambda: PLATES)
    made = layout(log)
    with pytest.raises(Refused) as error:
        take(log, counted([*many, "{", *many[:1]]), fleet, NOW, "season.jsonl", map_in_processes)
    assert [finding.line for finding in error.value.findings] == [8_001]
    assert list(log.lines()) == []
    assert len(asked) == 8_002
    assert layout(log) == made

    assert take(log, counted([*many, *many[:1]]), fleet, NOW, "", map_in_processes) == (
        [f"e{number}" for number in range(8_000)],
        1,
    )
    assert [seq for (seq,) in log.connection.execute("SELECT seq FROM events ORDER BY seq")] == list(range(1, 8_001))
    assert layout(log) == made
    with pytest.raises(sqlite3.IntegrityError, match="there already"):
        log.connection.execute("REPLACE INTO events SELECT * FROM events WHERE seq = 1")
    log.close()


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """An empty log."""
    log = Log(tmp_path / "shelfbell.db")
    yield log
    log.close()


def test_a_whole_number_is_held_as_one(log: Log) -> None:
    spares = Fleet(PLATES | {"spares": [{"id": "blades"}]})
    lines = [
        '{"at": "2026-04-01T09:00:00Z", "what": "used", "item": "blades", "count": 2.0}',
        '{"at": "2026-04-01T10:00:00Z", "recorded_at": "2026-04-01T10:00:00Z", "id": "b", "what": "used", '
        '"item": "blades", "count": 3.0}',
    ]

    take(log, enumerate(lines, 1), spares, NOW)

    assert [repr(event.get("count")) for event in log.in_force()] == ["2", "3"]


@pytest.mark.parametrize("blank", ["", " ", "\t", "\u2028", "\u200b", "\u00a0 \u202e"])
def test_a_blank_text_is_refused_where_it_is_new_and_read_where_it_is_old(blank: str, log: Log) -> None:
    fleet = Fleet(PLATES)
    entry = event("2026-04-01", "set_aside", item="B", reason=blank)

    with pytest.raises(Refused, match="reason: nothing is given here"):
        take(log, [(1, json.dumps(entry))], fleet, NOW)
    take(log, [(1, json.dumps(entry | {"recorded_at": "2026-04-01T00:00:00Z", "id": "old"}))], fleet, NOW)

    assert [describe(event) for event in log.in_force()] == ["set_aside B"]


def test_what_was_never_in_the_fleet_is_not_missed_once_it_is_struck(log: Log) -> None:
    fleet = Fleet(PLATES)
    seen = event("2026-04-01", "seen", item="ghost", rule="pack-left-full", id="s")

    take(log, [(1, json.dumps(seen))], fleet, NOW)
    take(log, [(1, json.dumps(event("2026-04-02", "struck", event="s")))], fleet, NOW)

    assert log.items() == []
