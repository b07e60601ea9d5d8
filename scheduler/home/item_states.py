"""The item states, kept in the database between wakes.

Delete them at any time: the next wake rebuilds them. They are valid for one fingerprint of files and program, up to one
place in the log. The dependencies of each item tell which of them newer entries may change.
"""

import json
import sqlite3
from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT
from scheduler.events.event import HOME, JOB, JOBS, concerned, corrects
from scheduler.events.log import Log, Transaction
from scheduler.facts.event_times import begins_at

if TYPE_CHECKING:
    from scheduler.facts.fact_store import HomeSummary
    from scheduler.reminders.item_state import ItemState

_CREATE = (
    """CREATE TABLE IF NOT EXISTS item_states (
        item TEXT PRIMARY KEY, next_at INTEGER NOT NULL, open INTEGER NOT NULL, news INTEGER NOT NULL,
        over_at INTEGER NOT NULL, first_at INTEGER, judged_at INTEGER) STRICT""",
    "CREATE INDEX IF NOT EXISTS states_judged ON item_states (judged_at, first_at) WHERE judged_at NOT NULL",
    "CREATE INDEX IF NOT EXISTS states_next ON item_states (next_at)",
    "CREATE INDEX IF NOT EXISTS states_news ON item_states (item) WHERE news",
    """CREATE TABLE IF NOT EXISTS dependencies (
        name TEXT NOT NULL, what TEXT NOT NULL, item TEXT NOT NULL, PRIMARY KEY (name, what, item))
        STRICT, WITHOUT ROWID""",
    """CREATE TABLE IF NOT EXISTS item_states_key (
        fingerprint TEXT NOT NULL, seq INTEGER NOT NULL, in_service INTEGER, open INTEGER NOT NULL) STRICT""",
)  # fmt: skip
_BEFORE_0_7 = ("folds", "rests_on", "folded")


class CacheKey(NamedTuple):
    """What item states are valid for: the fingerprint of a set-up, a place in the log."""

    fingerprint: str
    seq: int


class NewEntries(NamedTuple):
    """What some new entries may change.

    `filed`: (name, kind) of them and of the entries that corrections tie to them. `began`: the first instant that they
    concern; for a flight, take-off. `first_at`: when the first happened. `correct`: a correction ties one to another.
    """

    filed: set[tuple[str, str]]
    began: int
    first_at: int
    correct: bool

    @property
    def names(self) -> set[str]:
        """The names under which they are filed."""
        return {name for name, _ in self.filed}

    def jobs(self) -> set[str]:
        """Return the jobs among the names."""
        return {name.removeprefix(JOB) for name in self.names if name.startswith(JOB) and name != JOB}


def new_entries(log: Log, after: int, to: int) -> NewEntries:
    """Return what the entries at places in (after, to] of a log may change.

    There must be at least one.
    """
    new = log.between(after, to)
    filed: set[tuple[str, str]] = set()
    correct = False
    for event in new:
        family = log.family(event)  # a late target, or a correction recorded earlier, changes what it does not name
        kinds = {each.what for each in family}
        filed |= {(name, what) for each in family for name in concerned(each.fields) for what in kinds}
        correct |= corrects(event) or len(family) > 1
    return NewEntries(filed, min(map(begins_at, new)), min(event.at for event in new), correct)


class ItemStates:
    """The item states of one home."""

    def __init__(self, log: Log) -> None:
        self._log = log

    def _rows(self, query: str, *values: object) -> list[tuple]:
        try:
            return self._log.connection.execute(query, values).fetchall()
        except sqlite3.OperationalError as error:
            if "no such table" in str(error):  # no wake yet
                return []
            raise

    def key(self) -> CacheKey | None:
        """Return what the states are valid for; None without any."""
        rows = self._rows("SELECT fingerprint, seq FROM item_states_key")
        return CacheKey(*rows[0]) if rows else None

    def waiting(self, now: int) -> set[str]:
        """Return the items whose next instant has come."""
        return {item for (item,) in self._rows("SELECT item FROM item_states WHERE next_at <= ?", now)}

    def with_news(self) -> set[str]:
        """Return the items that a digest, or the board, would name."""
        return {item for (item,) in self._rows("SELECT item FROM item_states WHERE news")}

    def home_summary(self, without: Collection[str], since: int = MIN_INSTANT) -> "HomeSummary":
        """Return what the home's rules need of items judged only after `since`.

        `without`: the items that may have changed; their entries show what the rules need.
        """
        from scheduler.facts.fact_store import HomeSummary, ItemSummary

        rows = self._rows("SELECT item, first_at, judged_at FROM item_states WHERE judged_at > ?", since)
        unknown = frozenset(without)
        ((in_service,),) = self._rows("SELECT in_service FROM item_states_key")
        ((first,),) = self._rows("SELECT min(first_at) FROM item_states WHERE judged_at NOT NULL")
        starts = [start for start in (in_service, first) if start is not None]
        by_item = {item: ItemSummary(*instants) for item, *instants in rows if item not in unknown}
        return HomeSummary(min(starts, default=None), by_item, unknown)

    def open_except(self, items: Iterable[str]) -> int:
        """Return how many reminders are open on all other items."""
        return int(self._rows("SELECT open FROM item_states_key")[0][0]) - self._open_on(items)

    def _open_on(self, items: Iterable[str]) -> int:
        query = "SELECT coalesce(sum(open), 0) FROM item_states WHERE item IN (SELECT value FROM json_each(?))"
        return int(self._rows(query, json.dumps(list(items)))[0][0])

    def next_except(self, items: Iterable[str]) -> int:
        """Return when the clock alone first changes other items, or MAX_INSTANT."""
        query = (
            "SELECT next_at FROM item_states WHERE item NOT IN (SELECT value FROM json_each(?)) "
            "ORDER BY next_at LIMIT 1"
        )
        return next((at for (at,) in self._rows(query, json.dumps(list(items)))), MAX_INSTANT)

    def touched(self, new: NewEntries) -> set[str]:
        """Return the items that new entries may change, except the home."""
        asked = new.filed | {(name, "booked") for job in new.jobs() for name in self._booked_for(job)}
        rows = self._rows(
            """SELECT DISTINCT item FROM json_each(?) asked
               JOIN dependencies ON name = json_extract(asked.value, '$[0]')
               AND what IN ('', json_extract(asked.value, '$[1]'))
               JOIN item_states USING (item) WHERE over_at > ?""",
            json.dumps(sorted(asked)), MIN_INSTANT if new.correct else new.began,
        )  # fmt: skip
        away = self.with_news() if (HOME, "away") in asked else set()
        return {item for (item,) in rows} | new.jobs() | away

    def _booked_for(self, job: str) -> set[str]:
        """Return the aircraft that a job was ever booked for; JOB: booked without one."""
        bodies = self._rows(
            "SELECT body FROM concerned JOIN events USING (seq) WHERE item = ? AND what = 'booked'", f"{JOB}{job}"
        )
        return {str(json.loads(body).get("aircraft", JOB)) for (body,) in bodies}

    def jobs(self) -> dict[str, str | None]:
        """Return every job ever booked, with an aircraft it was booked for, if any."""
        rows = self._rows(
            "SELECT json_extract(body, '$.job'), max(json_extract(body, '$.aircraft')) FROM concerned "
            "JOIN events USING (seq) WHERE item = ? AND what = 'booked' GROUP BY 1 ORDER BY min(seq)",
            JOBS,
        )
        return dict(rows)

    def update(
        self,
        transaction: Transaction,
        was: CacheKey,
        key: CacheKey,
        states: "Iterable[ItemState]",
        home_by: int | None = None,
    ) -> None:
        """Store new states of some items, computed from those of `was`.

        All states are then valid for `key`. Does nothing where another process has changed what `was` names. `home_by`:
        when a wake must look at the home, if this one left it out.
        """
        if self.key() != was:
            return
        if home_by is not None:
            query = "UPDATE item_states SET next_at = min(next_at, ?), news = 1 WHERE item = ?"
            transaction.execute(query, (home_by, HOME))
        new = list(states)
        if new or was != key:
            more = sum(state.open for state in new) - self._open_on(state.item for state in new)
            transaction.execute("UPDATE item_states_key SET seq = ?, open = open + ?", (key.seq, more))
        for state in new:
            _store(transaction, state)

    def replace(
        self, transaction: Transaction, key: CacheKey, in_service: int | None, states: "Iterable[ItemState]"
    ) -> None:
        """Replace all items' states. `in_service`: when the first came into service."""
        drop(transaction)
        for statement in _CREATE:
            transaction.execute(statement)
        opened = 0
        for state in states:
            _store(transaction, state)
            opened += state.open
        transaction.execute("INSERT INTO item_states_key VALUES (?, ?, ?, ?)", (*key, in_service, opened))


def drop(transaction: Transaction) -> None:
    """Delete all item states, also those of earlier versions."""
    for table in ("item_states", "dependencies", "item_states_key", *_BEFORE_0_7):
        transaction.execute(f"DROP TABLE IF EXISTS {table}")


def _store(transaction: Transaction, state: "ItemState") -> None:
    row = (state.item, state.next_at, state.open, state.news, state.over_at, *(state.summary or (None, None)))
    transaction.execute(f"INSERT OR REPLACE INTO item_states VALUES ({', '.join('?' * len(row))})", row)
    for name, what in state.dependencies:
        # Earlier dependencies stay: the item is looked at once too often, never once too little.
        transaction.execute("INSERT OR IGNORE INTO dependencies VALUES (?, ?, ?)", (name, what or "", state.item))
