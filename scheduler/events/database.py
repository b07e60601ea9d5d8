"""The event log's database: opened, laid out, brought up from older layouts."""

import json
import os
import sqlite3
from contextlib import ExitStack, closing, suppress
from stat import S_ISDIR

from scheduler.base.findings import Refused
from scheduler.events.event import JOB, concerned

SCHEMA_VERSION = 3
"""Since 2 the events of a job are filed under its own name too, and can be looked up by when they happened. Since 3
several events may correct the same one."""
_BY_AT = "CREATE INDEX IF NOT EXISTS idx_events_at ON events (at)"
_BY_TARGET = "CREATE INDEX idx_events_target ON events (target, recorded_at, id) WHERE target IS NOT NULL"
WAY_BACK = (
    "Stop the daemon, keep the file, then `shelfbell --home NEW restore BACKUP`; "
    "`shelfbell export` may save what can still be read"
)
_HELD = 16_000
"""Kilobytes of the database held in memory at most."""


def is_folder(place: str) -> bool:
    """Return True if there is a folder. Raises OSError if that cannot be known."""
    found = _stat(place)
    return found is not None and S_ISDIR(found.st_mode)


def _stat(place: str) -> os.stat_result | None:
    try:
        return os.stat(place)
    except (FileNotFoundError, NotADirectoryError):
        return None


def database_exists(place: str) -> bool:
    if _stat(place):
        return True
    if _stat(f"{place}-wal"):
        name = os.path.basename(place)
        raise Refused.because(f"{name} is gone but its -wal file is there: restore a backup into a new home")
    return False


def open_database(place: str) -> sqlite3.Connection:
    home, name = os.path.split(place)
    if not is_folder(home or os.curdir):
        raise Refused.because(f"there is no home at {home}: `shelfbell init` makes one")
    try:
        if not database_exists(place):
            _create(place)
        with ExitStack() as opened:
            connection = opened.enter_context(closing(sqlite3.connect(place, timeout=60, isolation_level=None)))
            _set_up(connection, name)
            opened.pop_all()
            return connection
    except (sqlite3.DatabaseError, OSError) as error:
        damaged = isinstance(error, sqlite3.DatabaseError) and not isinstance(error, sqlite3.OperationalError)
        way = f". {WAY_BACK}" if damaged else ""
        raise Refused.because(f"the database {name} cannot be opened: {error}{way}") from None


def _set_up(connection: sqlite3.Connection, name: str) -> None:
    """Set up a connection and its layout. Raises Refused if it is no log of ours."""
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version == 0:
        raise Refused.because(f"{name} is no event log: move it away, or restore a backup")
    if version > SCHEMA_VERSION:
        raise Refused.because(f"the database {name} was written by a newer shelfbell (layout {version})")
    connection.execute("PRAGMA synchronous=FULL")  # NORMAL would lose acknowledged entries in a power cut
    connection.execute(f"PRAGMA cache_size={-_HELD}")
    if version < SCHEMA_VERSION:
        _bring_up(connection, version)


def _bring_up(connection: sqlite3.Connection, version: int) -> None:
    """Bring a database of an older layout up to this one: whole, or not at all."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        if version == 1:
            _file_jobs(connection)
        connection.execute("DROP INDEX idx_events_target")
        connection.execute(_BY_TARGET)
        connection.execute("DROP TRIGGER no_replace")
        connection.execute(NO_REPLACE)
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def _file_jobs(connection: sqlite3.Connection) -> None:
    """File the events of each job, and their corrections, under the job's own name."""
    connection.execute(_BY_AT)
    rows = connection.execute("SELECT seq, body FROM events WHERE what IN ('booked', 'cancelled')").fetchall()
    filed = {(name, seq) for seq, body in rows for name in concerned(json.loads(body)) if name.startswith(JOB)}
    insert = "INSERT OR IGNORE INTO concerned (item, seq) VALUES (?, ?)"
    connection.executemany(insert, sorted(filed))
    more = f"""SELECT item, x.seq FROM events x JOIN events e ON x.target = e.id JOIN concerned c ON c.seq = e.seq
               WHERE substr(item, 1, {len(JOB)}) = '{JOB}' ORDER BY x.seq"""
    while connection.executemany(insert, connection.execute(more).fetchall()).rowcount > 0:
        pass  # a correction of a correction takes the names of both


# INSERT OR REPLACE deletes without firing the delete trigger.
NO_REPLACE = """CREATE TRIGGER no_replace BEFORE INSERT ON events
       WHEN EXISTS (SELECT 1 FROM events WHERE seq = NEW.seq) OR EXISTS (SELECT 1 FROM events WHERE id = NEW.id)
       BEGIN SELECT RAISE(ABORT, 'this event is there already'); END"""
TRIGGERS = (
    """CREATE TRIGGER no_update BEFORE UPDATE ON events
       BEGIN SELECT RAISE(ABORT, 'events are never changed: log one with instead_of'); END""",
    """CREATE TRIGGER no_delete BEFORE DELETE ON events
       BEGIN SELECT RAISE(ABORT, 'events are never deleted: log struck'); END""",
    NO_REPLACE,
)  # fmt: skip


def _create(place: str) -> None:
    """Lay out a new database aside and move it into place, one process at a time."""
    import fcntl

    home = os.open(os.path.dirname(place) or os.curdir, os.O_RDONLY)
    old = os.umask(0o077)
    try:
        fcntl.flock(home, fcntl.LOCK_EX)
        if not _stat(place):
            new = f"{place}.new"
            with suppress(FileNotFoundError):
                os.unlink(new)
            _write(new)
            os.rename(new, place)
    finally:
        os.umask(old)
        os.close(home)


def _write(place: str) -> None:
    """Write a new database. Only this imports sqlite_utils, which takes long to load."""
    import sqlite_utils

    with closing(sqlite3.connect(place)) as connection:
        db = sqlite_utils.Database(connection)
        db.enable_wal()
        with db.atomic():
            _lay_out(db)
            db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


def _lay_out(db: object) -> None:
    db["events"].create(  # type: ignore[index]
        {"seq": int, "id": str, "at": int, "recorded_at": int, "what": str, "target": str, "body": str},
        pk="seq",
        not_null={"id", "at", "recorded_at", "what", "body"},
        strict=True,
    )
    db["events"].create_index(["id"], unique=True)  # type: ignore[index]
    db["events"].create_index(["recorded_at"])  # type: ignore[index]
    db.execute(_BY_AT)  # type: ignore[attr-defined]
    db.execute(_BY_TARGET)  # type: ignore[attr-defined]
    db.execute("CREATE TABLE concerned (item TEXT, seq INTEGER, PRIMARY KEY (item, seq)) STRICT, WITHOUT ROWID")  # type: ignore[attr-defined]
    for trigger in TRIGGERS:
        db.execute(trigger)  # type: ignore[attr-defined]
