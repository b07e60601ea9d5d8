"""One wake: read the log, decide what to say, write messages and item states."""

from collections.abc import Collection, Iterator
from functools import partial
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, rfc3339
from scheduler.base.progress import Progress, nobody
from scheduler.daemon.work_list import StatesToKeep, WorkList, ensure_item_states, in_groups, uncollected, work_list_of
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
from scheduler.reminders.message_text import Newest, Text, compose, take_snapshot
from scheduler.reminders.unjudged import unknown_order
from scheduler.verdicts.explain import explain, to_json
from scheduler.verdicts.verdict import Key

_TRIES = 4
"""How often a wake computes without the lock. When others wrote each time, it computes once more with it."""


class WakeResult(NamedTuple):
    """The result of a wake.

    `decision`: None when the clock is not trusted, because it reads before `behind`, the event recorded last.
    `next_wake`: when there may be more to say. `open`: how many reminders are open. `sick`: the verdicts that could not
    be computed, with the error. `to_keep`: None where it looked at all items without the cache.
    """

    decision: Decision | None
    next_wake: int
    messages: list[Message]
    open: int = 0
    behind: Event | None = None
    sick: dict[Key, str] = {}  # noqa: RUF012 - never changed
    to_keep: StatesToKeep | None = None


def wake(
    home: Home, setup: Setup, now: int, dry_run: bool = False, trust: bool = False, progress: Progress = nobody
) -> WakeResult:
    """Decide what to say at `now` and queue it.

    `trust`: take `now` even if it lies before the newest event. Looks only at the items whose next instant has come, or
    that new entries touch; with `trust`, at all items. Two wakes at once never queue the same message twice: each
    writes only if the log is as it was when it decided. It holds the lock while it decides only if others write all the
    time. Raises Refused and sqlite3.Error.
    """
    newest = None if trust else home.log.newest()
    if newest is not None and newest.recorded_at > now:
        return WakeResult(None, newest.recorded_at, [], behind=newest)
    outbox = Outbox(home.log)
    run = _WakeRun(home, setup, outbox, now, progress, supposed=dry_run and trust)
    cached = bool(setup.channels) and not trust  # without any channel nothing counts as sent, and nothing is ever over
    if dry_run:
        return _decide(run, cached)
    if outbox.clock_was_ahead(now) and not trust:
        with outbox.writing() as transaction:
            outbox.reset_times(transaction, now)
    for left in reversed(range(_TRIES)):
        version = home.log.version()
        if cached:
            ensure_item_states(home, setup, outbox, now, progress)
        with home.log.reading():
            result = _decide(run, cached)
        with outbox.writing() as transaction:
            if home.log.version() != version:  # another process has written since
                if left:
                    continue
                result = _decide(run, cached)
            _queue(outbox, transaction, setup, result)
            _keep_states(home, transaction, result)
            _report_sick(outbox, transaction, setup, result.sick, now)
            transaction.execute("INSERT OR IGNORE INTO state VALUES ('began', ?)", (now,))
            remember(transaction, "woke_at", now)
            remember(transaction, "planned", result.next_wake)
        break
    return result


def decide_without_cache(home: Home, setup: Setup, now: int) -> WakeResult:
    """Return what a wake at `now` would decide without kept states. Writes nothing."""
    return _decide(_WakeRun(home, setup, Outbox(home.log), now, nobody, supposed=False), cached=False)


def _keep_states(home: Home, transaction: Transaction, result: WakeResult) -> None:
    """Store this wake's states; without any, drop the cache: it lacks what was sent."""
    if result.to_keep is None:
        drop(transaction)
        return
    work_list, states = result.to_keep
    ItemStates(home.log).update(transaction, work_list.was, work_list.key, states, work_list.home_by)


def distrust(newest: Event, zone: ZoneInfo) -> str:
    """Return the line to show while the clock reads before the event recorded last."""
    recorded = rfc3339(newest.recorded_at, zone)
    return f"waiting: the clock stands before {recorded}, when event {newest.id} ({newest.what}) was recorded"


def unwell(result: WakeResult) -> list[str]:
    """Return a line on every verdict that could not be computed."""
    return [f"rule {key.rule} cannot be judged for {key.item}: {text}" for key, text in result.sick.items()]


def _decide(run: "_WakeRun", cached: bool) -> WakeResult:
    """Decide about items changed since the kept states if `cached`, else about all."""
    home, setup, now = run.home, run.setup, run.now
    work_list = work_list_of(home, setup, run.outbox, now) if cached else None
    part = run.decide(work_list, False, None)
    digest, gap = plan_digest(run.board([]), run.ledger([]), setup.hours, part.decision.announcements, now)
    if digest:
        work_list = work_list and work_list.widened(ItemStates(home.log).with_news())
        part = run.decide(work_list, True, gap)
    messages = [message for channel in setup.channels for message in _messages(part, channel, setup, run.newest)]
    result = WakeResult(part.decision, part.next_wake, messages, part.open, sick=part.sick)
    if work_list is None:
        return result
    states, items = ItemStates(home.log), work_list.items
    changes = [part.next_wake, states.next_except(items), work_list.home_by or MAX_INSTANT]
    return result._replace(
        next_wake=min(instant for instant in changes if instant > now),
        open=part.open + states.open_except(items),
        to_keep=StatesToKeep(work_list, part.states),
    )


class _Part(NamedTuple):
    """What a wake decided about some items.

    `reasons`: why it announces each reminder. `states`: to be kept.
    """

    decision: Decision
    reasons: dict[Key, dict[str, object]]
    sick: dict[Key, str]
    open: int
    next_wake: int
    states: list[ItemState]


class _WakeRun(NamedTuple):
    """A wake under way. `supposed`: `now` is assumed, so no wake before it was missed."""

    home: Home
    setup: Setup
    outbox: Outbox
    now: int
    progress: Progress
    supposed: bool

    def board(self, items: list[str] | None, touched: Collection[str] = (), ledger: Ledger | None = None) -> Board:
        """Return a board of some items; None for all.

        `touched`: the items whose kept summary is not valid. `ledger`: leaves out what it shows to be over.
        """
        setup, reader = self.setup, LogReader(self.home.log)
        with_home = items is not None and HOME in items
        summary = ItemStates(self.home.log).home_summary(without=touched) if with_home else None
        begins = MIN_INSTANT if ledger is None else home_asked_since(setup.rules, ledger, self.now)
        store = FactStore(setup.fleet, reader, setup.clocks, tracking=True, summary=summary, starting_at=begins)
        return Board(
            store, setup.rules, items, since=None if ledger is None else partial(ledger.relevant_since, now=self.now)
        )

    def ledger(self, items: list[str] | None) -> Ledger:
        """Return what was sent of some items; None for all."""
        ledger = self.outbox.ledger(items)
        if self.supposed:
            ledger.planned = None
        return ledger

    def newest(self) -> int | None:
        """Return when the last entry happened."""
        return self.board([]).store.newest()

    def decide(self, work_list: WorkList | None, digest: bool, gap: Gap | None) -> _Part:
        """Decide about a work list, None for all, in groups small enough for memory."""
        if work_list is None:
            return self._decide_group(None, (), digest, gap)
        with uncollected():
            parts, done = [], 0
            for items in in_groups(self.setup.fleet, work_list.items):
                parts.append(self._decide_group(items, work_list.items, digest, gap))
                done += len(items)
                self.progress(done, len(work_list.items))
        return parts[0] if len(parts) == 1 else self._merge(parts)

    def _decide_group(self, items: list[str] | None, touched: Collection[str], digest: bool, gap: Gap | None) -> _Part:
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
        part = _Part(
            decision=_without_board(decision),
            reasons={word.reminder.key: _explanation(word, self.setup, now) for word in decision.announcements},
            sick=solved.sick,
            open=len(board.open_at(now)),
            next_wake=next_wake(board, ledger, hours, decision),
            states=[] if items is None else list(item_states(board, solved, ledger, hours, decision, items)),
        )
        board.store.close()
        return part

    def _merge(self, parts: list[_Part]) -> _Part:
        """Merge the parts, in the order that one board would have."""
        first, now = parts[0].decision, self.now
        decision = first._replace(
            announcements=sorted(
                (word for part in parts for word in part.decision.announcements),
                key=lambda word: urgency_order(now, word.reminder),
            ),
            still_open=sorted(
                (reminder for part in parts for reminder in part.decision.still_open), key=partial(urgency_order, now)
            ),
            ended=sorted((each for part in parts for each in part.decision.ended), key=ending_order),
            unknown=sorted(
                (each for part in parts for each in part.decision.unknown),
                key=unknown_order(self.setup.rules, self.setup.fleet),
            ),
        )
        return _Part(
            decision,
            {key: reason for part in parts for key, reason in part.reasons.items()},
            {key: text for part in parts for key, text in part.sick.items()},
            sum(part.open for part in parts),
            min(part.next_wake for part in parts),
            [state for part in parts for state in part.states],
        )

    def _with_correction(self, ended: Ended, solved: SolvedBoard) -> Ended:
        """Name the entry that withdrew a reminder: the first after which it was gone."""
        if ended.ending != "withdrawn":
            return ended
        names = {ended.key.item, *(name for name, _ in solved.dependencies.get(ended.key.item, ()))}
        log, home = self.home.log, ended.key.item == HOME  # which depends on everything
        told = (e for e in log.told_in(ended.first_at, self.now) if home or names & {*log.touched_by(e)})
        cause = next((event for event in told if not self._was_open(ended, event.seq)), None)
        return ended if cause is None else ended._replace(by=cause, ended=cause.recorded_at)

    def _was_open(self, ended: Ended, seq: int) -> bool:
        """Return whether the log up to `seq` still shows a reminder as open."""
        store = FactStore(self.setup.fleet, LogReader(self.home.log, before=seq + 1), self.setup.clocks)
        verdict = Board(store, self.setup.rules, [ended.key.item]).by_key.get(ended.key)
        return verdict is not None and verdict.open_at(ended.first_at) is not None


def _without_board(decision: Decision) -> Decision:
    """Return a decision that can be worded after its board is gone."""
    now = decision.at
    return decision._replace(
        announcements=[word._replace(reminder=take_snapshot(word.reminder, now)) for word in decision.announcements],
        coming=[],
        still_open=[take_snapshot(reminder, now) for reminder in decision.still_open],
        ended=[each._replace(reminder=each.reminder and take_snapshot(each.reminder, now)) for each in decision.ended],
    )


def _queue(outbox: Outbox, transaction: Transaction, setup: Setup, result: WakeResult) -> None:
    # Without any channel nothing counts as sent, so that the first channel gets all of it.
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


def _messages(part: _Part, channel: Channel, setup: Setup, newest: Newest) -> Iterator[Message]:
    """Yield the message of a decision to one channel, if it takes any of it."""
    decision = part_for(part.decision, channel)
    if decision is None:
        return
    text = _text(decision, setup, newest)
    reasons = [part.reasons[word.reminder.key] for word in decision.announcements]
    yield Message(channel.name, decision.kind, text.title, text.body, reasons)


def _text(decision: Decision, setup: Setup, newest: Newest) -> Text:
    """Write the message; if a text cannot be filled, list what is open and the error."""
    reminders = [word.reminder for word in decision.announcements]
    try:
        return compose(decision, reminders, setup.hours.zone, newest)
    except Exception as error:  # a text that fails must not silence the reminder it belongs to
        body = "\n".join([*_plain(reminders), f"(the text failed: {error})"])
        return Text(f"{len(reminders)} to see to", body)


def _plain(reminders: list[Reminder]) -> Iterator[str]:
    return (f"{reminder.verdict.rule.title}: {reminder.key.item}" for reminder in reminders)


def _explanation(word: Announcement, setup: Setup, now: int) -> dict[str, object]:
    """Return why a reminder is announced, as known now."""
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
