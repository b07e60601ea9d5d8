"""Notices about the bell: a refused file, a failing rule or channel; sent once."""

from collections.abc import Iterable
from typing import NamedTuple

from scheduler.events.log import Transaction
from scheduler.messages.outbox import SUMMARY, Message, Outbox, forget, remember


class Notice(NamedTuple):
    """A notice. `name`: its subject. `mark`: identifies the fault; sent once per mark."""

    name: str
    mark: str
    title: str
    body: str


def queue_notice(
    outbox: Outbox, transaction: Transaction, notice: Notice, channels: Iterable[str], now: int, after: int = 0
) -> bool:
    """Queue a notice, to send from `after` on; return False if it was sent already."""
    name = f"notice/{notice.name}"
    last = transaction.execute("SELECT value FROM state WHERE name = ?", (name,)).fetchone()
    if last and last[0] == notice.mark:
        return False
    for channel in channels:
        outbox.add(transaction, Message(channel, SUMMARY, notice.title, notice.body, after=after), now)
    remember(transaction, name, notice.mark)
    return True


def end_notice(transaction: Transaction, name: str) -> None:
    """End a notice: if its fault comes back, it is sent again."""
    forget(transaction, f"notice/{name}")


def end_notices_but(transaction: Transaction, group: str, names: Iterable[str]) -> None:
    """End all notices of a group ("rule/…") except these."""
    kept = [f"notice/{name}" for name in names]
    marks = ", ".join("?" * len(kept))
    transaction.execute(
        f"DELETE FROM state WHERE substr(name, 1, ?) = ? AND name NOT IN ({marks})",
        (len(f"notice/{group}"), f"notice/{group}", *kept),
    )
