"""One wake: look at the log, decide, and put what is to be said into the outbox, together with what is kept of it."""

from collections.abc import Collection, Iterator
from functools import partial
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, rfc3339
from scheduler.base.progress import Progress, nobody
from scheduler.daemon.work_list import StatesToKeep, WorkList, ensure_item_states, in_parts, uncollected, work_list_of
from scheduler.events.event import HOME, Event
from scheduler.events.log import LogReader, Transaction
from scheduler.facts.fact_store import FactStore
from scheduler.home.folder import Home
from scheduler.home.item_states import ItemStates, drop
from scheduler.home.setup import Channel, Setup
from scheduler.messages.notices import Notice, end_notices_but, queue_notice
from scheduler.messages.outbox import Message, Outbox, remember
from scheduler.messages.routing import part_for
from scheduler.reminders.announcements import Announcement
from scheduler.reminders.board import Board, Reminder, urgency_order
from scheduler.reminders.decide import (
    Decision,
    Ended,
    Gap,
    Ledger,
    add_digest,
    decide_announcements,
    ending_order,
    next_wake,
    plan_digest,
)
from scheduler.reminders.item_state import ItemState, SolvedBoard, home_asked_since, item_states, solve
from scheduler.reminders.message_text import Newest, Text, compose, keep
from scheduler.reminders.unjudged import Unknown
from scheduler.verdicts.explain import explain, to_json
from scheduler.verdicts.verdict import Key

_TRIES = 4
"""So often a wake looks without the lock; when others have written each time, it looks once more with it."""


class WakeResult(NamedTuple):
    """What a wake came to.

    `decision`: None when the clock is not trusted, because it stands before `behind`, the event recorded last.
    `next_wake`: when there may be more to say. `open`: how many reminders are open. `sick`: the verdicts that could not
    be computed, with the error. `look`: what it leaves to be kept of the items it looked at; None where it looked at
    all of them and leaves nothing.
    """

    decision: Decision | None
    next_wake: int
    messages: list[Message]
    open: int = 0
    behind: Event | None = None
    sick: dict[Key, str] = {}  # noqa: RUF012 - never changed
    look: StatesToKeep | None = None


def wake(
    home: Home, setup: Setup, now: int, dry_run: bool = False, trust: bool = False, progress: Progress = nobody
) -> WakeResult:
    """Decide what to say at `now` and queue it. `trust`: take `now` even if it lies before the newest event.

    Only the items are looked at whose instant has come, or about which something was logged; with `trust`, all.
    Two wakes at once never queue the same twice: what is written was decided from what its transaction finds unchanged.
    The lock is not held while it thinks, but when others write all the time. Raises Refused and sqlite3.Error.
    """
    newest = None if trust else home.log.newest()
    if newest is not None and newest.recorded_at > now:
        return WakeResult(None, newest.recorded_at, [], behind=newest)
    outbox = Outbox(home.log)
    desk = _WakeRun(home, setup, outbox, now, progress, supposed=dry_run and trust)
    kept = bool(setup.channels) and not trust  # without any channel nothing counts as told, and nothing is ever over
    if dry_run:
        return _look(desk, kept)
    if outbox.clock_was_ahead(now) and not trust:
        with outbox.writing() as transaction:
            outbox.reset_times(transaction, now)
    for left in reversed(range(_TRIES)):
        version = home.log.version()
        if kept:
            ensure_item_states(home, setup, outbox, now, progress)
        with home.log.reading():
            result = _look(desk, kept)
        with outbox.writing() as transaction:
            if home.log.version() != version:  # another has written since
                if left:
                    continue
                result = _look(desk, kept)
            _queue(outbox, transaction, setup, result)
            _keep(home, transaction, result)
            _report_sick(outbox, transaction, setup, result.sick, now)
            transaction.execute("INSERT OR IGNORE INTO state VALUES ('began', ?)", (now,))
            remember(transaction, "woke_at", now)
            remember(transaction, "planned", result.next_wake)
        break
    return result


def look_at_all(home: Home, setup: Setup, now: int) -> WakeResult:
    """What a wake at `now` that used nothing kept would decide; nothing is written."""
    return _look(_WakeRun(home, setup, Outbox(home.log), now, nobody, supposed=False))


def _keep(home: Home, transaction: Transaction, result: WakeResult) -> None:
    """Keep the folds that a look made; after one that made none, what it told is in none that there are."""
    if result.look is None:
        drop(transaction)
        return
    work_list, made = result.look
    ItemStates(home.log).keep(transaction, work_list.was, work_list.base, made, work_list.home_by)


def distrust(newest: Event, zone: ZoneInfo) -> str:
    """What is said while the clock stands before the event recorded last."""
    recorded = rfc3339(newest.recorded_at, zone)
    return f"waiting: the clock stands before {recorded}, when event {newest.id} ({newest.what}) was recorded"


def unwell(result: WakeResult) -> list[str]:
    """One line on every verdict that could not be computed."""
    return [f"rule {key.rule} cannot be judged for {key.item}: {text}" for key, text in result.sick.items()]


def _look(desk: "_WakeRun", kept: bool = False) -> WakeResult:
    """Look at the items that may have changed since the folds that are `kept`, or else at all of them."""
    home, setup, now = desk.home, desk.setup, desk.now
    work_list = work_list_of(home, setup, desk.outbox, now) if kept else None
    seen = desk.see(work_list, False, None)
    digest, gap = plan_digest(desk.board([]), desk.ledger([]), setup.hours, seen.decision.announcements, now)
    if digest:
        work_list = work_list and work_list.widened(ItemStates(home.log).with_news())
        seen = desk.see(work_list, True, gap)
    messages = [message for channel in setup.channels for message in _messages(seen, channel, setup, desk.newest)]
    result = WakeResult(seen.decision, seen.next_wake, messages, seen.open, sick=seen.sick)
    if work_list is None:
        return result
    states, items = ItemStates(home.log), work_list.items
    turns = [turn for turn in (seen.next_wake, states.next_but(items), work_list.home_by or MAX_INSTANT) if turn > now]
    return result._replace(
        next_wake=min(turns), open=seen.open + states.open_but(items), look=StatesToKeep(work_list, seen.states)
    )


class _Seen(NamedTuple):
    """What some items came to. `reasons`: why each of the words is said. `states`: what is left of each item."""

    decision: Decision
    reasons: dict[Key, dict[str, object]]
    sick: dict[Key, str]
    open: int
    next_wake: int
    states: list[ItemState]


class _WakeRun(NamedTuple):
    """What a look is made with.

    `supposed`: `now` is another instant than this one, up to which nobody can have missed a look.
    """

    home: Home
    setup: Setup
    outbox: Outbox
    now: int
    progress: Progress
    supposed: bool

    def board(self, items: list[str] | None, touched: Collection[str] = (), ledger: Ledger | None = None) -> Board:
        """A board of some items, or of all. `touched`: the items of which what is kept does not hold; `ledger`: what it
        has no need to speak of any more is not asked about."""
        setup, reader = self.setup, LogReader(self.home.log)
        known = ItemStates(self.home.log).known(but=touched) if items is not None and HOME in items else None
        begins = MIN_INSTANT if ledger is None else home_asked_since(setup.rules, ledger, self.now)
        store = FactStore(setup.fleet, reader, setup.clocks, tracking=True, summary=known, starting_at=begins)
        return Board(
            store, setup.rules, items, since=None if ledger is None else partial(ledger.relevant_since, now=self.now)
        )

    def ledger(self, items: list[str] | None) -> Ledger:
        """What was told of some items, or of all."""
        ledger = self.outbox.ledger(items)
        if self.supposed:
            ledger.planned = None
        return ledger

    def newest(self) -> int | None:
        """When the last entry happened."""
        return self.board([]).store.newest()

    def see(self, work_list: WorkList | None, digest: bool, gap: Gap | None) -> _Seen:
        """What the items of a scope come to, or all: so many at a time that their entries can be held at once."""
        if work_list is None:
            return self._see(None, (), digest, gap)
        with uncollected():
            parts, done = [], 0
            for items in in_parts(self.setup.fleet, work_list.items):
                parts.append(self._see(items, work_list.items, digest, gap))
                done += len(items)
                self.progress(done, len(work_list.items))
        return parts[0] if len(parts) == 1 else self._together(parts)

    def _see(self, items: list[str] | None, touched: Collection[str], digest: bool, gap: Gap | None) -> _Seen:
        ledger, hours, now = self.ledger(items), self.setup.hours, self.now
        board = self.board(items, touched, None if items is None else ledger)
        solved = solve(board, now)
        decision = decide_announcements(board, ledger, hours, now, board.open_at(now))
        if digest:
            decision = add_digest(board, ledger, hours, decision, gap)
            ended = (self._with_correction(each, solved) for each in decision.ended if each.key not in solved.sick)
            decision = decision._replace(ended=sorted(ended, key=ending_order))
            ledger.digest_at = now
        for line in decision.notifications():
            ledger.add(line)
        seen = _Seen(
            decision=_kept(decision),
            reasons={word.reminder.key: _explanation(word, self.setup, now) for word in decision.announcements},
            sick=solved.sick,
            open=len(board.open_at(now)),
            next_wake=next_wake(board, ledger, hours, decision),
            states=[] if items is None else list(item_states(board, solved, ledger, hours, decision, items)),
        )
        board.store.close()
        return seen

    def _together(self, parts: list[_Seen]) -> _Seen:
        """What parts come to, taken together, in the order that one board would have."""
        first, now = parts[0].decision, self.now
        rules, place = list(self.setup.rules), self.setup.fleet.place

        def in_fleet(unknown: Unknown) -> tuple[object, ...]:
            return rules.index(unknown.key.rule), place(unknown.key.item), unknown.key.item

        decision = first._replace(
            announcements=sorted(
                (word for part in parts for word in part.decision.announcements),
                key=lambda word: urgency_order(now, word.reminder),
            ),
            still_open=sorted(
                (reminder for part in parts for reminder in part.decision.still_open), key=partial(urgency_order, now)
            ),
            ended=sorted((each for part in parts for each in part.decision.ended), key=ending_order),
            unknown=sorted((each for part in parts for each in part.decision.unknown), key=in_fleet),
        )
        return _Seen(
            decision,
            {key: reason for part in parts for key, reason in part.reasons.items()},
            {key: text for part in parts for key, text in part.sick.items()},
            sum(part.open for part in parts),
            min(part.next_wake for part in parts),
            [state for part in parts for state in part.states],
        )

    def _with_correction(self, ended: Ended, solved: SolvedBoard) -> Ended:
        """With what withdrew a reminder, and when: the first entry since it was first told with which it is gone."""
        if ended.ending != "withdrawn":
            return ended
        names = {ended.key.item, *(name for name, _ in solved.dependencies.get(ended.key.item, ()))}
        log, home = self.home.log, ended.key.item == HOME  # which rests on all
        told = (e for e in log.told_in(ended.first_at, self.now) if home or names & {*log.filed_under(e)})
        gone = next((event for event in told if not self._stood(ended, event.seq)), None)
        return ended if gone is None else ended._replace(by=gone, ended=gone.recorded_at)

    def _stood(self, ended: Ended, seq: int) -> bool:
        """True when a reminder was there still, by the log up to a place in it."""
        store = FactStore(self.setup.fleet, LogReader(self.home.log, before=seq + 1), self.setup.clocks)
        verdict = Board(store, self.setup.rules, [ended.key.item]).by_key.get(ended.key)
        return verdict is not None and verdict.open_at(ended.first_at) is not None


def _kept(decision: Decision) -> Decision:
    """A decision that needs its board no more to be told."""
    now = decision.at
    return decision._replace(
        announcements=[word._replace(reminder=keep(word.reminder, now)) for word in decision.announcements],
        coming=[],
        still_open=[keep(reminder, now) for reminder in decision.still_open],
        ended=[each._replace(reminder=each.reminder and keep(each.reminder, now)) for each in decision.ended],
    )


def _queue(outbox: Outbox, transaction: Transaction, setup: Setup, result: WakeResult) -> None:
    """Without any channel nothing counts as told, so that the first channel hears all of it."""
    if setup.channels and result.decision:
        outbox.queue(transaction, result.decision, result.messages)


def _report_sick(outbox: Outbox, transaction: Transaction, setup: Setup, sick: dict[Key, str], now: int) -> None:
    by_rule: dict[str, list[str]] = {}
    for key, text in sick.items():
        by_rule.setdefault(key.rule, []).append(f"{key.item}: {text}")
    end_notices_but(transaction, "rule/", [f"rule/{rule}" for rule in by_rule])
    for rule, lines in by_rule.items():
        body = "\n".join(["It is set aside, the other rules go on.", *lines])
        notice = Notice(f"rule/{rule}", rule, f"Rule {rule} cannot be judged", body)
        queue_notice(outbox, transaction, notice, setup.notice_channels(), now, setup.hours.delivery(now))


def _messages(seen: _Seen, channel: Channel, setup: Setup, newest: Newest) -> Iterator[Message]:
    """The message of a decision to one channel, if it takes any of it."""
    part = part_for(seen.decision, channel)
    if part is None:
        return
    text = _text(part, setup, newest)
    yield Message(
        channel.name, part.kind, text.title, text.body, [seen.reasons[word.reminder.key] for word in part.announcements]
    )


def _text(decision: Decision, setup: Setup, newest: Newest) -> Text:
    """The message; where a text cannot be filled, plainly what is open and the error."""
    reminders = [word.reminder for word in decision.announcements]
    try:
        return compose(decision, reminders, setup.hours.zone, newest)
    except Exception as error:  # a text that fails must not silence the reminder it belongs to
        body = "\n".join([*_plain(reminders), f"(the text failed: {error})"])
        return Text(f"{len(reminders)} to see to", body)


def _plain(reminders: list[Reminder]) -> Iterator[str]:
    return (f"{reminder.verdict.rule.title}: {reminder.key.item}" for reminder in reminders)


def _explanation(word: Announcement, setup: Setup, now: int) -> dict[str, object]:
    """Why a reminder was rung, as things were known at the time."""
    verdict = word.reminder.verdict

    def stamp(instant: int) -> str:
        return rfc3339(instant, setup.hours.zone)

    return {
        "rule": word.reminder.key.rule,
        "item": word.reminder.key.item,
        "kind": word.kind,
        "urgency": word.urgency,
        "opened_at": stamp(word.reminder.episode.opened),
        "because": to_json(explain(verdict, verdict.rule.when, now), stamp),
    }
