"""The event log in SQLite: the database refuses every update and deletion.

State is always as if events had arrived in order: by `at`, then `recorded_at`, then `id`. `corrections` defines which
events count ("in force"); the queries here say the same.
"""

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cached_property, partial
from itertools import chain, islice
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.findings import Refused
from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT
from scheduler.events.corrections import filed_names
from scheduler.events.database import NO_REPLACE, database_exists, open_database
from scheduler.events.event import HOME, JOB, JOBS, Event, concerned
from scheduler.events.source import Source, latest_and_after

if TYPE_CHECKING:
    from pathlib import Path

_COLUMNS = "at, recorded_at, seq, target, body"
"""The columns read of an event; its body has the rest."""
_BATCH = 1000
"""Rows decoded in one go: one call is quicker than many, and its events share their field names."""
_INSERTED = 500
"""Rows inserted by one statement: as there is a trigger, SQLite prepares to undo each statement, which takes the longer
the larger the log is."""
# The corrections of e; and those that were recorded before e, or before what e corrects, with the same target.
_CORRECTED = "SELECT x.id FROM events x WHERE x.target = e.id AND x.recorded_at <= :known AND x.seq < :before"
_BEATEN = """WITH RECURSIVE link (target, recorded_at, id) AS (
        SELECT e.target, e.recorded_at, e.id
        UNION SELECT y.target, y.recorded_at, y.id FROM link JOIN events y ON y.id = link.target
        WHERE y.target IS NOT NULL AND y.recorded_at <= :known AND y.seq < :before)
    SELECT x.id FROM link JOIN events x ON x.target = link.target
    WHERE (x.recorded_at, x.id) < (link.recorded_at, link.id) AND x.recorded_at <= :known AND x.seq < :before"""
_FIRST = "ORDER BY x.recorded_at, x.id LIMIT 1"
_TAKEN_BACK_BY = f"coalesce(({_CORRECTED} {_FIRST}), CASE WHEN e.target IS NOT NULL THEN ({_BEATEN} {_FIRST}) END)"
_IS_IN_FORCE = f"""recorded_at <= :known AND seq < :before AND NOT EXISTS ({_CORRECTED})
    AND (e.target IS NULL OR NOT EXISTS ({_BEATEN}))"""
_FAMILY = """WITH RECURSIVE tied (id) AS (
        SELECT :id UNION SELECT :target
        UNION SELECT target FROM tied JOIN events USING (id) WHERE target IS NOT NULL
        UNION SELECT events.id FROM tied JOIN events ON target = tied.id)"""
# The places in the outer loop: SQLite would sort them first.
_AT_PLACES = (
    f"SELECT {_COLUMNS} FROM (SELECT value FROM json_each(:places)) CROSS JOIN events e "
    f"WHERE seq = value AND {_IS_IN_FORCE}"
)
_IN_ORDER = "ORDER BY at, recorded_at, id"
_IN_FORCE = f"SELECT {_COLUMNS} FROM events e WHERE {{where}} AND {_IS_IN_FORCE} {_IN_ORDER}"
_ALWAYS = {"known": MAX_INSTANT, "before": MAX_INSTANT}


class EventRow(NamedTuple):
    """One event about to be appended. `target`: the id that it corrects."""

    id: str
    at: int
    recorded_at: int
    what: str
    target: str | None
    body: str
    concerned: tuple[str, ...]


_ID, _WHAT = itemgetter("id"), itemgetter("what")
_event_of = partial(tuple.__new__, Event)
"""Makes an event of its six fields. `Event._make` would count them each time."""


def _event(row: tuple) -> Event:
    return next(_events([row]))


def _events(rows: Iterable[tuple]) -> Iterator[Event]:
    """Return the events of rows, decoded by the batch."""
    rows = iter(rows)
    while batch := list(islice(rows, _BATCH)):
        at, recorded_at, seq, _target, bodies = zip(*batch, strict=True)
        fields = json.loads(f"[{','.join(bodies)}]")
        yield from map(_event_of, zip(at, recorded_at, map(_ID, fields), seq, map(_WHAT, fields), fields, strict=True))


def _family(connection: sqlite3.Connection, event: Event) -> list[Event]:
    query = f"{_FAMILY} SELECT {_COLUMNS} FROM tied JOIN events USING (id) {_IN_ORDER}"
    return list(_events(connection.execute(query, {"id": event.id, "target": event.target})))


class Log:
    """The event log of one home; empty while the home has no database.

    It opens the database when first needed.
    """

    def __init__(self, path: "str | os.PathLike[str]") -> None:
        self._place = os.fspath(path)
        self._connection: sqlite3.Connection | None = None

    @cached_property
    def path(self) -> "Path":
        """The place of the database, there or not."""
        from pathlib import Path

        return Path(self._place)

    def exists(self) -> bool:
        """Return True if there is a database. Raises Refused if only its journal is left."""
        return database_exists(self._place)

    @property
    def connection(self) -> sqlite3.Connection:
        """The connection, opened and if need be created on first use. Raises Refused."""
        if self._connection is None:
            self._connection = open_database(self._place)
        return self._connection

    def close(self) -> None:
        """Close the connection, if any is open."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def wait(self, seconds: float) -> None:
        """Set how long to wait for another process that has locked the database."""
        self.connection.execute(f"PRAGMA busy_timeout = {round(seconds * 1000)}")

    def place(self) -> int:
        """Return the place of the last entry; 0 if there is none."""
        return int(self.connection.execute("SELECT coalesce(max(seq), 0) FROM events").fetchone()[0])

    def last_id(self, recorded_at: int) -> str:
        """Return the greatest id recorded at one instant; "" if nothing was recorded then."""
        found = self._rows(
            "SELECT coalesce(max(id), '') FROM events WHERE recorded_at = :at AND length(id) = 8", at=recorded_at
        )
        return next((str(row[0]) for row in found), "")

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Read everything in the block as of one moment, whatever others write meanwhile."""
        self.connection.execute("BEGIN")
        try:
            yield
        finally:
            self.connection.execute("COMMIT")

    def transaction(self) -> "Transaction":
        """Return a write transaction: BEGIN IMMEDIATE, rolled back if its block raises."""
        return Transaction(self.connection)

    def of(
        self, name: str, what: str | None = None, known: int = MAX_INSTANT, before: int = MAX_INSTANT
    ) -> list[Event]:
        """Return the events that count under a name, in order; if `what`, of that kind.

        Only those recorded by `known`, and before the place `before` in the log.
        """
        return LogReader(self, known, before).of(name, what)

    def rows_of(
        self, name: str, known: int, before: int, what: str | None = None, but: str | None = None
    ) -> list[tuple]:
        """Return the rows of `of`, with corrections that are here only for their targets.

        `but`: a kind to leave out.
        """
        where = "seq IN (SELECT seq FROM concerned WHERE item = :name)"
        where += " AND what = :what" if what else " AND what != :but" if but else ""
        given = {"name": name, "known": known, "before": before, "what": what, "but": but}
        return list(self._rows(_IN_FORCE.format(where=where), **given))

    def places_of(self, name: str, what: str, known: int, before: int) -> list[tuple[int, int, str | None]]:
        """Return the instant, the place and the target of each event of `of`, in order."""
        where = "seq IN (SELECT seq FROM concerned WHERE item = :name) AND what = :what"
        query = _IN_FORCE.format(where=where).replace(_COLUMNS, "at, seq, target", 1)
        return list(self._rows(query, name=name, what=what, known=known, before=before))

    def in_force(self, known: int = MAX_INSTANT) -> Iterator[Event]:
        """Return every event that counts, in order."""
        return _events(self._rows(_IN_FORCE.format(where="TRUE"), known=known, before=MAX_INSTANT))

    def filed(self, names: list[str]) -> list[tuple[str, int]]:
        """Return (name, place) for each event filed under some names, counting or not."""
        query = "SELECT item, seq FROM concerned WHERE item IN (SELECT value FROM json_each(:names))"
        return list(self._rows(query, names=json.dumps(names)))

    def rows_at(self, places: Iterable[int], known: int, before: int) -> Iterable[tuple]:
        """Return the rows of the events at some places, in no order, as far as they count."""
        return self._rows(_AT_PLACES, places=json.dumps(sorted(places)), known=known, before=before)

    def instants(self, known: int = MAX_INSTANT, before: int = MAX_INSTANT, since: int = MIN_INSTANT) -> set[int]:
        """Return when events that count, other than strikes, happened.

        The last by `since`, and all later ones.
        """
        # SQLite would rather go through all places than through the instants since then
        by_at = _IN_FORCE.replace(f"{_COLUMNS} FROM events e", "at FROM events e INDEXED BY idx_events_at", 1)
        query = by_at.removesuffix(_IN_ORDER)
        later = query.format(where="what != 'struck' AND at > :since")
        last = query.format(where="what != 'struck' AND at <= :since") + "ORDER BY at DESC LIMIT 1"
        values = {"known": known, "before": before, "since": since}
        return {at for part in (later, last) for (at,) in self._rows(part, **values)}

    def names(self) -> list[str]:
        """Return every name under which something is filed."""
        return [row[0] for row in self._rows("SELECT DISTINCT item FROM concerned ORDER BY item")]

    def items(self) -> list[str]:
        """Return the items of the fleet that entries concern.

        `seen`, `snoozed` and strikes are left out: the first two may name what was never in the fleet, and a strike is
        filed under all that it takes back.
        """
        rows = self._rows(
            "SELECT DISTINCT item FROM concerned JOIN events USING (seq) "
            "WHERE what NOT IN ('seen', 'snoozed', 'struck') "
            "AND item NOT IN (:jobs, :home) AND substr(item, 1, 4) != :job ORDER BY item",
            jobs=JOBS,
            home=HOME,
            job=JOB,
        )
        return [row[0] for row in rows]

    def history(self, name: str | None = None) -> Iterator[tuple[Event, str | None]]:
        """Return every event, whether it counts or not, each with its `taken_back_by`."""
        where = "seq IN (SELECT seq FROM concerned WHERE item = :name)" if name is not None else "TRUE"
        query = f"SELECT {_COLUMNS}, {_TAKEN_BACK_BY} FROM events e WHERE {where} {_IN_ORDER}"
        return ((_event(row[:5]), row[5]) for row in self._rows(query, name=name, **_ALWAYS))

    def lines(self) -> Iterator[str]:
        """Return every event as a line for exchange, in the order of arrival."""
        return (row[0] for row in self._rows("SELECT body FROM events ORDER BY seq"))

    def find(self, event_id: str) -> Event | None:
        """Return the event of an id, whether it counts or not."""
        row = next(iter(self._rows(f"SELECT {_COLUMNS} FROM events e WHERE id = :id", id=event_id)), None)
        return _event(row) if row else None

    def taken_back_by(self, event_id: str) -> str | None:
        """Return the id of the correction that makes an event not count, if any does.

        That is the first correction of it; else the one that corrected first what it, or its target, was to correct.
        """
        query = f"SELECT {_TAKEN_BACK_BY} FROM events e WHERE id = :id"
        row = next(iter(self._rows(query, id=event_id, **_ALWAYS)), None)
        return row[0] if row else None

    def family(self, event: Event) -> list[Event]:
        """Return an event and all that corrections tie to it: these decide what counts."""
        return _family(self.connection, event)

    def touched_by(self, event: Event) -> tuple[str, ...]:
        """Return the names an event and its `family` are filed under; its own first."""
        return tuple(dict.fromkeys(name for one in (event, *self.family(event)) for name in concerned(one.fields)))

    def told_in(self, after: int, to: int) -> list[Event]:
        """Return the events recorded in (after, to], counting or not, as they arrived."""
        query = f"SELECT {_COLUMNS} FROM events WHERE recorded_at > :after AND recorded_at <= :to ORDER BY seq"
        return list(_events(self._rows(query, after=after, to=to)))

    def between(self, after: int, to: int) -> list[Event]:
        """Return the events at places in (after, to], counting or not, as they arrived."""
        query = f"SELECT {_COLUMNS} FROM events WHERE seq > :after AND seq <= :to ORDER BY seq"
        return list(_events(self._rows(query, after=after, to=to)))

    def newest(self) -> Event | None:
        """Return the event recorded last of those that count."""
        counting = f"FROM events e WHERE {_IS_IN_FORCE}"
        # First the instant alone, by its index: ordered by id too, SQLite would sort the whole log at every wake.
        last = f"SELECT recorded_at {counting} ORDER BY recorded_at DESC LIMIT 1"
        query = f"SELECT {_COLUMNS} {counting} AND recorded_at = ({last}) ORDER BY id DESC LIMIT 1"
        row = next(iter(self._rows(query, **_ALWAYS)), None)
        return _event(row) if row else None

    def version(self) -> int:
        """Return a number that changes whenever another connection has written."""
        return int(self.connection.execute("PRAGMA data_version").fetchone()[0])

    def _rows(self, query: str, **values: object) -> Iterable[tuple]:
        if self._connection is None and not self.exists():
            return ()
        return self.connection.execute(query, values)


class LogReader(Source):
    """The events of a log for one wake or answer.

    It reads what was recorded by `known` and lies before the place `before`. Each event is decoded once, however many
    names it is filed under, and nothing is read twice, so what others write meanwhile does not show.
    """

    def __init__(self, log: Log, known: int = MAX_INSTANT, before: int = MAX_INSTANT) -> None:
        self._log = log
        self._known = known
        self._before = before
        self._decoded: dict[int, Event] = {}
        self._corrections: set[int] = set()
        self._places: dict[tuple[str, str], list[tuple[int, int]]] = {}

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """Return the events that count under a name, in order; if `what`, of that kind."""
        return self._events(name, self._log.rows_of(name, self._known, self._before, what=what))

    def all_but(self, name: str, what: str) -> list[Event]:
        """Return the events that count under a name, in order, without those of one kind."""
        return self._events(name, self._log.rows_of(name, self._known, self._before, but=what))

    def latest_and_after(self, name: str, what: str, since: int) -> list[Event]:
        """Return the events of a kind under a name: the last by `since`, and all later."""
        places = [place for _, place in latest_and_after(self._placed_under(name, what), since)]
        self._decode_at(places)
        if any(place not in self._decoded for place in places):  # struck between the two questions
            return super().latest_and_after(name, what, since)
        return [self._decoded[place] for place in places]

    def _placed_under(self, name: str, what: str) -> list[tuple[int, int]]:
        """Return (instant, place) of each event of a kind filed under a name, in order."""
        if (name, what) not in self._places:
            rows = self._log.places_of(name, what, self._known, self._before)
            self._decode_at(place for _, place, target in rows if target is not None)
            its = (row for row in rows if row[2] is None or self._concerns(row[1], name))
            self._places[name, what] = [(at, place) for at, place, _ in its]
        return self._places[name, what]

    def first_at(self, name: str, what: str) -> int | None:
        """Return when the first event of a kind under a name happened, if any."""
        return next((at for at, _ in self._placed_under(name, what)), None)

    def _events(self, name: str, rows: list[tuple]) -> list[Event]:
        self._decode(rows)
        return [self._decoded[row[2]] for row in rows if row[3] is None or self._concerns(row[2], name)]

    def _decode(self, rows: Iterable[tuple]) -> None:
        """Decode the rows not yet decoded, noting the places of corrections."""
        fresh = [row for row in rows if row[2] not in self._decoded]
        self._corrections.update(row[2] for row in fresh if row[3] is not None)
        self._decoded.update((event.seq, event) for event in _events(fresh))

    def _decode_at(self, places: Iterable[int]) -> None:
        """Decode the events at some places that are not yet decoded."""
        fresh = {place for place in places if place not in self._decoded}
        if fresh:
            self._decode(self._log.rows_at(fresh, self._known, self._before))

    def _concerns(self, place: int, name: str) -> bool:
        """Return False for a correction filed under a name only because of its target."""
        return name in concerned(self._decoded[place].fields)

    def of_each(self, names: list[str]) -> dict[str, list[Event]]:
        """Return the events filed under each of some names, with one query."""
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
        """Return a new reader of the same events with nothing read yet."""
        return LogReader(self._log, self._known, self._before)

    def instants(self, names: Iterable[str], since: int = MIN_INSTANT) -> set[int]:
        """Return when entries other than strikes happened, whatever the names."""
        return self._log.instants(self._known, self._before, since)


class Transaction:
    """One write transaction: all that its block writes is there after it, or nothing."""

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
        """Append events, in order. Raises sqlite3.IntegrityError for an id already there."""
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

    def file_corrections(self, after: int) -> None:
        """File each correction under the names of its target too.

        Only if either of them was appended after the place `after`.
        """
        query = f"""SELECT {_COLUMNS} FROM events e WHERE seq > ?
            AND (target IS NOT NULL OR EXISTS (SELECT 1 FROM events x WHERE x.target = e.id))"""
        done: set[str] = set()
        for event in _events(self.execute(query, (after,)).fetchall()):
            if event.id not in done:
                family = _family(self._connection, event)
                by_id = {one.id: one for one in family}
                done |= by_id.keys()
                filed = [(name, one.seq) for one in family if one.target for name in filed_names(one, by_id)]
                self._connection.executemany("INSERT OR IGNORE INTO concerned (item, seq) VALUES (?, ?)", filed)

    @contextmanager
    def unguarded(self) -> Iterator[None]:
        """Append without the trigger against replacing: quicker for many events.

        The unique indexes remain. Nobody else can write before the trigger is back, and a block that raises undoes its
        removal.
        """
        self.execute("DROP TRIGGER no_replace")
        yield
        self.execute(NO_REPLACE)

    def execute(self, query: str, values: Iterable[object] | dict[str, object] = ()) -> sqlite3.Cursor:
        """Run one statement inside the transaction."""
        return self._connection.execute(query, values)  # type: ignore[arg-type]
