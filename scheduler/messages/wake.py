"""One wake: look at the log, decide, and put what is to be said into the outbox, all in one transaction."""

from collections.abc import Iterator
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.events.log import HOME, Event, Log, Reader, Transaction
from scheduler.facts.book import Book
from scheduler.home import Channel, Home, Setup
from scheduler.instants import DUSK, rfc3339
from scheduler.messages.folds import Folds, Progress
from scheduler.messages.notices import Notice, over_but, tell
from scheduler.messages.outbox import Message, Outbox, remember
from scheduler.messages.scope import Look, Scope, ensure_folds, look_of, nobody, scope_of
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.decide import Decision, Ended, decide, next_wake
from scheduler.reminders.fold import solve
from scheduler.reminders.text import Text, compose
from scheduler.reminders.words import DISTURBING, Word
from scheduler.verdicts.explain import explain, to_json
from scheduler.verdicts.verdict import Key


class Woken(NamedTuple):
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
    look: Look | None = None


def wake(
    home: Home, setup: Setup, now: int, dry_run: bool = False, trust: bool = False, progress: Progress = nobody
) -> Woken:
    """Decide what to say at `now` and queue it. `trust`: take `now` even if it lies before the newest event.

    Only the items are looked at whose instant has come, or about which something was logged; a dry run looks at all.
    Two wakes at once never queue the same twice: the decision that is written is made inside its transaction. A wake
    that finds nothing to say does not hold the lock while it thinks. Raises Refused and sqlite3.Error.
    """
    newest = None if trust else home.log.newest()
    if newest is not None and newest.recorded_at > now:
        return Woken(None, newest.recorded_at, [], behind=newest)
    outbox = Outbox(home.log)
    if dry_run:
        return _look(home, setup, outbox, now, supposed=trust)
    if outbox.ahead(now) and not trust:
        with outbox.writing() as transaction:
            outbox.put_back(transaction, now)
    kept = bool(setup.channels)  # without any, nothing counts as told, and nothing is ever over
    if kept:
        ensure_folds(home, setup, outbox, now, progress)
    woken = _look(home, setup, outbox, now, kept)
    with outbox.writing() as transaction:
        if woken.decision or not _keep(home, transaction, woken):
            woken = _look(home, setup, outbox, now, kept)
            _queue(outbox, transaction, setup, woken)
            _keep(home, transaction, woken)
        _report_sick(outbox, transaction, setup, woken.sick, now)
        transaction.execute("INSERT OR IGNORE INTO state VALUES ('began', ?)", (now,))
        remember(transaction, "woke_at", now)
        remember(transaction, "planned", woken.next_wake)
    return woken


def _keep(home: Home, transaction: Transaction, woken: Woken) -> bool:
    """Keep the folds that a look made. False where another has changed what it started from."""
    if woken.look is None:
        return True
    scope, folds = woken.look
    return Folds(home.log).keep(transaction, scope.was, scope.base, folds, scope.home_by)


def distrust(newest: Event, zone: ZoneInfo) -> str:
    """What is said while the clock stands before the event recorded last."""
    recorded = rfc3339(newest.recorded_at, zone)
    return f"waiting: the clock stands before {recorded}, when event {newest.id} ({newest.what}) was recorded"


def unwell(woken: Woken) -> list[str]:
    """One line on every verdict that could not be computed."""
    return [f"rule {key.rule} cannot be judged for {key.item}: {text}" for key, text in woken.sick.items()]


def _look(home: Home, setup: Setup, outbox: Outbox, now: int, kept: bool = False, supposed: bool = False) -> Woken:
    """Look at the items that may have changed since the folds that are `kept`, or else at all of them.

    `supposed`: `now` is another instant than this one, up to which nobody can have missed a look.
    """
    if not kept:
        return _decide(home, setup, outbox, now, None, supposed)
    scope = scope_of(home, setup, now)
    woken = _decide(home, setup, outbox, now, scope)
    if woken.decision is not None and woken.decision.digest:
        scope = scope.widened(Folds(home.log).with_news())
        woken = _decide(home, setup, outbox, now, scope)
    return woken


def _decide(home: Home, setup: Setup, outbox: Outbox, now: int, scope: Scope | None, supposed: bool = False) -> Woken:
    items = None if scope is None else sorted(scope.items)
    evidence = Folds(home.log).evidence(but=items) if items is not None and HOME in items else {}
    book = Book(setup.fleet, Reader(home.log), setup.clocks, listening=True, evidence=evidence)
    board = Board(book, setup.rules, items)
    solved = solve(board, now)
    ledger = outbox.ledger(items)
    if supposed:
        ledger.planned = None
    decision = decide(board, ledger, setup.hours, now)
    ended = [_with_correction(ended, home, setup, now) for ended in decision.ended if ended.key not in solved.sick]
    decision = decision._replace(ended=ended)
    messages = [message for channel in setup.channels for message in _messages(decision, channel, setup, board)]
    for line in decision.told():
        ledger.add(line)
    if decision.digest:
        ledger.digest_at = now
    turn, opened = next_wake(board, ledger, setup.hours, decision), len(board.open_at(now))
    woken = Woken(decision, turn, messages, opened, sick=solved.sick)
    if scope is None:
        return woken
    kept = Folds(home.log)
    turns = [turn, kept.next_but(items or ()), scope.home_by or DUSK]
    return woken._replace(
        next_wake=min(turn for turn in turns if turn > now),
        open=opened + kept.open_but(items or ()),
        look=look_of(scope, board, solved, ledger, setup, decision),
    )


def _with_correction(ended: Ended, home: Home, setup: Setup, now: int) -> Ended:
    """With what withdrew a reminder, and when: the first entry told since it was first told with which it is gone."""
    if ended.ending != "withdrawn":
        return ended
    told = sorted((e for e, _ in home.log.history() if ended.first_at < e.recorded_at <= now), key=_arrival)
    gone = next((event for event in told if not _stood(home.log, setup, ended, event.seq)), None)
    return ended if gone is None else ended._replace(by=gone, ended=gone.recorded_at)


def _arrival(event: Event) -> int:
    return event.seq


def _stood(log: Log, setup: Setup, ended: Ended, seq: int) -> bool:
    """True when a reminder was there still, by the log up to a place in it."""
    board = Board(Book(setup.fleet, Reader(log, before=seq + 1), setup.clocks), setup.rules, [ended.key.item])
    verdict = board.by_key.get(ended.key)
    return verdict is not None and verdict.open_at(ended.first_at) is not None


def _queue(outbox: Outbox, transaction: Transaction, setup: Setup, woken: Woken) -> None:
    """Without any channel nothing counts as told, so that the first channel hears all of it."""
    if setup.channels and woken.decision:
        outbox.queue(transaction, woken.decision, woken.messages)


def _report_sick(outbox: Outbox, transaction: Transaction, setup: Setup, sick: dict[Key, str], now: int) -> None:
    by_rule: dict[str, list[str]] = {}
    for key, text in sick.items():
        by_rule.setdefault(key.rule, []).append(f"{key.item}: {text}")
    over_but(transaction, "rule/", [f"rule/{rule}" for rule in by_rule])
    for rule, lines in by_rule.items():
        body = "\n".join(["It is set aside, the other rules go on.", *lines])
        notice = Notice(f"rule/{rule}", rule, f"Rule {rule} cannot be judged", body)
        tell(outbox, transaction, notice, setup.ordinary(), now, setup.hours.delivery(now))


def _messages(decision: Decision, channel: Channel, setup: Setup, board: Board) -> Iterator[Message]:
    """The message of a decision to one channel, if it takes any of it."""
    part = part_for(decision, channel)
    if part is None:
        return
    text = _text(part, setup, board)
    reasons = [_explanation(word, setup, decision.at) for word in part.words]
    yield Message(channel.name, part.kind, text.title, text.body, reasons)


def part_for(decision: Decision, channel: Channel) -> Decision | None:
    """What of a decision a channel takes: a digest whole if it takes what only digests bring, else its words alone."""
    words = [word for word in decision.words if takes(channel, word, decision.at)]
    if not decision.digest or set(channel.urgency) <= set(DISTURBING):
        return _bare(decision, words) if words else None
    still = [reminder for reminder in decision.still if reminder.verdict.urgency(decision.at) in channel.urgency]
    taken = decision._replace(words=words, still=still)
    empty = not (words or still or decision.ended or decision.unknown)
    return None if empty and (decision.words or decision.still) else taken


def takes(channel: Channel, word: Word, now: int) -> bool:
    """True when a channel gets a word: a further one what has been rung as `now` for so long and is not seen."""
    if not channel.after:
        return word.kind != "escalated" and word.urgency in channel.urgency
    return word.urgency == "now" and word.unseen_since is not None and now - word.unseen_since >= channel.after


def _bare(decision: Decision, words: list[Word]) -> Decision:
    return decision._replace(words=words, digest=False, still=[], ended=[], unknown=[])


def _text(decision: Decision, setup: Setup, board: Board) -> Text:
    """The message; where a text cannot be filled, plainly what is open and the error."""
    reminders = [word.reminder for word in decision.words]
    try:
        return compose(decision, reminders, setup.hours.zone, board)
    except Exception as error:  # a text that fails must not silence the reminder it belongs to
        body = "\n".join([*_plain(reminders), f"(the text failed: {error})"])
        return Text(f"{len(reminders)} to see to", body)


def _plain(reminders: list[Reminder]) -> Iterator[str]:
    return (f"{reminder.verdict.rule.title}: {reminder.key.item}" for reminder in reminders)


def _explanation(word: Word, setup: Setup, now: int) -> dict[str, object]:
    """Why a reminder was rung, as things were known at the time."""
    verdict = word.reminder.verdict

    def stamp(instant: int) -> str:
        return rfc3339(instant, setup.hours.zone)

    return {
        "rule": word.reminder.key.rule,
        "item": word.reminder.key.item,
        "kind": word.kind,
        "urgency": word.urgency,
        "opened_at": stamp(word.reminder.stretch.opened),
        "because": to_json(explain(verdict, verdict.rule.when, now), stamp),
    }
