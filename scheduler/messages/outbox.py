"""The outbox: every message and its state, and each reminder's notifications.

It lives in the database of the log. A decision and its messages are written in one transaction. A row leaves the state
`sending` only with an outcome, so a crash at any instant loses nothing and repeats at most that one row.
"""

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

from scheduler.base.instants import DAY, HOUR, MINUTE
from scheduler.events.log import Log, Transaction
from scheduler.home.item_states import drop
from scheduler.reminders.announcements import Notification
from scheduler.reminders.decide import Decision, Ledger
from scheduler.verdicts.verdict import Key

SPACING = (1 * MINUTE, 2 * MINUTE, 5 * MINUTE, 15 * MINUTE, 60 * MINUTE)
"""From a failed attempt to the next, then every LONG_SPACING. Common practice, no source."""
LONG_SPACING = 3 * HOUR
GIVE_UP_AFTER = 7 * DAY
"""Age of a message at which it is tried no more."""
_FURTHEST = DAY
"""A retry further ahead than this was planned before the clock was set back: it is due."""
_STEP_BACK = HOUR
"""A step back of the clock of at least this is no jitter. Common practice, no source."""
_REFERENCE = "abcdefghjkmnpqrstuvwxyz23456789"
TRIAL, SUMMARY = "trial", "summary"
FILES_READ_AT = "files_read_at"
"""Name of the state that says when the daemon loaded the files it works with."""

_TABLES = (
    """CREATE TABLE IF NOT EXISTS outbox (
        id INTEGER PRIMARY KEY, ref TEXT NOT NULL, channel TEXT NOT NULL, decided_at INTEGER NOT NULL,
        kind TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL, explanation TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('waiting', 'sending', 'sent', 'given_up')),
        attempts INTEGER NOT NULL, next_try_at INTEGER NOT NULL, sent_at INTEGER, last_error TEXT) STRICT""",
    "CREATE INDEX IF NOT EXISTS outbox_unsent ON outbox (channel, next_try_at) WHERE state IN ('waiting', 'sending')",
    """CREATE TABLE IF NOT EXISTS told (
        decided_at INTEGER NOT NULL, rule TEXT NOT NULL, item TEXT NOT NULL, first_at INTEGER NOT NULL,
        kind TEXT NOT NULL, urgency TEXT NOT NULL, reason TEXT NOT NULL) STRICT""",
    "CREATE INDEX IF NOT EXISTS told_item ON told (item)",
    "CREATE TABLE IF NOT EXISTS state (name TEXT PRIMARY KEY, value ANY NOT NULL) STRICT",
)  # fmt: skip


class Message(NamedTuple):
    """A message to queue, not to be sent before the instant `after` (0: at once)."""

    channel: str
    kind: str
    title: str
    body: str
    explanation: object = ()
    after: int = 0


class OutboxRow(NamedTuple):
    """One message to one channel in the outbox.

    `ref`: a short reference that a person can recognise, the same on every channel and every attempt. `state`: waiting,
    sending, sent or given_up.
    """

    id: int
    ref: str
    channel: str
    decided_at: int
    kind: str
    title: str
    body: str
    explanation: str
    state: str
    attempts: int
    next_try_at: int
    sent_at: int | None
    last_error: str | None


class ChannelHealth(NamedTuple):
    """How well a channel works.

    Its last success, messages waiting and given up, since when it has been failing. `gave_up_at`: when the last message
    given up was decided. `trial_failed_at`: when the last failed trial was made; trials count nowhere else.
    `failed_at`, `last_error`: the last failed attempt, even if a later one succeeded. `waiting_until`: when the first
    waiting message is sent or tried again.
    """

    channel: str
    last_sent: int | None
    waiting: int
    given_up: int
    failing_since: int | None
    failed_at: int | None
    last_error: str | None
    gave_up_at: int | None
    trial_failed_at: int | None
    waiting_until: int | None


def reference(decided_at: int, kind: str, title: str) -> str:
    """Return five letters or digits that identify one message."""
    from hashlib import blake2b  # it loads OpenSSL, a tenth of what `due` may cost

    digest = blake2b(f"{decided_at}\0{kind}\0{title}".encode(), digest_size=5).digest()
    return "".join(_REFERENCE[byte % len(_REFERENCE)] for byte in digest)


def _chance() -> float:
    import random

    return random.random()


class Outbox:
    """The outbox of one log. `jitter` returns [0, 1), to spread retries by a tenth."""

    def __init__(self, log: Log, jitter: Callable[[], float] | None = None) -> None:
        self.log = log
        self._jitter = jitter or _chance

    @contextmanager
    def writing(self) -> Iterator[Transaction]:
        """Open a write transaction in which the outbox's tables exist."""
        with self.log.transaction() as transaction:
            for table in _TABLES:
                transaction.execute(table)
            yield transaction

    def _rows(self, query: str, values: Iterable[object] = ()) -> list[tuple[Any, ...]]:
        if not self.log.exists():
            return []
        try:
            return self.log.connection.execute(query, tuple(values)).fetchall()
        except sqlite3.OperationalError as error:
            if "no such table" in str(error):  # nothing was ever queued
                return []
            raise

    def ledger(self, items: Iterable[str] | None = None) -> Ledger:
        """Return the notifications of all items or some, and the ledger's instants."""
        query, values = "SELECT rule, item, first_at, decided_at, kind, urgency, reason FROM told", []
        if items is not None:
            query, values = f"{query} WHERE item IN (SELECT value FROM json_each(?))", [json.dumps(list(items))]
        rows = self._rows(f"{query} ORDER BY rowid", values)
        past = (Notification(Key(row[0], row[1]), *row[2:]) for row in rows)
        instants = (self.state(name) for name in ("digest_at", "began", "planned", "woke_at"))
        return Ledger(past, *instants)

    def state(self, name: str) -> int | None:
        """Return a remembered value; None without one."""
        rows = self._rows("SELECT value FROM state WHERE name = ?", [name])
        return rows[0][0] if rows else None

    def clock_was_ahead(self, now: int) -> bool:
        """Return True if the last wake is well after `now`: the clock has been set back."""
        return (self.state("woke_at") or now) - now > _STEP_BACK

    def reset_times(self, transaction: Transaction, now: int) -> None:
        """Move all times after `now` to `now`, so that nothing waits for a wrong clock."""
        drop(transaction)
        transaction.execute("UPDATE told SET decided_at = ? WHERE decided_at > ?", (now, now))
        transaction.execute("UPDATE outbox SET decided_at = ? WHERE decided_at > ?", (now, now))
        transaction.execute("UPDATE state SET value = ? WHERE value > ? AND typeof(value) = 'integer'", (now, now))

    def queue(self, transaction: Transaction, decision: Decision, messages: Iterable[Message]) -> None:
        """Write a decision: its notifications and its messages."""
        for line in decision.notifications():
            transaction.execute(
                """INSERT INTO told (decided_at, rule, item, first_at, kind, urgency, reason)
                   VALUES (?, ?, ?, ?, ?, ?, ?)""",
                (line.at, *line.key, line.first_at, line.kind, line.urgency, line.reason),
            )
        if decision.digest:
            remember(transaction, "digest_at", decision.at)
        for message in messages:
            self.add(transaction, message, decision.at)

    def add(self, transaction: Transaction, message: Message, now: int) -> int:
        """Queue one message; return the id of its row."""
        cursor = transaction.execute(
            """INSERT INTO outbox
               (ref, channel, decided_at, kind, title, body, explanation, state, attempts, next_try_at)
               VALUES (?, ?, ?, ?, ?, ?, ?, 'waiting', 0, ?)""",
            (
                reference(now, message.kind, message.title), message.channel, now, message.kind, message.title,
                message.body, json.dumps(message.explanation, ensure_ascii=False), max(now, message.after),
            ),
        )  # fmt: skip
        return int(cursor.lastrowid or 0)

    def row(self, row_id: int) -> OutboxRow:
        """Return one row. Raises KeyError."""
        rows = self._rows("SELECT * FROM outbox WHERE id = ?", [row_id])
        if not rows:
            raise KeyError(row_id)
        return OutboxRow(*rows[0])

    def rows(self) -> list[OutboxRow]:
        """Return every row, oldest first."""
        return [OutboxRow(*row) for row in self._rows("SELECT * FROM outbox ORDER BY id")]

    def due(self, channel: str, now: int) -> list[OutboxRow]:
        """Return a channel's rows to send now: trials first, then in order of decision."""
        rows = self._rows(
            """SELECT * FROM outbox WHERE channel = ? AND state = 'waiting'
               AND (next_try_at <= ? OR next_try_at > ?) ORDER BY kind != 'trial', id""",
            [channel, now, now + _FURTHEST],
        )
        return [OutboxRow(*row) for row in rows]

    def next_try(self, now: int, channels: Iterable[str]) -> int | None:
        """Return when a row of some channels next falls due after `now`, or None."""
        rows = self._rows("SELECT channel, next_try_at FROM outbox WHERE state = 'waiting'")
        wanted = set(channels)
        return min((at for channel, at in rows if channel in wanted and now < at <= now + _FURTHEST), default=None)

    def unfinished(self, channels: Iterable[str], now: int) -> bool:
        """Return True while anything for some channels is due or under way."""
        under_way = {name for (name,) in self._rows("SELECT channel FROM outbox WHERE state = 'sending'")}
        return any(name in under_way or self.due(name, now) for name in channels)

    def release(self, now: int) -> None:
        """Make due what a dead sender left under way. Call only with the lock, at start."""
        with self.writing() as transaction:
            transaction.execute("UPDATE outbox SET state = 'waiting', next_try_at = ? WHERE state = 'sending'", (now,))

    def retry(self, now: int) -> None:
        """Make due what waits for another attempt, after a change that may help."""
        with self.writing() as transaction:
            transaction.execute("UPDATE outbox SET next_try_at = ? WHERE state = 'waiting' AND attempts > 0", (now,))

    def claim(self, row: OutboxRow, now: int) -> OutboxRow | None:
        """Mark a row as under way and return it; None if another process was quicker."""
        with self.writing() as transaction:
            cursor = transaction.execute(
                """UPDATE outbox SET state = 'sending', attempts = attempts + 1, next_try_at = ?
                   WHERE id = ? AND state = 'waiting' AND attempts = ?""",
                (now, row.id, row.attempts),
            )
            claimed = cursor.rowcount == 1
        return row._replace(state="sending", attempts=row.attempts + 1, next_try_at=now) if claimed else None

    def sent(self, row: OutboxRow, now: int) -> None:
        """Record a success, even of a lost attempt if no other has begun since."""
        with self.writing() as transaction:
            transaction.execute(
                """UPDATE outbox SET state = 'sent', sent_at = ?, last_error = NULL
                   WHERE id = ? AND state IN ('sending', 'waiting') AND attempts = ?""",
                (now, row.id, row.attempts),
            )
            forget(transaction, f"failing/{row.channel}")

    def failed(self, row: OutboxRow, now: int, reason: str, permanent: bool = False) -> None:
        """Record a failure and when to try again.

        `permanent`: the channel will not work until someone changes something, so it is tried again at the longest
        spacing (and when the daemon starts again). A trial is tried once.
        """
        state = "given_up" if row.kind == TRIAL or now - row.decided_at > GIVE_UP_AFTER else "waiting"
        next_try = now + self._wait(row.attempts, permanent)
        with self.writing() as transaction:
            transaction.execute(
                """UPDATE outbox SET state = ?, next_try_at = ?, last_error = ?
                   WHERE id = ? AND state = 'sending' AND attempts = ?""",
                (state, next_try, reason, row.id, row.attempts),
            )
            transaction.execute("INSERT OR IGNORE INTO state VALUES (?, ?)", (f"failing/{row.channel}", now))
            remember(transaction, f"failed/{row.channel}", now)
            remember(transaction, f"error/{row.channel}", reason)

    def _wait(self, attempts: int, permanent: bool) -> int:
        spacing = LONG_SPACING if permanent or attempts > len(SPACING) else SPACING[attempts - 1]
        return spacing + round(spacing * self._jitter() / 10)

    def channel_health(self) -> dict[str, ChannelHealth]:
        """Return how well each channel works that ever had a message, by name."""
        rows = self._rows(
            """SELECT channel, max(sent_at), sum(state IN ('waiting', 'sending')),
               sum(state = 'given_up' AND kind != 'trial'),
               (SELECT value FROM state WHERE name = 'failing/' || channel),
               (SELECT value FROM state WHERE name = 'failed/' || channel),
               (SELECT value FROM state WHERE name = 'error/' || channel),
               max(CASE WHEN state = 'given_up' AND kind != 'trial' THEN decided_at END),
               max(CASE WHEN state = 'given_up' AND kind = 'trial' THEN decided_at END),
               min(CASE WHEN state = 'waiting' THEN next_try_at END)
               FROM outbox GROUP BY channel ORDER BY channel"""
        )
        return {row[0]: ChannelHealth(*row) for row in rows}


def remember(transaction: Transaction, name: str, value: int | str) -> None:
    """Store a value in the state under a name."""
    transaction.execute("INSERT OR REPLACE INTO state VALUES (?, ?)", (name, value))


def forget(transaction: Transaction, name: str) -> None:
    """Delete a value from the state."""
    transaction.execute("DELETE FROM state WHERE name = ?", (name,))
