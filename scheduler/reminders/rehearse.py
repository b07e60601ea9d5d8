"""Living through a stretch of time: the decision asked at every instant at which it can change."""

from typing import NamedTuple

from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.decide import Decision, Ledger, decide, next_wake
from scheduler.reminders.hours import Hours
from scheduler.reminders.words import Told


class Sent(NamedTuple):
    """One telling of a reminder, as a rehearsed message carried it."""

    reminder: Reminder
    told: Told


class Rehearsal(NamedTuple):
    """A stretch lived through: the reminders open in it, in order of opening, and the decisions made."""

    start: int
    end: int
    reminders: list[Reminder]
    decisions: list[Decision]

    def messages(self, reminder: Reminder) -> list[Told]:
        """The tellings of one reminder within the stretch."""
        return [
            line
            for decision in self.decisions
            for line in decision.told()
            if line.key == reminder.key and line.kind != "settled" and reminder.stretch.holds(decision.at)
        ]


def rehearse(board: Board, hours: Hours, start: int, end: int) -> Rehearsal:
    """What would be sent in [start, end): lived through from where the oldest reminder open at `start` opened."""
    within = [r for r in board.reminders if r.stretch.opened < end and r.stretch.ended > start]
    first = min((r.stretch.opened for r in within), default=start)
    ledger = Ledger(began=min(first, start))
    decisions = []
    now = min(first, start)
    while now < end:
        decision = decide(board, ledger, hours, now)
        if decision:
            for line in decision.told():
                ledger.add(line)
            if decision.digest:
                ledger.digest_at = now
            if now >= start:
                decisions.append(decision)
        now = next_wake(board, ledger, hours, decision)
    return Rehearsal(start, end, within, decisions)
