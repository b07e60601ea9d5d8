"""Say from the outbox what was sent: when, on which channel, with what outcome."""

import json

from scheduler.answers.desk import Desk
from scheduler.base.text import numbered
from scheduler.messages.outbox import Outbox, OutboxRow
from scheduler.reminders.announcements import Notification
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.decide import Ledger
from scheduler.reminders.why_silent import why
from scheduler.verdicts.verdict import Verdict


def message_lines(at: Desk, verdict: Verdict) -> list[str]:
    """Say what was sent on this rule and item by now, and why no more: a line each."""
    episode = verdict.open_at(at.now)
    ledger = _by_then(Outbox(at.home.log).ledger(), at.now)
    sent = sorted(ledger.of_key(verdict.key), key=lambda line: line.at)
    lines = [_sent_line(at, line) for line in sent[-4:]]
    if episode is None:
        return lines or ["nothing was sent of it, and it is not open"]
    board = Board(verdict.store, at.setup.rules, [verdict.item.id])
    reasons = why(board, Reminder(verdict, episode), ledger, at.setup.hours, at.now, at.say)
    return [*(lines or ["nothing was sent of it so far"]), *reasons, *_no_channel(at, verdict)]


def _by_then(ledger: Ledger, now: int) -> Ledger:
    lines = [line for key in [*ledger.announced_keys()] for line in ledger.of_key(key)]
    return Ledger([line for line in lines if line.at <= now], ledger.digest_at, ledger.began)


def _no_channel(at: Desk, verdict: Verdict) -> list[str]:
    """Say so if no channel carries messages of the verdict's urgency."""
    urgency = verdict.urgency(at.now)
    if any(urgency in channel.urgency for channel in at.setup.channels):
        return []
    return [f"no channel takes what is for {urgency.replace('_', ' ')}: shelfbell.yaml names none for it"]


def _sent_line(at: Desk, line: Notification) -> str:
    rows = [row for row in Outbox(at.home.log).rows() if row.decided_at == line.at and _names(row, line)]
    outcome = "; ".join(_outcome(at, row) for row in rows)
    return f"{line.kind} ({line.urgency}), decided {at.say(line.at)}{': ' + outcome if outcome else ''}"


def _names(row: OutboxRow, line: Notification) -> bool:
    parts = json.loads(row.explanation)
    named = {(part["rule"], part["item"]) for part in parts if isinstance(part, dict) and "rule" in part}
    return tuple(line.key) in named


def _outcome(at: Desk, row: OutboxRow) -> str:
    others = len(json.loads(row.explanation)) - 1
    gathered = f", gathered with {others} more" if others else ""
    if row.state == "sent" and row.sent_at is not None:
        return f"sent to {row.channel} {at.say(row.sent_at)}{gathered}, reference {row.ref}"
    if row.state == "given_up":
        return f"given up on {row.channel}{gathered}: {row.last_error or 'no reason kept'}"
    failing = f", {numbered(row.attempts, 'attempt')} so far: {row.last_error}" if row.last_error else ""
    return f"waiting for {row.channel}, next attempt {at.say(row.next_try_at)}{failing}{gathered}"
