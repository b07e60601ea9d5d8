"""Notices: what the bell has to say of itself (a file refused, a rule or a channel that fails), told once each."""

from collections.abc import Iterable
from typing import NamedTuple

from scheduler.events.log import Transaction
from scheduler.messages.outbox import SUMMARY, Message, Outbox, forget, remember


class Notice(NamedTuple):
    """`name`: what it is about. `mark`: tells one fault from the next; the same again is not told again."""

    name: str
    mark: str
    title: str
    body: str


def queue_notice(
    outbox: Outbox, transaction: Transaction, notice: Notice, channels: Iterable[str], now: int, after: int = 0
) -> bool:
    """Queue a notice to channels, not before `after`, unless it was told; true when it is new."""
    name = f"notice/{notice.name}"
    known = transaction.execute("SELECT value FROM state WHERE name = ?", (name,)).fetchone()
    if known and known[0] == notice.mark:
        return False
    for channel in channels:
        outbox.add(transaction, Message(channel, SUMMARY, notice.title, notice.body, after=after), now)
    remember(transaction, name, notice.mark)
    return True


def end_notice(transaction: Transaction, name: str) -> None:
    """What a notice was about is over: when it comes back it is told again."""
    forget(transaction, f"notice/{name}")


def end_notices_but(transaction: Transaction, group: str, names: Iterable[str]) -> None:
    """Of a group of notices ("rule/…"), all are over but these."""
    kept = [f"notice/{name}" for name in names]
    marks = ", ".join("?" * len(kept))
    transaction.execute(
        f"DELETE FROM state WHERE substr(name, 1, ?) = ? AND name NOT IN ({marks})",
        (len(f"notice/{group}"), f"notice/{group}", *kept),
    )
