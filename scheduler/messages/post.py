"""The post: takes what is due out of the outbox and has it sent, each channel on its own."""

import os
import queue
import threading
import time
from collections.abc import Callable, Mapping
from typing import NamedTuple

from scheduler.findings import Refused
from scheduler.home import Channel, Home, Setup
from scheduler.instants import HOUR, SECOND
from scheduler.messages.lock import DAEMON, Lock
from scheduler.messages.notices import Notice, over, tell
from scheduler.messages.outbox import TRIAL, Message, Outbox, Row
from scheduler.messages.poke import poke
from scheduler.messages.senders import PERMANENT, SENT, TEMPORARY, Outcome, address, send
from scheduler.messages.wake import body_as_sent
from scheduler.reminders.text import moment_near

SEND_SECONDS = 45.0
"""How long one send may take in all before it is taken for lost."""
REPORTED_AFTER = 6 * HOUR
"""A channel that has failed for so long is reported through the others."""
_MOST_HUNG = 5


class _Sending(NamedTuple):
    row: Row
    thread: threading.Thread
    started: float


class Post:
    """Sends on every channel at once, one message at a time on each.

    Only network is left to the threads; the outbox is written by the one that calls `pump`. A send that hangs is taken
    for lost after `limit` seconds and its thread left behind. `nudge` is called, in the sender's thread, when a send ends.
    """

    def __init__(
        self,
        outbox: Outbox,
        setup: Setup,
        environ: Mapping[str, str] = os.environ,
        limit: float = SEND_SECONDS,
        nudge: Callable[[], None] = lambda: None,
    ) -> None:
        self.outbox = outbox
        self.setup = setup
        self._environ = environ
        self._limit = limit
        self._nudge = nudge
        self._results: queue.SimpleQueue[tuple[Row, Outcome]] = queue.SimpleQueue()
        self._under_way: dict[str, _Sending] = {}
        self._hung: dict[str, list[threading.Thread]] = {}

    @property
    def busy(self) -> bool:
        """True while any send is under way."""
        return bool(self._under_way)

    def patience(self) -> float | None:
        """Seconds until the first send under way is taken for lost; None when none is."""
        starts = [sending.started for sending in self._under_way.values()]
        return max(0.0, min(starts) + self._limit - time.monotonic()) if starts else None

    def pump(self, now: int, start: bool = True) -> None:
        """Record what has ended, take for lost what hangs, and (with `start`) send what is due."""
        self._collect(now)
        self._expire(now)
        for channel in self.setup.channels if start else ():
            while channel.name not in self._under_way and (row := self._claim(channel.name, now)):
                self._start(channel, row, now)

    def _claim(self, channel: str, now: int) -> Row | None:
        claims = (self.outbox.claim(row, now) for row in self.outbox.due(channel, now))
        return next((row for row in claims if row is not None), None)

    def _start(self, channel: Channel, row: Row, now: int) -> None:
        hung = [thread for thread in self._hung.get(channel.name, ()) if thread.is_alive()]
        self._hung[channel.name] = hung
        if len(hung) >= _MOST_HUNG:
            self._record(row, Outcome(TEMPORARY, f"{len(hung)} earlier sends still hang"), now)
            return
        try:
            target = address(channel, self._environ)
        except Refused as refused:
            self._record(row, Outcome(PERMANENT, str(refused)), now)
            return
        body = body_as_sent(row, self.setup, now)

        def work() -> None:
            self._results.put((row, send(target, row.title, body)))
            self._nudge()

        thread = threading.Thread(target=work, name=f"send-{channel.name}", daemon=True)
        self._under_way[channel.name] = _Sending(row, thread, time.monotonic())
        thread.start()

    def _collect(self, now: int) -> None:
        while not self._results.empty():
            row, outcome = self._results.get()
            sending = self._under_way.get(row.channel)
            if sending is not None and sending.row == row:
                del self._under_way[row.channel]
                self._record(row, outcome, now)
            elif outcome.state == SENT:  # it had been taken for lost, and arrived all the same
                self._record(row, outcome, now)

    def _expire(self, now: int) -> None:
        for name, sending in list(self._under_way.items()):
            if time.monotonic() - sending.started >= self._limit:
                del self._under_way[name]
                self._hung.setdefault(name, []).append(sending.thread)
                self._record(sending.row, Outcome(TEMPORARY, f"no end within {self._limit:g} s"), now)

    def _record(self, row: Row, outcome: Outcome, now: int) -> None:
        if outcome.state == SENT:
            self.outbox.sent(row, now)
            with self.outbox.writing() as transaction:
                over(transaction, f"channel/{row.channel}")
            return
        self.outbox.failed(row, now, outcome.reason, outcome.state == PERMANENT)
        if row.kind != TRIAL:
            self._report(row.channel, outcome, now)

    def _report(self, name: str, outcome: Outcome, now: int) -> None:
        """Tell through the other channels, once, of one that will not work."""
        since = self.outbox.state(f"failing/{name}") or now
        others = [channel.name for channel in self.setup.channels if channel.name != name]
        if not others or (outcome.state != PERMANENT and now - since < REPORTED_AFTER):
            return
        when = moment_near(since, now, self.setup.hours.zone)
        notice = Notice(f"channel/{name}", name, f"Channel {name} does not work",
                        f"Nothing has come through it since {when}: {outcome.reason}. It is tried on.")  # fmt: skip
        with self.outbox.writing() as transaction:
            tell(self.outbox, transaction, notice, others, now, self.setup.hours.delivery(now))


def deliver_once(home: Home, setup: Setup, now: int, limit: float = SEND_SECONDS) -> list[Row]:
    """Send all that is due now, on all channels at once; returns the rows that were due, as they are then.

    The holder of the home's lock is the only one to send. Where that is another process, it is poked and waited for.
    """
    outbox = Outbox(home.log)
    due = [row.id for channel in setup.channels for row in outbox.due(channel.name, now)]
    _see_through(home, setup, now, due, limit)
    return [outbox.row(row_id) for row_id in due]


def ring(home: Home, channel: str, now: int, limit: float = SEND_SECONDS) -> Outcome:
    """Send a trial message through a channel, by the same way as any other. Raises Refused for an unknown channel."""
    setup = home.setup()
    chosen = next((known for known in setup.channels if known.name == channel), None)
    if chosen is None:
        raise Refused.because(f"there is no channel {channel!r}")
    outbox = Outbox(home.log)
    text = f"This is a trial of the channel {channel}. If you can read it, reminders will arrive here."
    with outbox.writing() as transaction:
        row_id = outbox.add(transaction, Message(channel, TRIAL, "Trial from shelfbell", text), now)
    _see_through(home, setup._replace(channels=[chosen]), now, [row_id], limit)
    row = outbox.row(row_id)
    if row.state == "sent":
        return Outcome(SENT)
    return Outcome(TEMPORARY, row.last_error or "the running daemon has not sent it yet")


def _see_through(home: Home, setup: Setup, now: int, rows: list[int], limit: float) -> None:
    """Have these rows sent, by this process or by the one that holds the lock; bounded."""
    outbox = Outbox(home.log)
    end = time.monotonic() + 2 * limit + 5
    with Lock(home.path, "once") as lock:
        while _unfinished(outbox, rows, now) and time.monotonic() < end:
            if lock.acquire():
                outbox.release(now)
                _pump_through(Post(outbox, setup, limit=limit), rows, now)
                return
            poke(home.path)
            time.sleep(0.2)


def _pump_through(post: Post, rows: list[int], now: int) -> None:
    post.pump(now)
    while post.busy and _unfinished(post.outbox, rows, now):
        time.sleep(0.01)
        post.pump(now)


def _unfinished(outbox: Outbox, rows: list[int], now: int) -> bool:
    """True while any of the rows waits for its attempt or is under way."""
    states = [outbox.row(row_id) for row_id in rows]
    return any(row.state == "sending" or (row.state == "waiting" and row.next_try_at <= now) for row in states)
