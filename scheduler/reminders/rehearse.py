"""Rehearsals: the decisions in a time span, wake by wake, and their comparison."""

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from heapq import heapify, heappop, heappush
from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT
from scheduler.reminders.announcements import Announcement, Notification
from scheduler.reminders.as_known import LogAsKnown
from scheduler.reminders.board import Board, Reminder, urgency_order
from scheduler.reminders.decide import Decision, Ledger, coming_announcements, decide, next_digest_due
from scheduler.reminders.hours import Hours
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.verdict import Key

BoardAt = Callable[[int], tuple[Board, int]]
"""Takes an instant; returns the board then, and the next instant at which it may be another board."""


class Rehearsal(NamedTuple):
    """The reminders open in a time span, by opening, with notifications and decisions."""

    start: int
    end: int
    reminders: list[Reminder]
    decisions: list[Decision]
    notifications: dict[Reminder, list[Notification]]

    def messages(self, reminder: Reminder) -> list[Notification]:
        """Return a reminder's notifications in the time span, except the settling one."""
        return self.notifications.get(reminder, [])


def live(board_at: BoardAt, hours: Hours, start: int, end: int) -> Iterator[tuple[Board, Decision]]:
    """Yield each wake's board and decision for a daemon run from `start` to `end`."""
    ledger = Ledger(began=start)
    turns: _WakeSchedule | None = None
    now = start
    while now < end:
        board, another_at = board_at(now)
        if turns is None or turns.board is not board:
            turns = _WakeSchedule(board, hours)
        decision = decide(board, ledger, hours, now, turns.open_at(now))
        for line in decision.notifications():
            ledger.add(line)
        if decision.digest:
            ledger.digest_at = now
        yield board, decision
        turns.note(decision, coming_announcements(board, ledger, hours, decision))
        now = min(turns.next_at(), next_digest_due(board, ledger, hours, now), another_at)


class _WakeSchedule:
    """When each verdict of a board can next matter.

    It changes, an announcement falls due, somebody responded to it, or an absence ended that held announcements back.
    """

    def __init__(self, board: Board, hours: Hours) -> None:
        self.board = board
        self._returns = sorted((hours.delivery(absence.end) for absence in board.away), reverse=True)
        self._places = {verdict.key: place for place, verdict in enumerate(board.verdicts)}
        self._next = [MIN_INSTANT] * len(board.verdicts)
        self._coming: list[tuple[int, int]] = []
        self._responses = list(self._responses_by_place())
        heapify(self._responses)
        self._due = set(self._places.values())

    def _responses_by_place(self) -> Iterator[tuple[int, int]]:
        """Yield when somebody responded to a verdict, and the place of that verdict."""
        for item in {key.item for key in self._places}:
            for event in self.board.store.filed(item):
                place = self._places.get(Key(str(event.get("rule")), item))
                if event.what in ("seen", "snoozed") and place is not None:
                    yield event.at, place

    def open_at(self, now: int) -> list[Reminder]:
        """Return the open reminders that may have something new since the last wake."""
        while self._coming and self._coming[0][0] <= now:
            turn, place = heappop(self._coming)
            if self._next[place] == turn:
                self._due.add(place)
        while self._responses and self._responses[0][0] <= now:
            self._due.add(heappop(self._responses)[1])
        while self._returns and self._returns[-1] <= now:
            self._returns.pop()
            self._due.update(self._places.values())
        verdicts = (self.board.verdicts[place] for place in self._due)
        found = [Reminder(verdict, episode) for verdict in verdicts if (episode := verdict.open_at(now))]
        return sorted(found, key=partial(urgency_order, now))

    def note(self, decision: Decision, coming: Iterable[Announcement]) -> None:
        """Note when each verdict matters next, given the announcements to come."""
        now, verdicts = decision.at, self.board.verdicts
        turns = {place: verdicts[place].next_turn(now) or MAX_INSTANT for place in self._due}
        for announcement in coming:
            place = self._places[announcement.reminder.key]
            turns[place] = min(turns[place], max(announcement.due, now + 1))
        self._due.clear()
        for place, turn in turns.items():
            self._next[place] = turn
            heappush(self._coming, (turn, place))

    def next_at(self) -> int:
        """Return when a verdict next changes or an announcement is due, or MAX_INSTANT."""
        while self._coming and self._next[self._coming[0][1]] != self._coming[0][0]:
            heappop(self._coming)
        return self._coming[0][0] if self._coming else MAX_INSTANT


def rehearse(board: Board, hours: Hours, start: int, end: int) -> Rehearsal:
    """Return what would be sent in [start, end) with everything known from the first.

    The rehearsal begins where the oldest reminder open at `start` opened.
    """
    within = [r for r in board.reminders if r.episode.opened < end and r.episode.ended > start]
    first = min([start, *(r.episode.opened for r in within)])
    made = [decision for _, decision in live(lambda _: (board, MAX_INSTANT), hours, first, end) if decision.at >= start]
    by_key = _notifications_by_key(made)
    notifications = {r: [line for line in by_key.get(r.key, ()) if r.episode.holds(line.at)] for r in within}
    return Rehearsal(start, end, within, [decision for decision in made if decision], notifications)


def rehearse_as_known(known: LogAsKnown, hours: Hours, start: int, end: int) -> Rehearsal:
    """Return what a daemon sends in [start, end), knowing only what was recorded.

    The daemon began with the first entry; at each instant it knew what was recorded by then.
    """
    tracker = _ReminderTracker()
    made = []
    first = min(start, known.memory.next_arrival(known.now))
    for board, decision in live(lambda now: (known.board(now), known.memory.next_arrival(now)), hours, first, end):
        tracker.update(board, decision.at)
        if decision and decision.at >= start:
            made.append(decision)
    tracked, by_key = tracker.since(start), _notifications_by_key(made)
    notifications = {
        was.reminder: [line for line in by_key.get(was.reminder.key, ()) if was.since <= line.at < was.until]
        for was in tracked
    }
    return Rehearsal(start, end, [was.reminder for was in tracked], made, notifications)


def _notifications_by_key(decisions: list[Decision]) -> dict[Key, list[Notification]]:
    found: dict[Key, list[Notification]] = {}
    for line in (line for decision in decisions for line in decision.notifications() if line.kind != "settled"):
        found.setdefault(line.key, []).append(line)
    return found


class _Tracked(NamedTuple):
    """A reminder as last known, and the wakes between which it was open."""

    reminder: Reminder
    since: int
    until: int = MAX_INSTANT


class _ReminderTracker:
    """Follows reminders from wake to wake while more becomes known about them."""

    def __init__(self) -> None:
        self._open: dict[Key, _Tracked] = {}
        self._over: list[_Tracked] = []

    def update(self, board: Board, now: int) -> None:
        """Add a wake.

        A reminder stays the same one while its episode contains the wake at which it was first seen.
        """
        self._open = {key: tracked for key, was in self._open.items() if (tracked := self._follow(board, was, now))}
        for reminder in board.open_at(now):
            self._open.setdefault(reminder.key, _Tracked(reminder, now))

    def _follow(self, board: Board, was: _Tracked, now: int) -> _Tracked | None:
        verdict = board.by_key.get(was.reminder.key)
        episodes = verdict.episodes if verdict is not None else []
        episode = next((s for s in episodes if s.holds(was.since)), None)
        if episode is not None and verdict is not None and episode.ended > now:
            return was._replace(reminder=Reminder(verdict, episode))
        withdrawn = Episode(was.reminder.episode.opened, now, "withdrawn")
        self._over.append(was._replace(reminder=Reminder(was.reminder.verdict, episode or withdrawn), until=now))
        return None

    def since(self, start: int) -> list[_Tracked]:
        """Return every reminder that was open at `start` or later, in order of opening."""
        found = [tracked for tracked in (*self._over, *self._open.values()) if tracked.until > start]
        return sorted(found, key=lambda tracked: (tracked.reminder.episode.opened, tracked.reminder.key))


class Difference(NamedTuple):
    """How the second of two rehearsals differs.

    It lacks `gone`, adds `new`, and has `moved` at other times (first, second).
    """

    gone: list[Reminder]
    new: list[Reminder]
    moved: list[tuple[Reminder, Reminder]]


def compare(first: Rehearsal, second: Rehearsal) -> Difference:
    """Return how the second differs.

    Reminders of the same rule and item that overlap in time are the same one.
    """
    left = list(second.reminders)
    gone, moved = [], []
    for reminder in first.reminders:
        same = next((other for other in left if _same(reminder, other)), None)
        if same is None:
            gone.append(reminder)
            continue
        left.remove(same)
        if same.episode != reminder.episode:
            moved.append((reminder, same))
    return Difference(gone, left, moved)


def _same(one: Reminder, other: Reminder) -> bool:
    overlap = one.episode.opened < other.episode.ended and other.episode.opened < one.episode.ended
    return one.key == other.key and overlap
