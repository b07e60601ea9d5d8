"""The decision: what to say now. Pure: the daemon, the dry run and the rehearsal all ask here."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from scheduler.base.instants import HOUR, MAX_INSTANT
from scheduler.events.event import Event
from scheduler.facts.item_events import kind_of
from scheduler.reminders.announcements import Announcement, next_announcement, said_of
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.hours import Hours
from scheduler.reminders.notification import Notification
from scheduler.reminders.superseded import how_ended
from scheduler.reminders.unjudged import Unknown, unknown_at
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.verdict import Key, Verdict

MISSED_AFTER = HOUR
"""What is said this much later than it was due, the look that was planned for it missed, is summed up. Common practice,
no source."""


class Ledger:
    """What was told so far, by rule and item, when the last digest was decided, when the bell began, when the last look
    was, and for when it had the next one planned."""

    def __init__(
        self,
        told: Iterable[Notification] = (),
        digest_at: int | None = None,
        began: int | None = None,
        planned: int | None = None,
        looked: int | None = None,
    ) -> None:
        self._told: dict[Key, list[Notification]] = {}
        self._groups: dict[Key, dict[int, list[Notification]]] = {}
        self._unsettled: dict[tuple[Key, int], None] = {}
        self.digest_at = digest_at
        self.began = began
        self.planned = planned
        self.looked = looked
        for line in told:
            self.add(line)

    def add(self, line: Notification) -> None:
        """Note one telling."""
        self._told.setdefault(line.key, []).append(line)
        self._groups.setdefault(line.key, {}).setdefault(line.first_at, []).append(line)
        if line.kind == "settled":
            self._unsettled.pop((line.key, line.first_at), None)
        else:
            self._unsettled[line.key, line.first_at] = None

    def of(self, reminder: Reminder) -> list[Notification]:
        """The tellings that belong to a reminder: those whose first message was decided within its stretch."""
        groups = self._groups.get(reminder.key, {})
        its = [lines for first_at, lines in groups.items() if reminder.episode.holds(first_at)]
        if len(its) == 1:
            return its[0]
        return [line for line in self.lines(reminder.key) if reminder.episode.holds(line.first_at)] if its else []

    def spoken_of(self) -> Iterable[Key]:
        """The rules and items of which anything was told."""
        return self._told.keys()

    def unsettled(self) -> list[tuple[Key, int]]:
        """The rule and item, and the first message, of all that was told and not told to be over."""
        return list(self._unsettled)

    def lines(self, key: Key) -> list[Notification]:
        """Every telling of a rule and item, in the order in which they were noted."""
        return self._told.get(key, [])

    def rung(self) -> Iterator[Notification]:
        """Every telling but that something is over."""
        return (line for lines in self._told.values() for line in lines if line.kind != "settled")

    def since(self, key: Key, now: int) -> int:
        """From when on a rule and item can have to be spoken of at `now`: the last digest, or the first telling of what
        was not told to be over."""
        open_since = (first_at for first_at in self._groups.get(key, ()) if (key, first_at) in self._unsettled)
        return min((now if self.digest_at is None else min(now, self.digest_at), *open_since))


class Ended(NamedTuple):
    """A reminder that is over and of which the digest says so once: told before, or opened and settled unseen."""

    key: Key
    first_at: int
    opened: int
    ended: int
    ending: str
    reminder: Reminder | None
    by: Event | None = None
    """The entry that ended it, where one did."""
    told: bool = True
    """False where it opened and settled unseen."""

    @property
    def reason(self) -> str:
        """How it ended, and by what."""
        return f"{self.ending} by {self.by.what} ({self.by.id})" if self.by else self.ending


class Gap(NamedTuple):
    """A stretch after which one message sums up: the operator was away, or nothing was running. `looked`: when the last
    look before it was, where that is known."""

    start: int
    end: int
    away: bool
    looked: int | None = None


class Decision(NamedTuple):
    """What to say at an instant.

    `words`: the reminders to ring. `ahead`: what will be said of those left alone. `digest`: this is a digest, so it
    also lists what is `still` open, what `ended`, and what is `unknown`. `gap`: it sums up after one.
    """

    at: int
    words: list[Announcement]
    ahead: list[Announcement]
    digest: bool
    still: list[Reminder]
    ended: list[Ended]
    unknown: list[Unknown]
    gap: Gap | None = None

    def __bool__(self) -> bool:
        return bool(self.words) or self.digest

    @property
    def kind(self) -> str:
        """The kind of the message: summary, digest, or that of its most telling word."""
        if self.gap is not None:
            return "summary"
        if self.digest:
            return "digest"
        kinds = {word.kind for word in self.words}
        return next((kind for kind in ("first", "rise") if kind in kinds), "again")

    def told(self) -> list[Notification]:
        """The lines of the ledger that this message makes."""
        lines = [
            Notification(w.reminder.key, self.at if w.kind == "first" else w.first_at, self.at, w.kind, w.urgency)
            for w in self.words
        ]
        lines += [Notification(e.key, e.first_at, self.at, "settled", "whenever", e.reason) for e in self.ended]
        return lines


def decide(board: Board, ledger: Ledger, hours: Hours, now: int, asked: Iterable[Reminder] | None = None) -> Decision:
    """What to say at `now`, given what was told before.

    `asked`: those of the reminders open now of which anything can be said now; None where that is not known.
    """
    found = announcements_of(board, ledger, hours, now, board.open_at(now) if asked is None else asked)
    digest, gap = gathering(board, ledger, hours, found.words, now)
    return with_digest(board, ledger, hours, found, gap) if digest else found


def announcements_of(board: Board, ledger: Ledger, hours: Hours, now: int, asked: Iterable[Reminder]) -> Decision:
    """What to say of some open reminders of a board, whatever comes of the others."""
    found = (next_announcement(board, reminder, ledger.of(reminder), hours, now) for reminder in asked)
    words = [word for word in found if word is not None]
    ringing = [word for word in words if word.due <= now]
    return Decision(now, ringing, [word for word in words if word.due > now], False, [], [], [])


def gathering(
    board: Board, ledger: Ledger, hours: Hours, words: list[Announcement], now: int
) -> tuple[bool, Gap | None]:
    """Whether what is said at `now` comes as a digest, and the gap that it sums up. `words`: all that ring."""
    gap = gap_before(board, ledger, hours, words, now)
    gathered = any(word.held for word in words) and board.away_until(now) == now
    return gap is not None or gathered or weekly_due(board, ledger, hours, now), gap


def with_digest(board: Board, ledger: Ledger, hours: Hours, found: Decision, gap: Gap | None) -> Decision:
    """The same with what a digest tells besides."""
    now, open_now = found.at, board.open_at(found.at)
    rung = {word.reminder for word in found.words}
    known = (r for r in open_now if ledger.of(r) or said_of(board, r, now))
    still = [reminder for reminder in known if reminder not in rung]
    ended, unknown = sorted(endings(board, ledger, now), key=by_end), news_of_unknown(board, ledger, hours, now)
    return found._replace(digest=True, still=still, ended=ended, unknown=unknown, gap=gap)


def gap_before(board: Board, ledger: Ledger, hours: Hours, ringing: list[Announcement], now: int) -> Gap | None:
    """The stretch that a message at `now` has to sum up: an absence that is over, or a time in which nothing ran and
    something fell due."""
    back = returned(board, ledger, hours, now)
    if back is not None:
        return back
    planned = ledger.planned
    if planned is not None and any(planned <= word.due <= now - MISSED_AFTER for word in ringing):
        return Gap(planned, now, away=False, looked=ledger.looked)
    return None


def returned(board: Board, ledger: Ledger, hours: Hours, now: int) -> Gap | None:
    """The absence that is over and of which no digest came since."""
    since = ledger.digest_at if ledger.digest_at is not None else ledger.began
    if since is None or board.away_until(now) != now:
        return None
    over = [a for a in board.away if since < a.end and a.told_at < a.end and hours.delivery(a.end) <= now]
    if not over or hours.quiet_until(now) != now:
        return None
    return Gap(min(absence.start for absence in over), max(absence.end for absence in over), away=True)


def next_wake(board: Board, ledger: Ledger, hours: Hours, decision: Decision) -> int:
    """The next instant after a decision, noted in the ledger, at which there may be something to say: a reminder opens
    or ends, a word falls due, a weekly digest."""
    now = decision.at
    turns = [
        board.next_change(now) or MAX_INSTANT,
        *(word.due for word in words_to_come(board, ledger, hours, decision)),
    ]
    return min([next_gathering(board, ledger, hours, now), *(turn for turn in turns if turn > now)])


def words_to_come(board: Board, ledger: Ledger, hours: Hours, decision: Decision) -> Iterator[Announcement]:
    """What will be said next, after a decision noted in the ledger, of each reminder open now."""
    yield from decision.ahead
    for reminder in (word.reminder for word in decision.words):
        word = next_announcement(board, reminder, ledger.of(reminder), hours, decision.at)
        if word is not None:
            yield word


def next_gathering(board: Board, ledger: Ledger, hours: Hours, now: int) -> int:
    """The next instant after `now` at which a digest may be due of itself: weekly, or after an absence."""
    turns = [hours.delivery(absence.end) for absence in board.away]
    turns.append(hours.next_weekly(max(now, ledger.digest_at or now) + 1))
    return min(turn for turn in turns if turn > now)


def weekly_due(board: Board, ledger: Ledger, hours: Hours, now: int) -> bool:
    """True when no digest was sent since the last weekly hour."""
    since = ledger.digest_at if ledger.digest_at is not None else ledger.began
    if since is None or board.away_until(now) != now or hours.quiet_until(now) != now:
        return False
    return hours.next_weekly(since + 1) <= now


def endings(board: Board, ledger: Ledger, now: int) -> Iterator[Ended]:
    """Reminders that are over since they were told, and those that came and went unseen since the last digest."""
    for key, first_at in ledger.unsettled():
        if ended := _ended(board, key, first_at, now):
            yield ended
    for reminder in board.ended_in(ledger.digest_at if ledger.digest_at is not None else now, now):
        if not ledger.of(reminder):
            yield _over(board, reminder.key, reminder.episode.opened, reminder)._replace(told=False)


def _closed(board: Board, key: Key) -> str:
    """Why nothing is judged any more by a rule on an item."""
    if key.rule not in board.rules:
        return "closed, the rule is gone,"
    return "closed, the rule is off for it," if kind_of(board.store, key.item) else "closed, the item is gone,"


def _ended(board: Board, key: Key, first_at: int, now: int) -> Ended | None:
    """How a told reminder ended, if it has."""
    verdict = board.by_key.get(key)
    if verdict is None:
        return Ended(key, first_at, first_at, now, _closed(board, key), None)
    episode = next((s for s in verdict.episodes if s.holds(first_at)), None)
    if episode is None:
        gone = Reminder(verdict, Episode(first_at, now, "withdrawn"))
        return Ended(key, first_at, first_at, now, "withdrawn", gone)
    if episode.ended > now:
        return None
    return _over(board, key, first_at, Reminder(verdict, episode))


def _over(board: Board, key: Key, first_at: int, reminder: Reminder) -> Ended:
    episode = reminder.episode
    by = _cause(reminder.verdict, episode.ended) if episode.ending == "settled" else None
    return Ended(key, first_at, episode.opened, episode.ended, how_ended(reminder), reminder, by)


def _cause(verdict: Verdict, instant: int) -> Event | None:
    """The entry that changed something at an instant: one of that very instant before a flight under way."""
    return max((event for event in verdict.events if event.at == instant), default=verdict.event_at(instant))


def by_end(ended: Ended) -> tuple[object, ...]:
    """Sorts what is over: what was told first, each in the order in which it ended."""
    return not ended.told, ended.ended, ended.first_at, ended.key


def news_of_unknown(board: Board, ledger: Ledger, hours: Hours, now: int) -> list[Unknown]:
    """What cannot be judged: as it begins, and all of it once a week."""
    unknown = unknown_at(board, now)
    last = ledger.digest_at
    if last is None or hours.next_weekly(last + 1) <= now:
        return unknown
    return [entry for entry in unknown if entry.since > last]
