"""The event log in SQLite. Nothing in it is ever updated or deleted: the database itself refuses.

An event is *in force* unless a later one took it back (`struck`) or its place (`instead_of`). State is always as if
events had arrived in order: by `at`, then `recorded_at`, then place in the log.
"""

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import cached_property, partial
from itertools import chain, islice
from operator import itemgetter
from stat import S_ISDIR
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.findings import Refused
from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT
from scheduler.events.event import HOME, JOB, JOBS, Event, concerned
from scheduler.events.source import Source, standing

if TYPE_CHECKING:
    from pathlib import Path

SCHEMA_VERSION = 2
"""Since 2 the events of a job are filed under its own name too, and can be looked up by when they happened."""
_BY_AT = "CREATE INDEX IF NOT EXISTS idx_events_at ON events (at)"
WAY_BACK = (
    "Stop the daemon, keep the file, then `shelfbell --home NEW restore BACKUP`; "
    "`shelfbell export` may save what can still be read"
)
_COLUMNS = "at, recorded_at, seq, target, body"
"""What is read of an event: all else is told in its body."""
_BATCH = 1000
"""Rows decoded in one go: one call is quicker than many, and its events share their field names."""
_HELD = 16_000
"""Kilobytes of the database held in memory at most: items are read one after another, and theirs lie side by side."""
_INSERTED = 500
"""Rows inserted by one statement: as there is a trigger, SQLite prepares to undo each statement, which takes the longer
the larger the log is."""
_STANDS = """recorded_at <= :known AND seq < :before
    AND NOT EXISTS (SELECT 1 FROM events x WHERE x.target = e.id AND x.recorded_at <= :known AND x.seq < :before)"""
# The places in the outer loop: SQLite would sort them first.
_AT_PLACES = (
    f"SELECT {_COLUMNS} FROM (SELECT value FROM json_each(:places)) CROSS JOIN events e WHERE seq = value AND {_STANDS}"
)
_IN_FORCE = f"SELECT {_COLUMNS} FROM events e WHERE {{where}} AND {_STANDS} ORDER BY at, recorded_at, seq"


class EventRow(NamedTuple):
    """One event about to be appended. `target`: the id it takes back or whose place it takes."""

    id: str
    at: int
    recorded_at: int
    what: str
    target: str | None
    body: str
    concerned: tuple[str, ...]


_ID, _WHAT = itemgetter("id"), itemgetter("what")
_event_of = partial(tuple.__new__, Event)
"""An event of its six fields: as `Event._make`, which would count them each time."""


def _event(row: tuple) -> Event:
    return next(_events([row]))


def _events(rows: Iterable[tuple]) -> Iterator[Event]:
    """The events of rows, decoded by the batch."""
    rows = iter(rows)
    while batch := list(islice(rows, _BATCH)):
        at, recorded_at, seq, _target, bodies = zip(*batch, strict=True)
        told = json.loads(f"[{','.join(bodies)}]")
        yield from map(_event_of, zip(at, recorded_at, seq, map(_ID, told), map(_WHAT, told), told, strict=True))


class Log:
    """The event log of one home. Opens the database when first needed; a home without one is an empty log."""

    def __init__(self, path: "str | os.PathLike[str]") -> None:
        self._place = os.fspath(path)
        self._connection: sqlite3.Connection | None = None

    @cached_property
    def path(self) -> "Path":
        """Where the database is, or will be."""
        from pathlib import Path

        return Path(self._place)

    def exists(self) -> bool:
        """True when the database is there. Raises Refused where it is gone and has left its journal behind."""
        return _there(self._place)

    @property
    def connection(self) -> sqlite3.Connection:
        """The connection, opened and where need be created on first use. Raises Refused."""
        if self._connection is None:
            self._connection = _open(self._place)
        return self._connection

    def close(self) -> None:
        """Close the connection, if any is open."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def wait(self, seconds: float) -> None:
        """Wait for so long, from now on, where another process has locked the database."""
        self.connection.execute(f"PRAGMA busy_timeout = {round(seconds * 1000)}")

    def place(self) -> int:
        """The place of the last entry; 0 where there is none."""
        return int(self.connection.execute("SELECT coalesce(max(seq), 0) FROM events").fetchone()[0])

    @contextmanager
    def reading(self) -> Iterator[None]:
        """What is read within the block is read as it stood at one moment, whatever others write meanwhile."""
        self.connection.execute("BEGIN")
        try:
            yield
        finally:
            self.connection.execute("COMMIT")

    def transaction(self) -> "Transaction":
        """A write transaction, begun at once (BEGIN IMMEDIATE), undone when its block raises."""
        return Transaction(self.connection)

    def of(
        self, name: str, what: str | None = None, known: int = MAX_INSTANT, before: int = MAX_INSTANT
    ) -> list[Event]:
        """The events in force that concern an item (or "job", "home"), in order; of one kind where `what` names it.

        Only from what was recorded by `known`, and stands before place `before` in the log.
        """
        return LogReader(self, known, before).of(name, what)

    def rows_of(
        self, name: str, known: int, before: int, what: str | None = None, but: str | None = None
    ) -> list[tuple]:
        """The rows of `of`, those of corrections of what concerns the name included; `but`: not those of a kind."""
        where = "seq IN (SELECT seq FROM concerned WHERE item = :name)"
        where += " AND what = :what" if what else " AND what != :but" if but else ""
        given = {"name": name, "known": known, "before": before, "what": what, "but": but}
        return list(self._rows(_IN_FORCE.format(where=where), **given))

    def places_of(self, name: str, what: str, known: int, before: int) -> list[tuple[int, int, str | None]]:
        """When each event of `of` happened, its place in the log, and what it corrects, in order."""
        where = "seq IN (SELECT seq FROM concerned WHERE item = :name) AND what = :what"
        query = _IN_FORCE.format(where=where).replace(_COLUMNS, "at, seq, target", 1)
        return list(self._rows(query, name=name, what=what, known=known, before=before))

    def in_force(self, known: int = MAX_INSTANT) -> Iterator[Event]:
        """Every event in force, in order."""
        return _events(self._rows(_IN_FORCE.format(where="TRUE"), known=known, before=MAX_INSTANT))

    def filed(self, names: list[str]) -> list[tuple[str, int]]:
        """Each of some names with the place of each event filed under it, in force or not."""
        query = "SELECT item, seq FROM concerned WHERE item IN (SELECT value FROM json_each(:names))"
        return list(self._rows(query, names=json.dumps(names)))

    def rows_at(self, places: Iterable[int], known: int, before: int) -> Iterable[tuple]:
        """The rows of the events at some places, as far as they are in force, in no order."""
        return self._rows(_AT_PLACES, places=json.dumps(sorted(places)), known=known, before=before)

    def instants(self, known: int = MAX_INSTANT, before: int = MAX_INSTANT, since: int = MIN_INSTANT) -> set[int]:
        """When all that is in force happened, strikes apart: the last of it before `since`, and what came later."""
        # SQLite would rather go through all places than through the instants since then
        by_at = _IN_FORCE.replace(f"{_COLUMNS} FROM events e", "at FROM events e INDEXED BY idx_events_at")
        query = by_at.split("ORDER BY")[0]
        later = query.format(where="what != 'struck' AND at > :since")
        last = query.format(where="what != 'struck' AND at <= :since") + "ORDER BY at DESC LIMIT 1"
        values = {"known": known, "before": before, "since": since}
        return {at for part in (later, last) for (at,) in self._rows(part, **values)}

    def names(self) -> list[str]:
        """Every name under which something is filed."""
        return [row[0] for row in self._rows("SELECT DISTINCT item FROM concerned ORDER BY item")]

    def items(self) -> list[str]:
        """The items of the fleet that any entry concerns, by what was logged of them."""
        rows = self._rows(
            "SELECT DISTINCT item FROM concerned JOIN events USING (seq) WHERE what NOT IN ('seen', 'snoozed') "
            "AND item NOT IN (:jobs, :home) AND substr(item, 1, 4) != :job ORDER BY item",
            jobs=JOBS,
            home=HOME,
            job=JOB,
        )
        return [row[0] for row in rows]

    def history(self, name: str | None = None) -> Iterator[tuple[Event, str | None]]:
        """Every event with the id of the one that took it back or its place, if any; struck ones included."""
        where = "seq IN (SELECT seq FROM concerned WHERE item = :name)" if name is not None else "TRUE"
        rows = self._rows(
            f"SELECT {_COLUMNS}, (SELECT x.id FROM events x WHERE x.target = e.id) FROM events e WHERE {where} "
            "ORDER BY at, recorded_at, seq",
            name=name,
        )
        return ((_event(row[:5]), row[5]) for row in rows)

    def lines(self) -> Iterator[str]:
        """Every event as it is interchanged, in the order of arrival."""
        return (row[0] for row in self._rows("SELECT body FROM events ORDER BY seq"))

    def find(self, event_id: str) -> Event | None:
        """The event of that id, in force or not."""
        row = next(iter(self._rows(f"SELECT {_COLUMNS} FROM events e WHERE id = :id", id=event_id)), None)
        return _event(row) if row else None

    def taken_back_by(self, event_id: str) -> str | None:
        """The id of the event that took this one back or its place."""
        row = next(iter(self._rows("SELECT id FROM events WHERE target = :id", id=event_id)), None)
        return row[0] if row else None

    def taken_back(self, event: Event) -> list[Event]:
        """What an event took back, or the place of: one after another, the nearest first."""
        found: list[Event] = []
        while (target := (found or [event])[-1].target) and (before := self.find(target)) is not None:
            found.append(before)
        return found

    def filed_under(self, event: Event) -> tuple[str, ...]:
        """The names under which an event is filed: its own, and those of what it corrects."""
        chain = (event, *self.taken_back(event))
        return tuple(dict.fromkeys(name for each in chain for name in concerned(each.fields)))

    def told_in(self, after: int, to: int) -> list[Event]:
        """The events recorded in (after, to], in force or not, in order of arrival."""
        query = f"SELECT {_COLUMNS} FROM events WHERE recorded_at > :after AND recorded_at <= :to ORDER BY seq"
        return list(_events(self._rows(query, after=after, to=to)))

    def between(self, after: int, to: int) -> list[Event]:
        """The events at places in (after, to], in force or not, in order of arrival."""
        query = f"SELECT {_COLUMNS} FROM events WHERE seq > :after AND seq <= :to ORDER BY seq"
        return list(_events(self._rows(query, after=after, to=to)))

    def newest(self) -> Event | None:
        """The event in force that was recorded last."""
        query = _IN_FORCE.split("ORDER BY")[0].format(where="TRUE") + "ORDER BY recorded_at DESC, seq DESC LIMIT 1"
        row = next(iter(self._rows(query, known=MAX_INSTANT, before=MAX_INSTANT)), None)
        return _event(row) if row else None

    def version(self) -> int:
        """A number that changes when another connection has written."""
        return int(self.connection.execute("PRAGMA data_version").fetchone()[0])

    def _rows(self, query: str, **values: object) -> Iterable[tuple]:
        if self._connection is None and not self.exists():
            return ()
        return self.connection.execute(query, values)


class LogReader(Source):
    """The events of a log as a book asks for them, from what was recorded by `known` and stands before place `before`:
    each is decoded once, however many names it is filed under. It is for one look: what was read is not read again."""

    def __init__(self, log: Log, known: int = MAX_INSTANT, before: int = MAX_INSTANT) -> None:
        self._log = log
        self._known = known
        self._before = before
        self._decoded: dict[int, Event] = {}
        self._corrections: set[int] = set()
        self._places: dict[tuple[str, str], list[tuple[int, int]]] = {}

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """The events in force filed under a name, in order; of one kind where `what` names it."""
        return self._events(name, self._log.rows_of(name, self._known, self._before, what=what))

    def all_but(self, name: str, what: str) -> list[Event]:
        """The events in force filed under a name, in order, but for those of one kind."""
        return self._events(name, self._log.rows_of(name, self._known, self._before, but=what))

    def standing(self, name: str, what: str, since: int) -> list[Event]:
        """Of the events in force of one kind filed under a name: the last at or before an instant, and those after."""
        places = [place for _, place in standing(self._placed_under(name, what), since)]
        self._decode_at(places)
        if any(place not in self._decoded for place in places):  # struck between the two questions
            return super().standing(name, what, since)
        return [self._decoded[place] for place in places]

    def _placed_under(self, name: str, what: str) -> list[tuple[int, int]]:
        """When each event in force of a kind filed under a name happened, and its place in the log, in order."""
        if (name, what) not in self._places:
            rows = self._log.places_of(name, what, self._known, self._before)
            self._decode_at(place for _, place, target in rows if target is not None)
            its = (row for row in rows if row[2] is None or self._concerns(row[1], name))
            self._places[name, what] = [(at, place) for at, place, _ in its]
        return self._places[name, what]

    def first_at(self, name: str, what: str) -> int | None:
        """When the first event in force of a kind filed under a name happened; None without any."""
        return next((at for at, _ in self._placed_under(name, what)), None)

    def _events(self, name: str, rows: list[tuple]) -> list[Event]:
        self._decode(rows)
        return [self._decoded[row[2]] for row in rows if row[3] is None or self._concerns(row[2], name)]

    def _decode(self, rows: Iterable[tuple]) -> None:
        """Decode the rows that were not yet, noting the places of corrections."""
        fresh = [row for row in rows if row[2] not in self._decoded]
        self._corrections.update(row[2] for row in fresh if row[3] is not None)
        self._decoded.update((event.seq, event) for event in _events(fresh))

    def _decode_at(self, places: Iterable[int]) -> None:
        """Decode the events at some places that were not yet."""
        fresh = {place for place in places if place not in self._decoded}
        if fresh:
            self._decode(self._log.rows_at(fresh, self._known, self._before))

    def _concerns(self, place: int, name: str) -> bool:
        """Of a correction: false where it is filed under the name of what it corrects only."""
        return name in concerned(self._decoded[place].fields)

    def of_each(self, names: list[str]) -> dict[str, list[Event]]:
        """The events filed under each of some names: one question where there are several."""
        found: dict[str, list[Event]] = {name: [] for name in names}
        filed, decoded, corrections = self._log.filed(names), self._decoded, self._corrections
        self._decode_at(place for _, place in filed)
        for name, place in filed:
            event = decoded.get(place)
            if event is not None and (place not in corrections or self._concerns(place, name)):
                found[name].append(event)
        for events in found.values():
            events.sort()
        return found

    def afresh(self) -> "LogReader":
        """The same, with nothing decoded yet."""
        return LogReader(self._log, self._known, self._before)

    def instants(self, names: Iterable[str], since: int = MIN_INSTANT) -> set[int]:
        """When all that is filed under some names happened: all entries but strikes, where an item of each is named."""
        return self._log.instants(self._known, self._before, since)


class Transaction:
    """One write transaction. What is written inside its block is there whole after it, or not at all."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def __enter__(self) -> "Transaction":
        try:
            self._connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            raise Refused.because(f"the database cannot be written: {error}") from None
        return self

    def __exit__(self, kind: type | None, *_: object) -> None:
        try:
            if kind is None:
                self._connection.execute("COMMIT")
        finally:
            if self._connection.in_transaction:  # a full disk has SQLite roll back of itself
                self._connection.execute("ROLLBACK")

    def append(self, rows: list[EventRow]) -> None:
        """Append events, in order. Raises sqlite3.IntegrityError where an id, or a target, is there already."""
        first = self._connection.execute("SELECT coalesce(max(seq), 0) + 1 FROM events").fetchone()[0]
        values = ((seq, *row[:6]) for seq, row in enumerate(rows, first))
        while some := list(islice(values, _INSERTED)):
            marks = ", ".join(["(?, ?, ?, ?, ?, ?, ?)"] * len(some))
            self._connection.execute(
                f"INSERT INTO events (seq, id, at, recorded_at, what, target, body) VALUES {marks}",
                list(chain.from_iterable(some)),
            )
        self._connection.executemany(
            "INSERT INTO concerned (item, seq) VALUES (?, ?)",
            [(name, seq) for seq, row in enumerate(rows, first) for name in row.concerned],
        )

    @contextmanager
    def unguarded(self) -> Iterator[None]:
        """Within the block what is appended is held against the unique indexes alone: quicker where it is much.

        Nobody else can write before the guard stands again, and where the block raises it was never gone.
        """
        self.execute("DROP TRIGGER no_replace")
        yield
        self.execute(_NO_REPLACE)

    def execute(self, query: str, values: Iterable[object] | dict[str, object] = ()) -> sqlite3.Cursor:
        """Run one statement inside the transaction."""
        return self._connection.execute(query, values)  # type: ignore[arg-type]


def is_folder(place: str) -> bool:
    """True where a folder is. Raises OSError where that cannot be told."""
    found = _stat(place)
    return found is not None and S_ISDIR(found.st_mode)


def _stat(place: str) -> os.stat_result | None:
    try:
        return os.stat(place)
    except (FileNotFoundError, NotADirectoryError):
        return None


def _there(place: str) -> bool:
    if _stat(place):
        return True
    if _stat(f"{place}-wal"):
        name = os.path.basename(place)
        raise Refused.because(f"{name} is gone but its -wal file is there: restore a backup into a new home")
    return False


def _open(place: str) -> sqlite3.Connection:
    home, name = os.path.split(place)
    if not is_folder(home or os.curdir):
        raise Refused.because(f"there is no home at {home}: `shelfbell init` makes one")
    try:
        if not _there(place):
            _create(place)
        connection = sqlite3.connect(place, timeout=60, isolation_level=None)
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        connection.execute("PRAGMA synchronous=NORMAL")
        connection.execute(f"PRAGMA cache_size={-_HELD}")
        if version == 1:
            _bring_up(connection)
    except (sqlite3.DatabaseError, OSError) as error:
        damaged = isinstance(error, sqlite3.DatabaseError) and not isinstance(error, sqlite3.OperationalError)
        way = f". {WAY_BACK}" if damaged else ""
        raise Refused.because(f"the database {name} cannot be opened: {error}{way}") from None
    if version == 0:
        raise Refused.because(f"{name} is no event log: move it away, or restore a backup")
    if version > SCHEMA_VERSION:
        raise Refused.because(f"the database {name} was written by a newer shelfbell (layout {version})")
    return connection


def _bring_up(connection: sqlite3.Connection) -> None:
    """To the second layout. File the events of each job under its own name, and what corrects them, as new ones are."""
    with Transaction(connection) as transaction:
        transaction.execute(_BY_AT)
        rows = transaction.execute("SELECT seq, body FROM events WHERE what IN ('booked', 'cancelled')").fetchall()
        filed = {(name, seq) for seq, body in rows for name in concerned(json.loads(body)) if name.startswith(JOB)}
        insert = "INSERT OR IGNORE INTO concerned (item, seq) VALUES (?, ?)"
        connection.executemany(insert, sorted(filed))
        more = f"""SELECT item, x.seq FROM events x JOIN events e ON x.target = e.id JOIN concerned c ON c.seq = e.seq
                   WHERE substr(item, 1, {len(JOB)}) = '{JOB}' ORDER BY x.seq"""
        while connection.executemany(insert, transaction.execute(more).fetchall()).rowcount > 0:
            pass  # a correction of a correction takes the names of both
        transaction.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


# INSERT OR REPLACE deletes without firing the delete trigger.
_NO_REPLACE = """CREATE TRIGGER no_replace BEFORE INSERT ON events
       WHEN EXISTS (SELECT 1 FROM events WHERE seq = NEW.seq) OR EXISTS (SELECT 1 FROM events WHERE id = NEW.id)
       OR NEW.target IS NOT NULL AND EXISTS (SELECT 1 FROM events WHERE target = NEW.target)
       BEGIN SELECT RAISE(ABORT, 'this event is there already'); END"""
TRIGGERS = (
    """CREATE TRIGGER no_update BEFORE UPDATE ON events
       BEGIN SELECT RAISE(ABORT, 'events are never changed: log one with instead_of'); END""",
    """CREATE TRIGGER no_delete BEFORE DELETE ON events
       BEGIN SELECT RAISE(ABORT, 'events are never deleted: log struck'); END""",
    _NO_REPLACE,
)  # fmt: skip


def _create(place: str) -> None:
    """Lay out a new database beside its place and move it there whole, one process at a time."""
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
    """A new database. The only place that pays for sqlite_utils."""
    import sqlite_utils

    db = sqlite_utils.Database(sqlite3.connect(place))
    db.enable_wal()
    with db.atomic():
        _lay_out(db)
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    db.close()


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
    db.execute("CREATE UNIQUE INDEX idx_events_target ON events (target) WHERE target IS NOT NULL")  # type: ignore[attr-defined]
    db.execute("CREATE TABLE concerned (item TEXT, seq INTEGER, PRIMARY KEY (item, seq)) STRICT, WITHOUT ROWID")  # type: ignore[attr-defined]
    for trigger in TRIGGERS:
        db.execute(trigger)  # type: ignore[attr-defined]
