"""The event log: append-only, corrected by events, taken in whole or not at all."""

import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from scheduler.base.findings import Refused
from scheduler.base.instants import MINUTE, SECOND, rfc3339
from scheduler.events.event import concerned
from scheduler.events.log import Log, LogReader
from scheduler.events.source import Source
from scheduler.events.taking import Taken, take
from scheduler.fleet.fleet import Fleet
from tests.support import Fields, event, moment

FLEET = Fleet(
    {
        "aircraft": [{"id": "heron"}],
        "packs": [{"id": "A"}, {"id": "B"}],
        "propellers": [{"id": "props"}],
        "spares": [{"id": "spare-props"}],
    }
)
NOW = moment("2026-06-01")


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    opened = Log(tmp_path / "shelfbell.db")
    yield opened
    opened.close()


def text(*events: Fields | str) -> list[str]:
    return [one if isinstance(one, str) else json.dumps(one) for one in events]


def put(log: Log, *events: Fields | str, now: int = NOW) -> Taken:
    """Take events, or lines as they stand, in."""
    return take(log, enumerate(text(*events), 1), FLEET, now, "season.jsonl")


def refused(log: Log, *events: Fields | str, now: int = NOW) -> list[str]:
    """The findings for which events are refused."""
    with pytest.raises(Refused) as error:
        put(log, *events, now=now)
    return [str(finding) for finding in error.value.findings]


def charged(at: str, event_id: str, percent: int = 100, item: str = "B", **fields: object) -> Fields:
    return event(at, "charged", item=item, percent=percent, id=event_id, **fields)


def struck(at: str, event_id: str, target: str, **fields: object) -> Fields:
    return event(at, "struck", event=target, id=event_id, **fields)


def ids(log: Log, name: str = "B", **which: int) -> list[str]:
    return [found.id for found in log.of(name, **which)]


# --- nothing is changed or deleted ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE events SET body = '{}'", "never changed"),
        ("UPDATE OR REPLACE events SET id = 'other'", "never changed"),
        ("UPDATE OR IGNORE events SET at = 0", "never changed"),
        ("DELETE FROM events", "never deleted"),
        ("INSERT OR REPLACE INTO events SELECT * FROM events WHERE id = 'one'", "there already"),
        ("REPLACE INTO events SELECT seq + 90, id, at, recorded_at, what, target, body FROM events WHERE id = 'one'",
         "there already"),
        ("REPLACE INTO events SELECT seq, 'new', at, recorded_at, what, target, body FROM events WHERE id = 'one'",
         "there already"),
        ("REPLACE INTO events (rowid, id, at, recorded_at, what, body) VALUES (1, 'new', 0, 0, 'charged', '{}')",
         "there already"),
        ("INSERT INTO events SELECT * FROM events WHERE id = 'one' ON CONFLICT DO UPDATE SET body = '{}'",
         "there already"),
    ],
)  # fmt: skip
def test_the_database_itself_refuses_any_change(log: Log, statement: str, told: str) -> None:
    put(log, charged("2026-04-01", "one"), charged("2026-04-02", "two"), struck("2026-04-03", "strike", "two"))
    before = list(log.lines())
    log.close()

    other = sqlite3.connect(log.path)
    with pytest.raises(sqlite3.IntegrityError, match=told):
        other.execute(statement)
    other.close()

    assert list(log.lines()) == before


def test_the_database_is_the_owner_s_alone(log: Log) -> None:
    put(log, charged("2026-04-01", "one"))
    files = sorted(log.path.parent.iterdir())
    assert log.path in files
    assert {oct(file.stat().st_mode & 0o777) for file in files} == {"0o600"}


def test_a_home_without_a_database_is_an_empty_log(log: Log) -> None:
    assert (ids(log), list(log.in_force()), list(log.lines()), log.newest(), log.find("one")) == (
        [],
        [],
        [],
        None,
        None,
    )
    assert not log.path.exists()


def test_a_home_that_is_not_there_is_refused(tmp_path: Path) -> None:
    assert "there is no home at" in refused(Log(tmp_path / "nowhere" / "shelfbell.db"), charged("2026-04-01", "x"))[0]


def test_a_database_that_is_none_is_refused_and_left_as_it_is(log: Log) -> None:
    log.path.write_bytes(b"no database " * 100)
    assert "cannot be opened" in refused(log, charged("2026-04-01", "one"))[0]
    assert log.path.read_bytes() == b"no database " * 100


def test_an_empty_file_in_the_place_of_the_database_is_refused(log: Log) -> None:
    """It may be what a full disk left of one: nothing is made in its place silently."""
    log.path.touch()
    assert refused(log, charged("2026-04-01", "one")) == [
        "shelfbell.db is no event log: move it away, or restore a backup"
    ]


def test_what_a_crash_left_of_a_database_in_the_making_is_cleared_away(log: Log) -> None:
    log.path.with_name("shelfbell.db.new").write_bytes(b"half a database")
    put(log, charged("2026-04-01", "one"))
    assert ids(log) == ["one"]
    assert not log.path.with_name("shelfbell.db.new").exists()


def test_a_database_of_a_newer_version_is_refused(log: Log) -> None:
    put(log, charged("2026-04-01", "one"))
    log.connection.execute("PRAGMA user_version = 99")
    log.close()
    assert "written by a newer shelfbell" in refused(log, charged("2026-04-02", "two"))[0]


# --- order ----------------------------------------------------------------------------------------------------------


def test_events_are_in_order_of_at_then_recorded_at_then_id(log: Log) -> None:
    put(log, charged("2026-04-03", "late", recorded_at="2026-04-03"))
    put(log, charged("2026-04-01", "early", recorded_at="2026-05-01"))
    put(log, charged("2026-04-02", "told-later-b", recorded_at="2026-05-02"))
    put(log, charged("2026-04-02", "told-sooner", recorded_at="2026-05-01"))
    put(log, charged("2026-04-02", "told-later-a", recorded_at="2026-05-02"))
    order = ["early", "told-sooner", "told-later-a", "told-later-b", "late"]
    assert ids(log) == [found.id for found in log.in_force()] == order


def test_offsets_do_not_disturb_the_order(log: Log) -> None:
    put(log, charged("2026-04-01T12:00:00+02:00", "second"), charged("2026-04-01T09:30:00Z", "first"))
    assert ids(log) == ["first", "second"]


def test_as_known_then_only_what_was_recorded_by_then_counts(log: Log) -> None:
    put(
        log,
        charged("2026-04-01", "one", recorded_at="2026-04-01"),
        charged("2026-04-02", "late", recorded_at="2026-05-02"),
        struck("2026-05-10", "strike", "one", recorded_at="2026-05-10"),
    )
    asked = ["2026-03-31", "2026-04-30", "2026-05-02", "2026-05-09 23:59", "2026-05-10"]
    assert [ids(log, known=moment(known)) for known in asked] == [
        [], ["one"], ["one", "late"], ["one", "late"], ["late"],
    ]  # fmt: skip
    assert [found.id for found in log.in_force(moment("2026-05-02"))] == ["one", "late"]


def test_the_newest_is_the_last_recorded_that_is_not_struck(log: Log) -> None:
    put(
        log,
        charged("2026-04-01", "one", recorded_at="2026-05-09"),
        charged("2026-04-02", "two", recorded_at="2026-05-20"),
    )
    put(log, struck("2026-05-10", "strike", "two", recorded_at="2026-05-10"))
    newest = log.newest()
    assert newest is not None
    assert newest.id == "strike"


# --- corrections ----------------------------------------------------------------------------------------------------


def test_a_struck_event_is_taken_back_and_history_shows_both(log: Log) -> None:
    put(log, charged("2026-04-01", "one"), struck("2026-04-02", "strike", "one"))
    assert ids(log) == []
    assert [(found.id, by) for found, by in log.history("B")] == [("one", "strike"), ("strike", None)]
    assert log.taken_back_by("one") == "strike"
    strike = log.find("strike")
    assert strike is not None and log.touched_by(strike) == ("B",)


def test_an_event_takes_the_place_of_another(log: Log) -> None:
    put(log, charged("2026-04-01", "one", 100), charged("2026-04-01", "right", 80, instead_of="one"))
    assert [(found.id, found.get("percent")) for found in log.of("B")] == [("right", 80)]


def test_an_event_corrected_to_another_item_concerns_that_item_alone(log: Log) -> None:
    """Logged of pack B, it was A. B's history shows it; B's facts do not."""
    put(log, charged("2026-04-01", "wrong", item="B"), charged("2026-04-01", "right", item="A", instead_of="wrong"))
    assert (ids(log, "A"), ids(log, "B")) == (["right"], [])
    assert {found.id for found, _ in log.history("B")} == {"wrong", "right"}


def test_what_is_asked_of_many_names_at_once_is_what_is_asked_of_each(log: Log) -> None:
    put(log, charged("2026-04-03", "late"), charged("2026-04-01", "soon"), charged("2026-04-02", "wrong"))
    put(log, event("2026-04-02", "flown", aircraft="heron", packs=["A", "B"], minutes=9, id="both"))
    put(log, struck("2026-04-04", "s", "late"), charged("2026-04-02", "right", item="A", instead_of="wrong"))
    names = ["A", "B", "heron", "props"]
    reader = LogReader(log)
    assert reader.of_each(names) == {name: reader.of(name) for name in names}
    assert [made.id for made in reader.of_each(["B"])["B"]] == ["soon", "both"]


@pytest.mark.parametrize(
    "entries",
    [
        [],
        [charged("2026-04-02", "late"), charged("2026-04-01", "soon")],
        [charged("2026-04-01", "one"), struck("2026-04-02", "strike", "one")],
        [charged("2026-04-01", "one"), charged("2026-04-03", "right", instead_of="one"), charged("2026-04-04", "two")],
        [charged("2026-04-01", "wrong"), charged("2026-04-01", "right", item="A", instead_of="wrong")],
    ],
)
def test_what_is_read_in_part_is_what_all_of_it_would_tell(log: Log, entries: list[Fields]) -> None:
    put(log, *entries, event("2026-04-05", "inspected", item="B", result="pass"))
    reader = LogReader(log)
    for name in ("A", "B", "heron"):
        for what in ("charged", "inspected", "flown"):
            assert LogReader(log).first_at(name, what) == Source.first_at(reader, name, what)
        assert reader.all_but(name, "charged") == Source.all_but(reader, name, "charged")
        assert reader.all_but(name, "inspected") == Source.all_but(reader, name, "inspected")
        for day in range(1, 6):
            since = moment(f"2026-04-0{day}")
            assert LogReader(log).latest_and_after(name, "charged", since) == Source.latest_and_after(
                reader, name, "charged", since
            )


def test_only_an_event_in_force_can_be_struck_or_replaced(log: Log) -> None:
    put(log, charged("2026-04-01", "one"), struck("2026-04-02", "strike", "one"))
    wrong = "season.jsonl:1: event one was struck already, by strike: to undo that, log the event again"
    assert refused(log, struck("2026-04-03", "again", "one")) == [wrong]
    assert refused(log, charged("2026-04-03", "again", instead_of="one")) == [wrong]
    assert refused(log, struck("2026-04-03", "again", "nobody")) == [
        "season.jsonl:1: there is no event 'nobody' to strike: `shelfbell history` shows the ids"
    ]
    put(log, charged("2026-04-01", "two"), charged("2026-04-01", "right", instead_of="two"))
    assert refused(log, charged("2026-04-01", "more", instead_of="two")) == [
        "season.jsonl:1: event two was replaced already, by right: use that id"
    ]


def test_a_correction_can_itself_be_replaced(log: Log) -> None:
    put(
        log,
        charged("2026-04-01", "one", 100),
        charged("2026-04-01", "two", 90, instead_of="one"),
        charged("2026-04-01", "three", 80, instead_of="two"),
    )
    assert ids(log) == ["three"]
    put(log, struck("2026-04-03", "strike", "three"))
    assert ids(log) == []


def test_a_strike_is_undone_by_logging_the_event_again(log: Log) -> None:
    put(log, charged("2026-04-01", "one"), struck("2026-04-02", "strike", "one"))
    assert refused(log, struck("2026-04-03", "undo", "strike")) == [
        "season.jsonl:1: strike is a strike, for all time: log the event again that it took back"
    ]
    put(log, charged("2026-04-01", "anew"))
    assert ids(log) == ["anew"]


def test_corrections_within_one_intake_refer_to_lines_before_them(log: Log) -> None:
    assert put(log, charged("2026-04-01", "one"), struck("2026-04-02", "strike", "one")).ids == ["one", "strike"]
    assert (
        "there is no event 'later'"
        in refused(log, struck("2026-04-02", "s", "later"), charged("2026-04-01", "later"))[0]
    )


# --- ids ------------------------------------------------------------------------------------------------------------


def test_the_same_id_with_the_same_content_is_taken_once(log: Log) -> None:
    one = charged("2026-04-01", "one")
    assert put(log, one, one) == (["one"], 1)
    assert put(log, one | {"recorded_at": "2026-05-01T00:00:00Z"}) == ([], 1)
    assert len(list(log.lines())) == 1


def test_the_same_id_with_other_content_is_refused(log: Log) -> None:
    put(log, charged("2026-04-01", "one", 100))
    (told,) = refused(log, charged("2026-04-01", "one", 90))
    assert told.startswith("season.jsonl:1: id 'one' is there already with other content: {")
    (told,) = refused(log, charged("2026-04-01", "two", 100), charged("2026-04-01", "two", 90))
    assert told.startswith("season.jsonl:2: id 'two' is there already")


def test_a_correction_taken_in_twice_is_taken_once(log: Log) -> None:
    events = [
        charged("2026-04-01", "one"),
        charged("2026-04-01", "two", 80, instead_of="one"),
        struck("2026-04-02", "s", "two"),
    ]
    put(log, *events)
    assert put(log, *events) == ([], 3)


def test_an_event_without_an_id_gets_one_and_the_time_it_was_told(log: Log) -> None:
    (event_id,) = put(log, event("2026-04-01", "charged", item="B")).ids
    body = json.loads(next(iter(log.lines())))
    assert body == {
        "at": "2026-04-01T00:00:00Z",
        "recorded_at": rfc3339(NOW),
        "id": event_id,
        "what": "charged",
        "item": "B",
    }
    assert len(event_id) == 8


# --- bad input ------------------------------------------------------------------------------------------------------

GOOD = charged("2026-04-01", "good")
BAD_LINES = [
    ('{"at": "2026-04-01T00:00:00Z", "what": ', "is not JSON: Expecting value"),
    ("charged B", "is not JSON: Expecting value"),
    ('{"a": NaN}', "NaN is not a number of JSON"),
    ('{"a": -Infinity}', "-Infinity is not a number of JSON"),
    ('{"what": "charged", "what": "drained"}', "'what' is given twice"),
    ('{"at": "2026-04-01T00:00:00Z", "what": "charged", "item": {"x": 1, "x": 2}}', "'x' is given twice"),
    (json.dumps(GOOD).replace("100", "1" + "0" * 300), "percent: 1000"),
    (json.dumps(GOOD).replace("100", "1" + "0" * 5000), "is not JSON: Exceeds the limit"),
    (json.dumps(GOOD).replace("100", "1e400"), "percent: inf is not a number from 0 to 100"),
    (json.dumps(GOOD | {"note": "half \ud83d"}), "note: 'half \\ud83d' is not text"),
    (json.dumps(GOOD | {"\ud83d": 1}), "charged: '\\ud83d' is not a known key here"),
    ("[" * 100_000, "is not JSON"),
    ("\ufeff" + json.dumps(GOOD), "is not JSON"),
    ("[]", "an event: a list is not an object in braces"),
    (json.dumps(GOOD | {"item": "heron"}), "'heron' is of kind aircraft; charged concerns"),
    (json.dumps(GOOD | {"item": "b"}), "fleet.yaml knows no pack or controller 'b', did you mean 'B'?"),
]


@pytest.mark.parametrize(("line", "told"), BAD_LINES, ids=range(len(BAD_LINES)))
def test_one_bad_line_in_the_midst_is_named_and_nothing_is_written(log: Log, line: str, told: str) -> None:
    put(log, charged("2026-03-01", "before"))
    (found,) = refused(log, GOOD, "", line, charged("2026-04-02", "after"))
    assert found.startswith("season.jsonl:3:")
    assert told in found
    assert ids(log) == ["before"]


def test_all_bad_lines_are_told_and_none_is_blamed_for_another(log: Log) -> None:
    """The strike of line 3 is sound: its target stands in line 2 of the same intake."""
    found = refused(
        log, "{", GOOD, struck("2026-04-02", "strike", "good"), charged("2026-04-03", "x") | {"percent": 130}
    )
    assert [line.split(": ")[0] for line in found] == ["season.jsonl:1:2", "season.jsonl:4"]
    assert ids(log) == []


def test_a_refusal_in_a_later_batch_undoes_the_batches_before(log: Log) -> None:
    many = [charged("2026-04-01", f"e{number}") for number in range(1200)]
    assert len(refused(log, *many, "{")) == 1
    assert list(log.lines()) == []
    assert len(put(log, *many).ids) == 1200


def test_findings_are_told_in_the_order_of_lines(log: Log) -> None:
    """That an id is there already is seen once a batch is written, after the check of the lines that follow."""
    put(log, charged("2026-04-01", "one", 100))
    found = refused(log, charged("2026-04-01", "one", 90), "{", struck("2026-04-02", "strike", "nobody"), "{")
    assert [line.split(":")[1] for line in found] == ["1", "2", "3", "4"]


@pytest.mark.parametrize("name", ["at", "recorded_at"])
def test_a_time_in_the_future_is_refused_beyond_five_minutes(log: Log, name: str) -> None:
    def with_time(instant: int, event_id: str) -> Fields:
        return charged("2026-04-01", event_id) | {name: rfc3339(instant)}

    assert put(log, with_time(NOW + 5 * MINUTE, "near")).ids == ["near"]
    (told,) = refused(log, with_time(NOW + 5 * MINUTE + SECOND, "far"))
    assert told == f"season.jsonl:1: {name} 2026-06-01T00:05:01Z lies in the future; it is 2026-06-01T00:00:00Z"


def test_a_database_that_another_program_holds_is_refused_not_waited_for_in_vain(log: Log) -> None:
    put(log, GOOD)
    log.connection.execute("PRAGMA busy_timeout = 0")
    other = sqlite3.connect(log.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    assert refused(log, charged("2026-04-02", "two")) == ["the database cannot be written: database is locked"]
    other.execute("ROLLBACK")
    other.close()
    assert put(log, charged("2026-04-02", "two")).ids == ["two"]


def test_a_read_only_database_is_refused(log: Log) -> None:
    put(log, GOOD)
    log.connection.execute("PRAGMA query_only = ON")
    assert refused(log, charged("2026-04-02", "two"))[0].startswith(
        ("nothing was written", "the database cannot be written")
    )
    assert ids(log) == ["good"]


# --- interchange ----------------------------------------------------------------------------------------------------


def export(log: Log) -> str:
    return "".join(f"{line}\n" for line in log.lines())


ODD_LINES = [
    '{"what":"charged","item":"B","at":"2026-04-01T12:00:00.120+02:00","id":"a1","recorded_at":"2026-04-01T12:00:00Z"}',
    '  {"id": "a2", "at": "2026-04-01 12:00:00Z", "recorded_at": "2026-04-01t12:00:00z", "what": "noticed", '
    '"item": "heron", "findings": ["drift"], "note": "wind \\u00e9 \\ud83d\\udef8 \\u2028 \\"x\\" 🛩"}  ',
    '{"at": "2026-04-01T12:00:00Z", "what": "measured", "item": "B", "percent": 6.20e1, "temperature_c": -0.0}',
    '{"at": "2026-04-02T12:00:00Z", "what": "charged", "item": "A", "instead_of": "a1"}',
    '{"at": "2026-04-02T12:00:00Z", "what": "struck", "event": "a2"}',
]


def test_export_into_an_empty_home_exports_the_same_byte_for_byte(log: Log, tmp_path: Path) -> None:
    put(log, *ODD_LINES)
    (tmp_path / "other").mkdir()
    other = Log(tmp_path / "other" / "shelfbell.db")

    take(other, enumerate(export(log).split("\n"), 1), FLEET, NOW)

    assert export(other) == export(log)
    assert [found for found, _ in other.history()] == [found for found, _ in log.history()]
    assert list(other.in_force()) == list(log.in_force())
    other.close()


def test_a_whole_line_is_kept_as_it_was_written(log: Log) -> None:
    put(log, *ODD_LINES[:2])
    assert list(log.lines()) == [line.strip() for line in ODD_LINES[:2]]


# --- two at once ----------------------------------------------------------------------------------------------------

WRITER = """
import json, sys
from pathlib import Path
from scheduler.events.log import Log
from scheduler.events.taking import take
from scheduler.fleet.fleet import Fleet

log, fleet = Log(Path(sys.argv[1])), Fleet({"packs": [{"id": "B"}]})
for number in range(40):
    line = {"at": "2026-04-01T00:00:00Z", "what": "charged", "item": "B", "id": f"{sys.argv[2]}-{number}"}
    take(log, [(1, json.dumps(line))], fleet, int(sys.argv[3]))
"""


def test_processes_that_write_at_once_lose_nothing(log: Log) -> None:
    """They begin with no database, so making it is raced for as well."""
    command = [sys.executable, "-c", WRITER, str(log.path)]
    writers = [
        subprocess.Popen([*command, name, str(NOW)], stderr=subprocess.PIPE, cwd=Path(__file__).parents[2], text=True)
        for name in ("one", "two", "three")
    ]
    assert [(writer.communicate()[1], writer.returncode) for writer in writers] == [("", 0)] * 3
    written = [f"{name}-{number}" for name in ("one", "two", "three") for number in range(40)]
    assert sorted(ids(log)) == sorted(written)
    assert sorted(found.seq for found in log.of("B")) == list(range(1, 121))


# --- whom an event concerns -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "names"),
    [
        (event("2026-04-01", "charged", item="B", charger="bench"), ("B", "bench")),
        (
            event("2026-04-01", "flown", aircraft="heron", packs=["A", "B"], minutes=9, pilot="me"),
            ("heron", "A", "B", "me"),
        ),
        (event("2026-04-01", "mishap", item="heron", severity="crash", packs=["A"]), ("heron", "A")),
        (event("2026-04-01", "fitted", item="props", aircraft="heron"), ("props", "heron")),
        (event("2026-04-01", "replaced", item="props", from_spares="spare-props"), ("props", "spare-props")),
        (
            event("2026-04-01", "booked", job="wedding", starts="2026-05-01", aircraft="heron"),
            ("heron", "job/wedding", "job"),
        ),
        (event("2026-04-01", "booked", job="wedding", starts="2026-05-01"), ("job/wedding", "job/", "job")),
        (event("2026-04-01", "cancelled", job="wedding"), ("job/wedding", "job")),
        (event("2026-04-01", "seen", item="B", rule="pack-left-full"), ("B",)),
        (event("2026-04-01", "away", **{"from": "2026-05-01", "to": "2026-05-09"}), ("home",)),
        (event("2026-04-01", "struck", event="one"), ()),
    ],
    ids=lambda value: value["what"] if isinstance(value, dict) else "",
)
def test_an_event_is_filed_under_everything_it_concerns(made: Fields, names: tuple[str, ...]) -> None:
    assert concerned(made) == names


def test_a_database_of_the_first_layout_has_its_jobs_filed_by_name_when_opened(log: Log) -> None:
    booked = {"starts": "2026-05-01T09:00:00Z"}
    put(
        log,
        event("2026-04-01", "booked", id="b1", job="wedding", aircraft="heron", **booked),
        event("2026-04-02", "booked", id="b2", job="harbour", instead_of="b1", **booked),
        event("2026-04-03", "cancelled", id="b3", job="harbour"),
        struck("2026-04-04", "b4", "b2"),
        charged("2026-04-05", "c1"),
    )
    rows = "SELECT item, seq FROM concerned ORDER BY item, seq"
    before = log.connection.execute(rows).fetchall()
    assert ("job/wedding", 2) in before and ("job/wedding", 4) in before
    log.connection.execute("DELETE FROM concerned WHERE item LIKE 'job/%'")
    as_in_layout(log, 1)
    assert log.connection.execute(rows).fetchall() == before
    assert log.connection.execute("PRAGMA user_version").fetchone() == (3,)


OLD_TRIGGER = """CREATE TRIGGER no_replace BEFORE INSERT ON events
       WHEN EXISTS (SELECT 1 FROM events WHERE seq = NEW.seq) OR EXISTS (SELECT 1 FROM events WHERE id = NEW.id)
       OR NEW.target IS NOT NULL AND EXISTS (SELECT 1 FROM events WHERE target = NEW.target)
       BEGIN SELECT RAISE(ABORT, 'this event is there already'); END"""


def as_in_layout(log: Log, version: int) -> None:
    """Lay the corrections of a log out as the layouts before 3 did, and close it."""
    log.connection.execute("DROP INDEX idx_events_target")
    log.connection.execute("CREATE UNIQUE INDEX idx_events_target ON events (target) WHERE target IS NOT NULL")
    log.connection.execute("DROP TRIGGER no_replace")
    log.connection.execute(OLD_TRIGGER)
    log.connection.execute(f"PRAGMA user_version = {version}")
    log.close()


def test_a_database_of_an_older_layout_takes_a_second_correction_of_one_event_when_opened(log: Log) -> None:
    told = {"recorded_at": "2026-05-01"}
    put(log, charged("2026-04-01", "one"), charged("2026-04-01", "right", 80, instead_of="one", **told))
    layout = "SELECT sql FROM sqlite_master ORDER BY name"
    new = log.connection.execute(layout).fetchall()
    as_in_layout(log, 2)
    assert log.connection.execute(layout).fetchall() == new
    put(log, charged("2026-04-01", "sooner", 70, instead_of="one", recorded_at="2026-04-30"))
    assert ids(log) == ["sooner"]


@pytest.mark.parametrize("hidden", ['"percent"\r:', '"percent" :', '"percent"\t:', '"percent":'])
def test_a_key_that_stands_twice_is_found_however_it_is_written(log: Log, hidden: str) -> None:
    line = '{"at":"2026-04-01T00:00:00Z","what":"charged","item":"B",' + hidden + '60,"percent":10}'
    assert "'percent' is given twice" in refused(log, line)[0]


def test_the_newest_event_is_found_by_an_index(log: Log) -> None:
    """It is asked at every wake: sorting the log would grow with it."""
    put(log, GOOD)
    asked: list[str] = []
    log.connection.set_trace_callback(asked.append)
    log.newest()
    log.connection.set_trace_callback(None)

    plan = [row[3] for row in log.connection.execute(f"EXPLAIN QUERY PLAN {asked[-1]}")]
    assert any("USING INDEX idx_events_recorded_at" in step for step in plan)
    assert not any(step.startswith("SCAN e") and "INDEX" not in step for step in plan)
