"""Living long: a full disk, a database that is locked, damaged or gone, a journal left by a crash, hostile entries."""

import itertools
import json
import re
import resource
import shutil
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from scheduler.base.findings import Refused
from scheduler.base.instants import HOUR
from scheduler.daemon.wake import wake
from scheduler.daemon.watch import ChangeDetector
from scheduler.events import log as event_log
from scheduler.events.log import Log
from scheduler.messages.outbox import Outbox
from tests.daemon.test_daemon import Manager, daemon, feed, outbox_rows
from tests.homes import Bench
from tests.messages.homes import ALARM, charge, make_home
from tests.messages.servers import eventually, letterbox
from tests.support import moment

NOW = moment("2026-04-01 09:00")


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    """A service manager that listens."""
    found = Manager(tmp_path)
    yield found
    found.close()


# A full disk.


def test_a_daemon_whose_disk_is_full_says_so_once_and_goes_on_when_there_is_room(
    tmp_path: Path, manager: Manager
) -> None:
    """No file of the daemon's may grow: what a full disk is to it (setrlimit(2), RLIMIT_FSIZE)."""
    with letterbox() as box:
        home = make_home(tmp_path / "home", {"mail": {"url": box.plain}}, ALARM).path
        with daemon(home, manager, beat=0.2) as running:
            eventually(lambda: manager.told("STATUS=0 open") >= 1)
            none = (512, resource.RLIM_INFINITY)
            resource.prlimit(running.process.pid, resource.RLIMIT_FSIZE, none)
            feed(home)
            eventually(lambda: manager.told("STATUS=in trouble: the database cannot be used") >= 1)
            time.sleep(0.5)
            assert box.letters == []
            resource.prlimit(
                running.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
            )
            eventually(lambda: box.letters)
            status, text = running.stop()

    assert status == 0
    assert text.count("the database cannot be used") == 1
    assert "well again" in text
    assert "Traceback" not in text
    assert len(box.letters) == 1


def test_an_entry_for_which_there_is_no_room_is_not_half_written(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.log("charged", "A")
    whole, real = bench.exported(), event_log.open_database

    def full(path: Path) -> sqlite3.Connection:
        connection = real(path)
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages}")
        return connection

    with monkeypatch.context() as patch:
        patch.setattr(event_log, "open_database", full)
        answer = bench("log", "charged", "A,B,C", "--note", "x" * 20_000)

    assert answer.status == 2
    assert "database or disk is full" in answer.err
    assert answer.err.count("\n") == 1
    assert bench.exported() == whole
    bench.log("charged", "B")


def test_a_wake_for_which_there_is_no_room_queues_all_or_nothing(tmp_path: Path) -> None:
    wordy = ALARM.replace("It matters.", "It matters. " * 320)  # more than a page of the database takes
    home = make_home(tmp_path / "home", {"mail": {"url": "json://127.0.0.1/"}}, wordy)
    charge(home, "A", "2026-04-01 09:00")
    wake(home, home.setup(), NOW - 1, trust=True)
    connection = home.log.connection
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages}")
    with suppress(sqlite3.OperationalError):  # until the last free bytes of the pages that are there are gone
        for number in itertools.count():
            with Outbox(home.log).writing() as transaction:
                transaction.execute("INSERT INTO state VALUES (?, ?)", (f"filler{number}", "x" * 100))

    for instant in (NOW, NOW + HOUR):
        with pytest.raises(sqlite3.OperationalError, match="full"):
            wake(home, home.setup(), instant)
        assert Outbox(home.log).rows() == []
        assert list(Outbox(home.log).ledger().announced_keys()) == []
    connection.execute("PRAGMA max_page_count = 100000")
    wake(home, home.setup(), NOW + 2 * HOUR)

    assert [row.title for row in Outbox(home.log).rows()] == ["Pack is alarming: A"]
    home.log.close()


# Read-only, locked.


def test_a_home_that_cannot_be_written_still_answers_questions(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.log("noticed", "A", "swollen")
    real = event_log.open_database

    def read_only(path: Path) -> sqlite3.Connection:
        connection = real(path)
        connection.execute("PRAGMA query_only = ON")
        return connection

    monkeypatch.setattr(event_log, "open_database", read_only)
    bench.write("rules/more.yaml", "rules: []\n")  # what was compiled before no longer counts

    assert "Take pack A out of use." in bench("due").out
    for words in (("log", "charged", "A"), ("run", "--once")):
        answer = bench(*words)
        assert answer.status == 2
        assert "readonly" in answer.err
        assert answer.err.count("\n") == 1


def test_an_entry_waits_for_a_database_that_another_program_has_locked(bench: Bench) -> None:
    bench.log("charged", "A")
    blocker = sqlite3.connect(bench.path / "shelfbell.db", isolation_level=None, check_same_thread=False)
    blocker.execute("BEGIN IMMEDIATE")
    free = threading.Event()

    def give_way() -> None:
        free.set()
        blocker.execute("ROLLBACK")

    threading.Timer(0.5, give_way).start()
    bench.log("charged", "B")

    assert free.is_set()
    blocker.close()


def test_an_entry_that_has_waited_long_enough_is_refused(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.log("charged", "A")
    blocker = sqlite3.connect(bench.path / "shelfbell.db", isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    real = event_log.open_database

    def impatient(path: Path) -> sqlite3.Connection:
        connection = real(path)
        connection.execute("PRAGMA busy_timeout = 100")
        return connection

    monkeypatch.setattr(event_log, "open_database", impatient)
    answer = bench("log", "charged", "B")
    blocker.close()

    assert (answer.status, answer.err) == (2, "the database cannot be written: database is locked\n")


# Damaged, gone, left by a crash.


def test_a_daemon_whose_database_is_damaged_says_the_way_back_and_makes_no_new_one(
    tmp_path: Path, manager: Manager
) -> None:
    with letterbox() as box:
        home = make_home(tmp_path / "home", {"mail": {"url": box.plain}}, ALARM).path
        with daemon(home, manager, beat=0.2, WATCHDOG_USEC="90000000") as running:
            feed(home)
            eventually(lambda: box.letters)
            eventually(lambda: outbox_rows(home)[0].state == "sent", within=30)
            for path in home.glob("shelfbell.db-*"):
                path.unlink()
            (home / "spoilt").write_bytes(b"hello" * 2000)
            (home / "spoilt").rename(home / "shelfbell.db")
            eventually(lambda: manager.told("STATUS=in trouble") >= 1)
            beats = manager.told("WATCHDOG=1")
            eventually(lambda: manager.told("WATCHDOG=1") > beats + 2)
            _, text = running.stop()

    assert (home / "shelfbell.db").read_bytes() == b"hello" * 2000
    assert "file is not a database" in text
    assert "restore BACKUP" in text
    assert "Traceback" not in text


def test_a_daemon_whose_database_is_gone_makes_no_new_one(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", {}, ALARM)
    charge(home, "A", "2026-04-01 09:00")
    watch = ChangeDetector(home, NOW)
    watch.note_database()
    for path in home.path.glob("shelfbell.db*"):
        path.unlink()

    assert watch.database_changed()
    with pytest.raises(Refused, match="shelfbell.db is gone: put it back, or restore a backup"):
        watch.note_database()
    assert not (home.path / "shelfbell.db").exists()
    home.log.close()


def test_a_journal_left_by_a_crash_is_taken_up(tmp_path: Path) -> None:
    """What was committed lies in the write-ahead log alone; the files as they are at a power cut are copied."""
    home, after = make_home(tmp_path / "home", {}, ALARM), tmp_path / "after"
    for hour in range(9, 20):
        charge(home, "A", f"2026-04-01 {hour:02}:00")
    assert (home.path / "shelfbell.db-wal").stat().st_size > 0
    after.mkdir()
    for path in home.path.glob("shelfbell.db*"):
        shutil.copy(path, after)
    home.log.close()

    log = Log(after / "shelfbell.db")
    assert len(list(log.in_force())) == 11
    assert log.connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    log.close()


def test_a_torn_end_of_a_journal_costs_only_what_was_not_committed(tmp_path: Path) -> None:
    home, after = make_home(tmp_path / "home", {}, ALARM), tmp_path / "after"
    for hour in range(9, 20):
        charge(home, "A", f"2026-04-01 {hour:02}:00")
    after.mkdir()
    for name in ("shelfbell.db", "shelfbell.db-wal"):
        shutil.copy(home.path / name, after)
    home.log.close()
    journal = after / "shelfbell.db-wal"
    journal.write_bytes(journal.read_bytes()[:-100])

    log = Log(after / "shelfbell.db")
    assert len(list(log.in_force())) == 10
    assert log.connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    log.close()


# Hostile entries.

TRICK = "\x1b]0;owned\x07\x1b[2J\u202egnp\u2066\x9b31m\u200b"
UNSEEMLY = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b\u2028-\u202e\u2066-\u2069]")
HOSTILE: list[dict[str, object]] = [
    {"at": "2026-04-01T09:00:00Z", "what": "charged", "item": "A", "note": TRICK, "id": "one"},
    {"at": "2026-04-01T10:00:00Z", "what": "noticed", "item": "B", "findings": ["swollen"], "note": f"{TRICK}\nfaked"},
    {"at": "2026-04-01T11:00:00Z", "what": "set_aside", "item": "C", "reason": TRICK},
    {"at": "2026-04-09T11:00:00Z", "what": "booked", "job": "vine", "starts": "2026-04-11T09:00:00Z", "note": TRICK},
    {"at": "2026-04-02T11:00:00Z", "what": "updated", "item": "heron", "version": TRICK[:80]},
]
QUESTIONS = [
    "due", "history", "history A", "history --reminders", "explain", "explain B", "log charged A", "ready", "pack A",
    "rehearse --from 2026-04-01 --to 2026-04-12 --messages", "run --dry-run", "outlook", "doctor", "channels",
    "audit --from 2026-04-01 --to 2026-04-12", "case left-full A", "seen swollen B",
]  # fmt: skip


@pytest.mark.parametrize("words", QUESTIONS)
def test_nothing_that_was_logged_plays_tricks_in_a_terminal(bench: Bench, tmp_path: Path, words: str) -> None:
    for number, entry in enumerate(HOSTILE):
        file = tmp_path / f"{number}.jsonl"
        file.write_text(json.dumps(entry))
        taken = bench("intake", str(file))
        assert not UNSEEMLY.search(taken.out + taken.err)
    bench("run", "--once")

    answer = bench(*words.split())

    assert not UNSEEMLY.search(answer.out + answer.err), re.findall(f".*{UNSEEMLY.pattern}.*", answer.out + answer.err)
    assert "Traceback" not in answer.err


@pytest.mark.parametrize("field", ["id", "job"])
@pytest.mark.parametrize("sign", ["\u202e", "\u2066", "\u200b", "\x1b", "\x9b", "\u2028"])
def test_a_name_that_would_turn_or_hide_the_text_around_it_is_refused(bench: Bench, field: str, sign: str) -> None:
    booked = {"at": "2026-04-09T11:00:00Z", "what": "booked", "job": "vineyard", "starts": "2026-04-11T09:00:00Z"}
    (bench.path / "one.jsonl").write_text(json.dumps(booked | {field: f"vine{sign}yard"}))

    answer = bench("intake", str(bench.path / "one.jsonl"))

    assert answer.status == 2
    assert sign not in answer.out + answer.err
    assert bench.exported() == ""
