"""One wake: look at the log, decide, and put what is to be said into the outbox, all in one transaction."""

import traceback
from collections.abc import Iterator
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.events.log import Event, Log, Transaction
from scheduler.facts.book import Book
from scheduler.home import Channel, Home, Setup
from scheduler.instants import DUSK, rfc3339
from scheduler.messages.notices import Notice, over_but, tell
from scheduler.messages.outbox import Message, Outbox, remember
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.decide import Decision, Ended, decide, next_wake
from scheduler.reminders.text import Text, compose
from scheduler.reminders.words import DISTURBING, Word
from scheduler.verdicts.explain import explain, to_json
from scheduler.verdicts.verdict import Key, Verdict


class Woken(NamedTuple):
    """What a wake came to.

    `decision`: None when the clock is not trusted, because it stands before `behind`, the event recorded last.
    `next_wake`: when there may be more to say. `open`: how many reminders are open. `sick`: the verdicts that could not
    be computed, with the error.
    """

    decision: Decision | None
    next_wake: int
    messages: list[Message]
    open: int = 0
    behind: Event | None = None
    sick: dict[Key, str] = {}  # noqa: RUF012 - never changed


def wake(home: Home, setup: Setup, now: int, dry_run: bool = False, trust: bool = False) -> Woken:
    """Decide what to say at `now` and queue it. `trust`: take `now` even if it lies before the newest event.

    Two wakes at once never queue the same twice: the decision that is written is made inside its transaction. A wake
    that finds nothing to say does not hold the lock while it thinks. Raises Refused and sqlite3.Error.
    """
    newest = None if trust else home.log.newest()
    if newest is not None and newest.recorded_at > now:
        return Woken(None, newest.recorded_at, [], behind=newest)
    outbox = Outbox(home.log)
    if outbox.ahead(now) and not (trust or dry_run):
        with outbox.writing() as transaction:
            outbox.put_back(transaction, now)
    woken = _look(home, setup, outbox, now, dry_run and trust)
    if dry_run:
        return woken
    with outbox.writing() as transaction:
        if woken.decision:
            woken = _look(home, setup, outbox, now)
            _queue(outbox, transaction, setup, woken)
        _report_sick(outbox, transaction, setup, woken.sick, now)
        transaction.execute("INSERT OR IGNORE INTO state VALUES ('began', ?)", (now,))
        remember(transaction, "woke_at", now)
        remember(transaction, "planned", woken.next_wake)
    return woken


def distrust(newest: Event, zone: ZoneInfo) -> str:
    """What is said while the clock stands before the event recorded last."""
    recorded = rfc3339(newest.recorded_at, zone)
    return f"waiting: the clock stands before {recorded}, when event {newest.id} ({newest.what}) was recorded"


def unwell(woken: Woken) -> list[str]:
    """One line on every verdict that could not be computed."""
    return [f"rule {key.rule} cannot be judged for {key.item}: {text}" for key, text in woken.sick.items()]


def _look(home: Home, setup: Setup, outbox: Outbox, now: int, supposed: bool = False) -> Woken:
    """`supposed`: `now` is another instant than this one, up to which nobody can have missed a look."""
    board = Board(Book(setup.fleet, home.log, setup.clocks), setup.rules)
    sick = _set_sick_aside(board, now)
    ledger = outbox.ledger()
    if supposed:
        ledger.planned = None
    decision = decide(board, ledger, setup.hours, now)
    ended = [_with_correction(ended, home, setup, now) for ended in decision.ended if ended.key not in sick]
    decision = decision._replace(ended=ended)
    messages = [message for channel in setup.channels for message in _messages(decision, channel, setup, board)]
    for line in decision.told():
        ledger.add(line)
    if decision.digest:
        ledger.digest_at = now
    wake = next_wake(board, ledger, setup.hours, decision)
    return Woken(decision, wake, messages, len(board.open_at(now)), sick=sick)


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
    board = Board(Book(setup.fleet, _UpTo(log, seq), setup.clocks), setup.rules, [ended.key.item])
    verdict = board.by_key.get(ended.key)
    return verdict is not None and verdict.open_at(ended.first_at) is not None


class _UpTo(NamedTuple):
    """The events of a log up to a place in it."""

    log: Log
    seq: int

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """The events in force filed under a name, in order; of one kind where `what` names it."""
        return self.log.of(name, what, DUSK, self.seq + 1)


def _queue(outbox: Outbox, transaction: Transaction, setup: Setup, woken: Woken) -> None:
    """Without any channel nothing counts as told, so that the first channel hears all of it."""
    if setup.channels and woken.decision:
        outbox.queue(transaction, woken.decision, woken.messages)


def _set_sick_aside(board: Board, now: int) -> dict[Key, str]:
    """Take off a board the verdicts that cannot be computed, so that one rule that raises leaves the others going."""
    found = {verdict.key: text for verdict in board.verdicts if (text := _sickness(verdict, now))}
    board.verdicts = [verdict for verdict in board.verdicts if verdict.key not in found]
    return found


def _sickness(verdict: Verdict, now: int) -> str:
    try:
        for stretch in verdict.stretches:
            verdict.rises(stretch)
        verdict.urgency(now)
    except Exception as error:  # whatever a rule raises, the others go on; what it raised is reported
        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {error} ({where.name})"
    return ""


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
