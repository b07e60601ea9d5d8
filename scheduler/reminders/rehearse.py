"""Living through a stretch of time: the decision asked at every instant at which it can change."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from scheduler.instants import DUSK
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.decide import Decision, Ledger, decide, next_wake
from scheduler.reminders.hours import Hours
from scheduler.reminders.known import Known
from scheduler.reminders.words import Told
from scheduler.verdicts.stretches import Stretch
from scheduler.verdicts.verdict import Key

Look = Callable[[int], tuple[Board, int]]
"""The board at an instant, and the first instant after it at which another may stand in its place."""


class Rehearsal(NamedTuple):
    """A stretch lived through: the reminders open in it, in order of opening, the decisions made, and what was told of
    each reminder."""

    start: int
    end: int
    reminders: list[Reminder]
    decisions: list[Decision]
    told: dict[Reminder, list[Told]]

    def messages(self, reminder: Reminder) -> list[Told]:
        """The tellings of one reminder within the stretch, that it is over apart."""
        return self.told.get(reminder, [])


def live(look: Look, hours: Hours, start: int, end: int) -> Iterator[tuple[Board, Decision]]:
    """Every wake of a daemon that begins at `start`, up to `end`: the board it has before it and what it decides."""
    ledger = Ledger(began=start)
    now = start
    while now < end:
        board, another_at = look(now)
        decision = decide(board, ledger, hours, now)
        for line in decision.told():
            ledger.add(line)
        if decision.digest:
            ledger.digest_at = now
        yield board, decision
        now = min(next_wake(board, ledger, hours, decision), another_at)


def rehearse(board: Board, hours: Hours, start: int, end: int) -> Rehearsal:
    """What would be sent in [start, end) if all that the board knows were known at once: lived through from where the
    oldest reminder open at `start` opened."""
    within = [r for r in board.reminders if r.stretch.opened < end and r.stretch.ended > start]
    first = min([start, *(r.stretch.opened for r in within)])
    made = [decision for _, decision in live(lambda _: (board, DUSK), hours, first, end) if decision.at >= start]
    tellings = _tellings(made)
    told = {r: [line for line in tellings.get(r.key, ()) if r.stretch.holds(line.at)] for r in within}
    return Rehearsal(start, end, within, [decision for decision in made if decision], told)


def rehearse_as_known(known: Known, hours: Hours, start: int, end: int) -> Rehearsal:
    """What was sent in [start, end) by a daemon that began with the first entry and knew at each instant only what was
    recorded by then."""
    watch = _Watch()
    made = []
    first = min(start, known.memory.next_arrival(known.now))
    for board, decision in live(lambda now: (known.board(now), known.memory.next_arrival(now)), hours, first, end):
        watch.see(board, decision.at)
        if decision and decision.at >= start:
            made.append(decision)
    lived, tellings = watch.since(start), _tellings(made)
    told = {
        was.reminder: [line for line in tellings.get(was.reminder.key, ()) if was.since <= line.at < was.until]
        for was in lived
    }
    return Rehearsal(start, end, [was.reminder for was in lived], made, told)


def _tellings(decisions: list[Decision]) -> dict[Key, list[Told]]:
    found: dict[Key, list[Told]] = {}
    for line in (line for decision in decisions for line in decision.told() if line.kind != "settled"):
        found.setdefault(line.key, []).append(line)
    return found


class _Lived(NamedTuple):
    """A reminder as it was known last, and the wakes between which it was seen open."""

    reminder: Reminder
    since: int
    until: int = DUSK


class _Watch:
    """Follows reminders from wake to wake while what is known of them changes."""

    def __init__(self) -> None:
        self._open: dict[Key, _Lived] = {}
        self._over: list[_Lived] = []

    def see(self, board: Board, now: int) -> None:
        """Take a wake into account. A reminder goes on while a stretch holds the wake at which it was first seen."""
        self._open = {key: lived for key, was in self._open.items() if (lived := self._on(board, was, now))}
        for reminder in board.open_at(now):
            self._open.setdefault(reminder.key, _Lived(reminder, now))

    def _on(self, board: Board, was: _Lived, now: int) -> _Lived | None:
        verdict = board.by_key.get(was.reminder.key)
        stretches = verdict.stretches if verdict is not None else []
        stretch = next((s for s in stretches if s.holds(was.since)), None)
        if stretch is not None and verdict is not None and stretch.ended > now:
            return was._replace(reminder=Reminder(verdict, stretch))
        withdrawn = Stretch(was.reminder.stretch.opened, now, "withdrawn")
        self._over.append(was._replace(reminder=Reminder(was.reminder.verdict, stretch or withdrawn), until=now))
        return None

    def since(self, start: int) -> list[_Lived]:
        """Every reminder that was seen open at `start` or after, in order of opening."""
        found = [lived for lived in (*self._over, *self._open.values()) if lived.until > start]
        return sorted(found, key=lambda lived: (lived.reminder.stretch.opened, lived.reminder.key))
