"""Doctor and channels: each fault of a home is named with what to do, and nothing is changed by looking."""

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from scheduler.base.instants import DAY, HOUR, MINUTE
from scheduler.home.folder import Home
from scheduler.home.lock import DAEMON, Lock, running
from scheduler.messages.outbox import Message, Outbox, remember
from tests.home.test_backup import spoil
from tests.homes import Bench
from tests.support import moment

NOON = moment("2026-04-10 12:00")


def looks(bench: Bench) -> dict[str, tuple[bool, str]]:
    """What the doctor finds, by what it looked at."""
    answer = bench("doctor", "--json")
    found = {look["about"]: (look["fine"], look["said"]) for look in json.loads(answer.out)}
    assert answer.status == (0 if all(fine for fine, _ in found.values()) else 1)
    assert answer.err == ""
    return found


def sent(bench: Bench, channel: str, at: int, failed: str = "", permanent: bool = False, kind: str = "first") -> None:
    """A message that a channel took at an instant, or did not."""
    outbox = Outbox(Home(bench.path).log, jitter=lambda: 0.0)
    with outbox.writing() as transaction:
        row = outbox.row(outbox.add(transaction, Message(channel, kind, "T", "B"), at))
    claimed = outbox.claim(row, at)
    assert claimed is not None
    if failed:
        outbox.failed(claimed, at, failed, permanent)
    else:
        outbox.sent(claimed, at)
    outbox.log.close()


def remembered(bench: Bench, name: str, at: int) -> None:
    """What the daemon or a backup left word of."""
    outbox = Outbox(Home(bench.path).log)
    with outbox.writing() as transaction:
        remember(transaction, name, at)
    outbox.log.close()


@pytest.fixture
def well(bench: Bench) -> Iterator[Bench]:
    """A home in which all is well, with a daemon at work."""
    bench.path.chmod(0o700)
    bench.watch_all()
    bench.log("charged", "A")
    for channel in ("phone", "mail"):
        sent(bench, channel, NOON - HOUR)
    remembered(bench, "woke_at", NOON - HOUR)
    remembered(bench, "backed_up_at", NOON - DAY)
    with Lock(bench.path, DAEMON) as lock:
        assert lock.acquire()
        yield bench


def test_where_all_is_well_every_look_says_so(well: Bench) -> None:
    found = looks(well)

    assert [about for about, (fine, _) in found.items() if not fine] == []
    assert list(found) == [
        "access", "disk", "database", "files", "clock", "zone", "channel phone", "channel mail",
        "address of phone", "address of mail", "daemon", "backup",
    ]  # fmt: skip
    assert found["database"] == (True, "whole, 1 event")
    assert found["channel mail"] == (True, "last success Fri 10 Apr 12:00")
    lines = well("doctor").out.splitlines()
    assert all(line.startswith("well ") for line in lines)


def test_an_address_that_is_not_set_here_is_noted_and_a_fault_only_where_no_daemon_runs(
    well: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SHELFBELL_PHONE", "json://secret@localhost")
    found = looks(well)
    assert "address of phone" not in found
    assert found["address of mail"] == (True, "$SHELFBELL_MAIL is not set here; the daemon may have it")

    monkeypatch.setattr("scheduler.answers.doctor.running", lambda _place: False)
    fine, said = looks(well)["address of mail"]
    assert not fine
    assert said.startswith("SHELFBELL_MAIL is neither in the environment nor a credential: `export SHELFBELL_MAIL=")


def _contradict(bench: Bench) -> None:
    bench.log("flown", "heron", "B", "20", "--at", "2026-04-10T09:00:00Z", "--id", "one")
    bench.log("flown", "heron", "C", "20", "--at", "2026-04-10T09:10:00Z", "--id", "two")


FAULTS: dict[str, tuple[Callable[[Bench], object], str, str]] = {
    "open to others": (lambda b: b.path.chmod(0o755), "access", "chmod -R go-rwx"),
    "a channel never tried": (
        lambda b: b.write("shelfbell.yaml", "zone: UTC\nchannels: {loud: {url: $LOUD}}\n"),
        "channel loud",
        "never tried: `shelfbell ring loud`",
    ),
    "a channel that fails": (
        lambda b: sent(b, "mail", NOON, "error=401", permanent=True),
        "channel mail",
        "failing since Fri 10 Apr 13:00: error=401; 1 waiting",
    ),
    "no channel at all": (lambda b: b.write("shelfbell.yaml", "zone: UTC\n"), "channels", "nothing can ring"),
    "an old backup": (lambda b: remembered(b, "backed_up_at", NOON - 8 * DAY), "backup", "make a new one"),
    "a clock set back": (lambda b: b.set_clock("2026-04-09 12:00"), "clock", "set the clock"),
    "files that are wrong": (lambda b: b.write("fleet.yaml", "packs: 3\n"), "files", "`shelfbell check` lists all"),
    "contradicting flights": (_contradict, "entries", "one and two: heron in the air twice at Fri 10 Apr 10:10"),
    "a database that is none": (
        lambda b: (b.path / "shelfbell.db").write_bytes(b"hello" * 1000),
        "database",
        "restore BACKUP",
    ),
    "an empty file for a database": (
        lambda b: (b.path / "shelfbell.db").write_bytes(b""),
        "database",
        "restore a backup",
    ),
    "a database gone, its journal left": (
        lambda b: (b.path / "shelfbell.db").rename(b.path / "shelfbell.db-wal"),
        "database",
        "restore a backup into a new home",
    ),
}


@pytest.mark.parametrize("told", FAULTS)
def test_a_fault_is_named_with_what_to_do(well: Bench, told: str) -> None:
    break_it, about, said = FAULTS[told]
    break_it(well)

    fine, text = looks(well)[about]

    assert not fine
    assert said in text


def test_a_daemon_that_does_not_run_is_named_however_short_ago_it_woke(bench: Bench) -> None:
    bench.log("charged", "A")
    remembered(bench, "woke_at", NOON - 10 * MINUTE)

    fine, said = looks(bench)["daemon"]

    assert not fine
    assert "is not running, last woke" in said and "(10 min ago): nothing rings. Start it: `shelfbell run`" in said


def test_only_a_daemon_counts_as_running_and_looking_changes_nothing(bench: Bench) -> None:
    assert not running(bench.path)
    assert not (bench.path / "shelfbell.lock").exists()
    for role, expected in (("once", False), (DAEMON, True)):
        with Lock(bench.path, role) as lock:
            assert lock.acquire()
            assert running(bench.path) is expected
        assert not running(bench.path)


def test_where_files_are_wrong_the_rest_is_looked_at_all_the_same(well: Bench) -> None:
    well.write("fleet.yaml", "packs: 3\n")

    found = looks(well)

    assert [about for about, (fine, _) in found.items() if not fine] == ["files"]
    assert {"clock", "channel phone", "channel mail", "daemon", "backup"} <= found.keys()
    assert found["channel mail"] == (True, "last success Fri 10 Apr 12:00")


def test_where_files_and_database_are_wrong_both_are_named(well: Bench) -> None:
    well.write("shelfbell.yaml", "zone: nowhere\n")
    (well.path / "shelfbell.db").write_bytes(b"")

    assert [about for about, (fine, _) in looks(well).items() if not fine] == ["database", "files"]


def test_nothing_is_looked_at_in_a_home_that_is_not_there(bench: Bench, tmp_path: Path) -> None:
    answer = bench("--home", str(tmp_path / "nowhere"), "doctor")

    assert answer.status == 1
    assert answer.out.startswith("LOOK  home: there is none at ")
    assert not (tmp_path / "nowhere").exists()


def test_looking_at_an_empty_home_makes_no_database(bench: Bench) -> None:
    found = looks(bench)

    assert found["database"] == (True, "none yet: an empty log")
    assert not (bench.path / "shelfbell.db").exists()


def damaged(bench: Bench) -> None:
    """Spoil the database of a home."""
    for number in range(40):
        bench.log("measured", "A", "--percent", "60", "--note", f"{number} " + "x" * 2000)
    spoil(bench.path / "shelfbell.db")


def test_a_damaged_database_is_found_and_the_way_back_told(well: Bench) -> None:
    damaged(well)

    fine, said = looks(well)["database"]

    assert not fine
    assert said.startswith("damaged: ")
    assert "restore BACKUP" in said


COMMANDS = ["due", "history", "export", "explain", "channels", "log charged B", "backup {}", "run --once", "ready"]


@pytest.mark.parametrize("words", COMMANDS)
@pytest.mark.parametrize("harm", ["none", "empty", "orphan journal"])
def test_a_database_that_cannot_be_read_is_refused_and_never_made_anew(well: Bench, words: str, harm: str) -> None:
    database = well.path / "shelfbell.db"
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    for beside in well.path.glob("shelfbell.db-*"):
        beside.unlink()
    if harm == "orphan journal":
        database.rename(well.path / "shelfbell.db-wal")
    else:
        database.write_bytes(b"hello" * 1000 if harm == "none" else b"")
    before = {path.name: path.read_bytes() for path in well.path.glob("shelfbell.db*")}

    answer = well(*words.format(well.path / "one.backup").split())

    assert answer.status == 2
    assert "restore" in answer.err
    assert "Traceback" not in answer.err
    assert {path.name: path.read_bytes() for path in well.path.glob("shelfbell.db*")} == before


def test_channels_tells_of_each_its_last_success_and_last_error(well: Bench) -> None:
    assert well("channels").status == 0
    sent(well, "mail", NOON, "no connection: Connection refused")

    answer = well("channels")

    assert answer.status == 1
    assert answer.out.splitlines() == [
        "phone: last success Fri 10 Apr 12:00, 0 waiting",
        "mail: last success Fri 10 Apr 12:00, 1 waiting until Fri 10 Apr 13:01, "
        "failing since Fri 10 Apr 13:00: no connection: Connection refused",
    ]
    phone, mail = json.loads(well("channels", "--json").out)
    assert (phone["channel"], phone["urgency"], phone["failing_since"]) == ("phone", ["now", "today"], None)
    assert (mail["waiting"], mail["failing_since"]) == (1, "2026-04-10T13:00:00+01:00")


def test_channels_tells_of_a_failure_that_a_later_attempt_overcame(well: Bench) -> None:
    sent(well, "mail", NOON, "no connection: Connection refused")
    outbox = Outbox(Home(well.path).log)
    (waiting,) = outbox.due("mail", NOON + DAY)
    again = outbox.claim(waiting, NOON + 2 * MINUTE)
    assert again is not None
    outbox.sent(again, NOON + 2 * MINUTE)
    outbox.log.close()
    well.set_clock("2026-04-12 12:00")

    assert well("channels").out.splitlines()[1] == (
        "mail: last success Fri 10 Apr 13:02, 0 waiting, "
        "last failure Fri 10 Apr 13:00, sent since: no connection: Connection refused"
    )
    assert json.loads(well("channels", "--json").out)[1]["last_failed"] == "2026-04-10T13:00:00+01:00"


def test_channels_tells_until_when_what_is_held_for_quiet_hours_waits(well: Bench) -> None:
    outbox = Outbox(Home(well.path).log)
    with outbox.writing() as transaction:
        seven = moment("2026-04-11 06:00")
        for title in ("One", "Other"):
            outbox.add(transaction, Message("mail", "summary", title, "B", after=seven), moment("2026-04-10 21:00"))
    outbox.log.close()
    well.set_clock("2026-04-10 21:30")
    assert well("channels").out.splitlines()[1].endswith(", 2 waiting until Sat 11 Apr 07:00")

    well.set_clock("2026-04-11 06:01")
    assert well("channels").out.splitlines()[1].endswith(", 2 waiting")


def test_channels_tells_what_was_given_up_and_what_to_do(well: Bench) -> None:
    sent(well, "mail", NOON + MINUTE, "no connection: Connection refused", kind="trial")

    told = well("channels").out.splitlines()[1]
    assert "the trial of Fri 10 Apr 13:01 failed and is not tried again (`shelfbell ring mail` sends another)" in told
    assert "given up" not in told
    assert json.loads(well("channels", "--json").out)[1]["given_up"] == 0

    sent(well, "mail", NOON + 2 * MINUTE)
    assert "trial" not in well("channels").out


def test_channels_of_a_new_home_are_told_to_be_tried(bench: Bench) -> None:
    assert bench("channels").out.splitlines() == [
        "phone: nothing sent yet; `shelfbell ring phone` tries it",
        "mail: nothing sent yet; `shelfbell ring mail` tries it",
    ]
    bench.write("shelfbell.yaml", "zone: UTC\n")
    assert "nothing can ring" in bench("channels").out


def test_a_channel_that_is_gone_from_the_settings_fails_no_more(well: Bench) -> None:
    sent(well, "mail", NOON, "error=401", permanent=True)
    well.write("shelfbell.yaml", "zone: UTC\nchannels: {phone: {url: $PHONE}}\n")

    assert well("channels").status == 0


def test_doctor_does_not_stand_in_the_way_of_a_daemon_it_finds_running(well: Bench) -> None:
    remembered(well, "woke_at", NOON - 3 * DAY)
    assert looks(well)["daemon"] == (True, "running, last woke Tue 7 Apr 13:00")


def test_a_home_that_cannot_be_written_is_looked_at_all_the_same(well: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Root may write everywhere, so the refusal is staged."""

    def refusing(*_: object) -> int:
        raise PermissionError(30, "Read-only file system")

    monkeypatch.setattr("scheduler.home.lock.os.open", refusing)

    assert "is not running" in looks(well)["daemon"][1]


def test_of_a_home_with_nothing_logged_the_channels_and_the_daemon_are_told(bench: Bench) -> None:
    answer = bench("doctor")

    assert answer.status == 1
    assert "LOOK  channel phone: never tried: `shelfbell ring phone`" in answer.out
    assert "LOOK  daemon: has never run here: nothing rings." in answer.out
    assert not (bench.path / "shelfbell.db").exists()
