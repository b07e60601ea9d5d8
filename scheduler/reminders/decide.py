"""The decision: what to say now.

Pure: the daemon, the dry run and the rehearsal all call `decide`.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from scheduler.base.instants import HOUR, MAX_INSTANT
from scheduler.events.event import Event
from scheduler.facts.item_events import kind_of
from scheduler.reminders.announcements import Announcement, Notification, last_response, next_announcement
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.hours import Hours
from scheduler.reminders.superseded import how_ended
from scheduler.reminders.unjudged import Unknown, unknown_at
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.verdict import Key, Verdict

MISSED_AFTER = HOUR
"""What comes this much later than due, after a missed wake, is summed up. Common practice, no source."""


class Ledger:
    """All notifications so far by rule and item, and the times of the last wakes.

    Times (None: never): `digest_at`: the last digest was decided. `began`: the first wake of all. `planned`: the
    instant for which the last wake planned the next. `woke_at`: the last wake.
    """

    def __init__(
        self,
        past: Iterable[Notification] = (),
        digest_at: int | None = None,
        began: int | None = None,
        planned: int | None = None,
        woke_at: int | None = None,
    ) -> None:
        self._by_key: dict[Key, list[Notification]] = {}
        self._groups: dict[Key, dict[int, list[Notification]]] = {}
        self._unsettled: dict[tuple[Key, int], None] = {}
        self.digest_at = digest_at
        self.began = began
        self.planned = planned
        self.woke_at = woke_at
        for line in past:
            self.add(line)

    def add(self, line: Notification) -> None:
        """Add one notification."""
        self._by_key.setdefault(line.key, []).append(line)
        self._groups.setdefault(line.key, {}).setdefault(line.first_at, []).append(line)
        if line.kind == "settled":
            self._unsettled.pop((line.key, line.first_at), None)
        else:
            self._unsettled[line.key, line.first_at] = None

    def of_reminder(self, reminder: Reminder) -> list[Notification]:
        """Return the notifications whose first message falls within the episode."""
        groups = self._groups.get(reminder.key, {})
        its = [lines for first_at, lines in groups.items() if reminder.episode.holds(first_at)]
        if len(its) == 1:
            return its[0]
        return [line for line in self.of_key(reminder.key) if reminder.episode.holds(line.first_at)] if its else []

    def announced_keys(self) -> Iterable[Key]:
        """Return the rules and items with any notification."""
        return self._by_key.keys()

    def unsettled(self) -> list[tuple[Key, int]]:
        """Return what was announced and not yet reported as over.

        Each with rule and item, and the time of its first message.
        """
        return list(self._unsettled)

    def of_key(self, key: Key) -> list[Notification]:
        """Return every notification of a rule and item, in the order added."""
        return self._by_key.get(key, [])

    def rings(self) -> Iterator[Notification]:
        """Yield every notification except those that report something over."""
        return (line for lines in self._by_key.values() for line in lines if line.kind != "settled")

    def relevant_since(self, key: Key, now: int) -> int:
        """Return the start of the time that matters for a rule and item at `now`.

        That is the last digest, or the first message about what was not yet reported as over.
        """
        open_since = (first_at for first_at in self._groups.get(key, ()) if (key, first_at) in self._unsettled)
        return min((now if self.digest_at is None else min(now, self.digest_at), *open_since))


class Ended(NamedTuple):
    """A reminder that is over, announced or not, which the digest reports once."""

    key: Key
    first_at: int
    opened: int
    ended: int
    ending: str
    reminder: Reminder | None
    by: Event | None = None
    """The entry that ended it, if one did."""
    announced: bool = True
    """False if it opened and settled unseen."""

    @property
    def reason(self) -> str:
        """How it ended, and what ended it."""
        return f"{self.ending} by {self.by.what} ({self.by.id})" if self.by else self.ending


class Gap(NamedTuple):
    """A time to sum up in one message: the operator was away, or nothing ran.

    `woke_at`: the last wake before it, if known.
    """

    start: int
    end: int
    away: bool
    woke_at: int | None = None


class Decision(NamedTuple):
    """What to say at an instant.

    `announcements`: what rings now. `coming`: the next ones of other open reminders. `digest`: this is a digest, so it
    also lists what is `still_open`, what `ended`, and what is `unknown`. `gap`: what it sums up.
    """

    at: int
    announcements: list[Announcement]
    coming: list[Announcement]
    digest: bool
    still_open: list[Reminder]
    ended: list[Ended]
    unknown: list[Unknown]
    gap: Gap | None = None

    def __bool__(self) -> bool:
        return bool(self.announcements) or self.digest

    @property
    def kind(self) -> str:
        """The kind: summary, digest, or that of its most important announcement."""
        if self.gap is not None:
            return "summary"
        if self.digest:
            return "digest"
        kinds = {each.kind for each in self.announcements}
        return next((kind for kind in ("first", "rise") if kind in kinds), "again")

    def notifications(self) -> list[Notification]:
        """Return the notifications that this message adds to the ledger."""
        lines = [
            Notification(w.reminder.key, self.at if w.kind == "first" else w.first_at, self.at, w.kind, w.urgency)
            for w in self.announcements
        ]
        lines += [Notification(e.key, e.first_at, self.at, "settled", "whenever", e.reason) for e in self.ended]
        return lines


def decide(
    board: Board, ledger: Ledger, hours: Hours, now: int, candidates: Iterable[Reminder] | None = None
) -> Decision:
    """Decide what to say at `now`, given the notifications so far.

    `candidates`: the open reminders that may have something to announce; None for all open ones.
    """
    found = decide_announcements(board, ledger, hours, now, board.open_at(now) if candidates is None else candidates)
    digest, gap = plan_digest(board, ledger, hours, found.announcements, now)
    return add_digest(board, ledger, hours, found, gap) if digest else found


def decide_announcements(
    board: Board, ledger: Ledger, hours: Hours, now: int, candidates: Iterable[Reminder]
) -> Decision:
    """Decide what to announce of some open reminders, whatever the others need."""
    found = (next_announcement(board, reminder, ledger.of_reminder(reminder), hours, now) for reminder in candidates)
    announcements = [each for each in found if each is not None]
    ringing = [each for each in announcements if each.due <= now]
    return Decision(now, ringing, [each for each in announcements if each.due > now], False, [], [], [])


def plan_digest(
    board: Board, ledger: Ledger, hours: Hours, ringing: list[Announcement], now: int
) -> tuple[bool, Gap | None]:
    """Return whether to send a digest at `now`, and the gap that it sums up.

    `ringing`: all that rings now.
    """
    gap = find_gap(board, ledger, hours, ringing, now)
    gathered = any(each.held for each in ringing) and board.away_until(now) == now
    return gap is not None or gathered or weekly_due(board, ledger, hours, now), gap


def add_digest(board: Board, ledger: Ledger, hours: Hours, found: Decision, gap: Gap | None) -> Decision:
    """Add to a digest what is still open, what ended and what cannot be judged."""
    now, open_now = found.at, board.open_at(found.at)
    rung = {each.reminder for each in found.announcements}
    known = (r for r in open_now if ledger.of_reminder(r) or last_response(board, r, now))
    still = [reminder for reminder in known if reminder not in rung]
    ended, unknown = (
        sorted(find_ended(board, ledger, now), key=ending_order),
        find_new_unknown(board, ledger, hours, now),
    )
    return found._replace(digest=True, still_open=still, ended=ended, unknown=unknown, gap=gap)


def find_gap(board: Board, ledger: Ledger, hours: Hours, ringing: list[Announcement], now: int) -> Gap | None:
    """Return the gap that a message at `now` has to sum up.

    An absence that is over, or a missed wake at which something fell due.
    """
    back = find_absence_over(board, ledger, hours, now)
    if back is not None:
        return back
    planned = ledger.planned
    if planned is not None and any(planned <= each.due <= now - MISSED_AFTER for each in ringing):
        return Gap(planned, now, away=False, woke_at=ledger.woke_at)
    return None


def find_absence_over(board: Board, ledger: Ledger, hours: Hours, now: int) -> Gap | None:
    """Return the absence that is over and that no digest has summed up yet."""
    since = ledger.digest_at if ledger.digest_at is not None else ledger.began
    if since is None or board.away_until(now) != now:
        return None
    over = [a for a in board.away if since < a.end and a.known_at < a.end and hours.delivery(a.end) <= now]
    if not over or hours.quiet_until(now) != now:
        return None
    return Gap(min(absence.start for absence in over), max(absence.end for absence in over), away=True)


def next_wake(board: Board, ledger: Ledger, hours: Hours, decision: Decision) -> int:
    """Return the next instant at which there may be something to say.

    Call it after the ledger has the decision. A reminder opens or ends, an announcement falls due, or a digest.
    """
    now = decision.at
    turns = [
        board.next_change(now) or MAX_INSTANT,
        *(each.due for each in coming_announcements(board, ledger, hours, decision)),
    ]
    return min([next_digest_due(board, ledger, hours, now), *(turn for turn in turns if turn > now)])


def coming_announcements(board: Board, ledger: Ledger, hours: Hours, decision: Decision) -> Iterator[Announcement]:
    """Yield the next announcement of each reminder open now.

    Call it after the ledger has the decision.
    """
    yield from decision.coming
    for reminder in (each.reminder for each in decision.announcements):
        found = next_announcement(board, reminder, ledger.of_reminder(reminder), hours, decision.at)
        if found is not None:
            yield found


def next_digest_due(board: Board, ledger: Ledger, hours: Hours, now: int) -> int:
    """Return when a digest next falls due after `now`: weekly, or after an absence."""
    turns = [hours.delivery(absence.end) for absence in board.away]
    turns.append(hours.next_weekly(max(now, ledger.digest_at or now) + 1))
    return min(turn for turn in turns if turn > now)


def weekly_due(board: Board, ledger: Ledger, hours: Hours, now: int) -> bool:
    """Return True if no digest was sent since the last weekly hour."""
    since = ledger.digest_at if ledger.digest_at is not None else ledger.began
    if since is None or board.away_until(now) != now or hours.quiet_until(now) != now:
        return False
    return hours.next_weekly(since + 1) <= now


def find_ended(board: Board, ledger: Ledger, now: int) -> Iterator[Ended]:
    """Yield the reminders to report as over.

    Announced ones, and those that came and went unannounced since the last digest.
    """
    for key, first_at in ledger.unsettled():
        if ended := _ended(board, key, first_at, now):
            yield ended
    for reminder in board.ended_in(ledger.digest_at if ledger.digest_at is not None else now, now):
        if not ledger.of_reminder(reminder):
            yield _over(board, reminder.key, reminder.episode.opened, reminder)._replace(announced=False)


def _closed(board: Board, key: Key) -> str:
    """Return why a rule does not judge an item any more."""
    if key.rule not in board.rules:
        return "closed, the rule is gone,"
    return "closed, the rule is off for it," if kind_of(board.store, key.item) else "closed, the item is gone,"


def _ended(board: Board, key: Key, first_at: int, now: int) -> Ended | None:
    """Return how an announced reminder ended, if it has."""
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
    """Return the entry that changed something at an instant, else the flight then."""
    return max((event for event in verdict.events if event.at == instant), default=verdict.event_at(instant))


def ending_order(ended: Ended) -> tuple[object, ...]:
    """Return the sort key of an ended reminder: announced first, then by ending."""
    return not ended.announced, ended.ended, ended.first_at, ended.key


def find_new_unknown(board: Board, ledger: Ledger, hours: Hours, now: int) -> list[Unknown]:
    """Return what became unknown since the last digest; once a week, all unknown."""
    unknown = unknown_at(board, now)
    last = ledger.digest_at
    if last is None or hours.next_weekly(last + 1) <= now:
        return unknown
    return [entry for entry in unknown if entry.since > last]
