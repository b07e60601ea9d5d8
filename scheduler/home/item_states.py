"""The folds of all items, kept in the database between wakes. They can be deleted at any time: the next wake makes them
anew from the log.

They hold for one fingerprint of rules, fleet and program, up to one place in the log. What came after that place is
looked up by the names and kinds of entries on which each item rests.
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

_TABLES = (
    """CREATE TABLE IF NOT EXISTS folds (
        item TEXT PRIMARY KEY, next_at INTEGER NOT NULL, open INTEGER NOT NULL, news INTEGER NOT NULL,
        over_at INTEGER NOT NULL, first_at INTEGER, told_at INTEGER, good_until INTEGER, outline TEXT) STRICT""",
    "CREATE INDEX IF NOT EXISTS folds_told ON folds (told_at, first_at) WHERE told_at NOT NULL",
    "CREATE INDEX IF NOT EXISTS folds_next ON folds (next_at)",
    "CREATE INDEX IF NOT EXISTS folds_news ON folds (item) WHERE news",
    """CREATE TABLE IF NOT EXISTS rests_on (
        name TEXT NOT NULL, what TEXT NOT NULL, item TEXT NOT NULL, PRIMARY KEY (name, what, item))
        STRICT, WITHOUT ROWID""",
    """CREATE TABLE IF NOT EXISTS folded (
        fingerprint TEXT NOT NULL, seq INTEGER NOT NULL, in_service INTEGER, open INTEGER NOT NULL) STRICT""",
)  # fmt: skip


class CacheKey(NamedTuple):
    """What folds hold for: a fingerprint of the set-up, and a place in the log."""

    fingerprint: str
    seq: int


class NewEntries(NamedTuple):
    """What some new entries touch.

    `filed`: the names under which they are filed, those of what they take back included, each with the kinds. `began`:
    the first instant they tell of, a flight from take-off. `first_at`: when the first happened. `correct`: one takes
    another back, or its place.
    """

    filed: set[tuple[str, str]]
    began: int
    first_at: int
    correct: bool

    @property
    def names(self) -> set[str]:
        """The names alone."""
        return {name for name, _ in self.filed}

    def jobs(self) -> set[str]:
        """The jobs among them."""
        return {name.removeprefix(JOB) for name in self.names if name.startswith(JOB) and name != JOB}


def new_entries(log: Log, after: int, to: int) -> NewEntries:
    """The entries at places in (after, to] of a log, of which there is at least one."""
    fresh = log.between(after, to)
    filed: set[tuple[str, str]] = set()
    for event in fresh:
        chain = [event, *log.taken_back(event)]
        kinds = {each.what for each in chain}
        filed |= {(name, what) for each in chain for name in concerned(each.fields) for what in kinds}
    began, first_at = min(map(begins_at, fresh)), min(event.at for event in fresh)
    return NewEntries(filed, began, first_at, any(map(corrects, fresh)))


class ItemStates:
    """The folds of one home."""

    def __init__(self, log: Log) -> None:
        self._log = log

    def _rows(self, query: str, *values: object) -> list[tuple]:
        try:
            return self._log.connection.execute(query, values).fetchall()
        except sqlite3.OperationalError as error:
            if "no such table" in str(error):  # nothing was ever folded
                return []
            raise

    def base(self) -> CacheKey | None:
        """What the folds there are hold for; None where there are none."""
        rows = self._rows("SELECT fingerprint, seq FROM folded")
        return CacheKey(*rows[0]) if rows else None

    def waiting(self, now: int) -> set[str]:
        """The items whose instant has come."""
        return {item for (item,) in self._rows("SELECT item FROM folds WHERE next_at <= ?", now)}

    def with_news(self) -> set[str]:
        """The items of which a digest would speak."""
        return {item for (item,) in self._rows("SELECT item FROM folds WHERE news")}

    def known(self, but: Collection[str], since: int = MIN_INSTANT) -> "HomeSummary":
        """What is known for a look at the home: of all items but some, of what is asked about `since` then."""
        from scheduler.facts.fact_store import HomeSummary, ItemSummary

        rows = self._rows("SELECT item, first_at, told_at FROM folds WHERE told_at > ?", since)
        left_out = frozenset(but)
        ((in_service,),) = self._rows("SELECT in_service FROM folded")
        ((first,),) = self._rows("SELECT min(first_at) FROM folds WHERE told_at NOT NULL")
        starts = [start for start in (in_service, first) if start is not None]
        by_item = {item: ItemSummary(*found) for item, *found in rows if item not in left_out}
        return HomeSummary(min(starts, default=None), by_item, left_out)

    def outlines(self, now: int) -> list[tuple[str, str | None]]:
        """Each item of which something stands, with its outline where that still holds."""
        return self._rows("SELECT item, CASE WHEN good_until > ? THEN outline END FROM folds WHERE news", now)

    def open_but(self, items: Iterable[str]) -> int:
        """How many reminders are open on other items than some."""
        return int(self._rows("SELECT open FROM folded")[0][0]) - self._open_of(items)

    def _open_of(self, items: Iterable[str]) -> int:
        query = "SELECT coalesce(sum(open), 0) FROM folds WHERE item IN (SELECT value FROM json_each(?))"
        return int(self._rows(query, json.dumps(list(items)))[0][0])

    def next_but(self, items: Iterable[str]) -> int:
        """Return when the clock alone first changes anything about other items; MAX_INSTANT for never."""
        query = "SELECT next_at FROM folds WHERE item NOT IN (SELECT value FROM json_each(?)) ORDER BY next_at LIMIT 1"
        return next((at for (at,) in self._rows(query, json.dumps(list(items)))), MAX_INSTANT)

    def touched(self, fresh: "NewEntries") -> set[str]:
        """The items about which new entries may change something, `home` apart."""
        asked = fresh.filed | {(name, "booked") for job in fresh.jobs() for name in self._beside(job)}
        found = self._rows(
            """SELECT DISTINCT item FROM json_each(?) asked
               JOIN rests_on ON name = json_extract(asked.value, '$[0]')
               AND what IN ('', json_extract(asked.value, '$[1]'))
               JOIN folds USING (item) WHERE over_at > ?""",
            json.dumps(sorted(asked)), MIN_INSTANT if fresh.correct else fresh.began,
        )  # fmt: skip
        away = self.with_news() if (HOME, "away") in asked else set()
        return {item for (item,) in found} | fresh.jobs() | away

    def _beside(self, job: str) -> set[str]:
        """The aircraft that a job was ever booked for, and the name for none in particular where it was for none."""
        bodies = self._rows(
            "SELECT body FROM concerned JOIN events USING (seq) WHERE item = ? AND what = 'booked'", f"{JOB}{job}"
        )
        return {str(json.loads(body).get("aircraft", JOB)) for (body,) in bodies}

    def jobs(self) -> dict[str, str | None]:
        """Every job that was ever booked, with an aircraft it was booked for, if any."""
        rows = self._rows(
            "SELECT json_extract(body, '$.job'), max(json_extract(body, '$.aircraft')) FROM concerned "
            "JOIN events USING (seq) WHERE item = ? AND what = 'booked' GROUP BY 1 ORDER BY min(seq)",
            JOBS,
        )
        return dict(rows)

    def keep(
        self,
        transaction: Transaction,
        was: CacheKey,
        base: CacheKey,
        states: "Iterable[ItemState]",
        home_by: int | None = None,
    ) -> None:
        """Keep folds made from what `was` kept, up to `base`; nothing where another has changed that.

        `home_by`: by when the home has to be looked at, if it was not.
        """
        if self.base() != was:
            return
        if home_by is not None:
            query = "UPDATE folds SET next_at = min(next_at, ?), news = 1, outline = NULL WHERE item = ?"
            transaction.execute(query, (home_by, HOME))
        made = list(states)
        if made or was != base:
            more = sum(state.open for state in made) - self._open_of(state.item for state in made)
            transaction.execute("UPDATE folded SET seq = ?, open = open + ?", (base.seq, more))
        for state in made:
            _keep(transaction, state)

    def renew(
        self, transaction: Transaction, base: CacheKey, in_service: int | None, states: "Iterable[ItemState]"
    ) -> None:
        """Keep the folds of all items in the place of those there are. `in_service`: from when the first one is."""
        drop(transaction)
        for table in _TABLES:
            transaction.execute(table)
        opened = 0
        for state in states:
            _keep(transaction, state)
            opened += state.open
        transaction.execute("INSERT INTO folded VALUES (?, ?, ?, ?)", (*base, in_service, opened))


def drop(transaction: Transaction) -> None:
    """Forget all folds: the next wake makes them anew."""
    for table in ("folds", "rests_on", "folded"):
        transaction.execute(f"DROP TABLE IF EXISTS {table}")


def _keep(transaction: Transaction, state: "ItemState") -> None:
    # What an item rested on before stays noted: it is looked at once too often, never once too little.
    row = (*state[:5], *(state.evidence or (None, None)), *(state.outline or (None, None)))
    transaction.execute(f"INSERT OR REPLACE INTO folds VALUES ({', '.join('?' * len(row))})", row)
    for name, what in state.dependencies:
        transaction.execute("INSERT OR IGNORE INTO rests_on VALUES (?, ?, ?)", (name, what or "", state.item))
