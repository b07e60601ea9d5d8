"""The post: send what is due in the outbox, each channel by itself."""

import os
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.findings import Refused
from scheduler.base.instants import HOUR, MINUTE, moment_near
from scheduler.home.setup import Channel, Setup
from scheduler.messages.notices import Notice, end_notice, queue_notice
from scheduler.messages.outbox import TRIAL, Outbox, OutboxRow
from scheduler.messages.senders import PERMANENT, SENT, TEMPORARY, Outcome, address, send

SEND_SECONDS = 45.0
"""Seconds after which a send counts as lost. Common practice, no source."""
REPORTED_AFTER = 6 * HOUR
"""A channel that has failed for this long is reported through the others. Common practice, no source."""
LATE = 10 * MINUTE
"""From this delay on a message says when it was decided."""
_MOST_HUNG = 5


Send = Callable[[str, str, str], Outcome]
"""Takes an address, a title and a body; never raises."""


class _Sending(NamedTuple):
    row: OutboxRow
    thread: threading.Thread
    started: float


class Post:
    """Sends on all channels at once, one message at a time on each.

    Threads only touch the network; the caller of `pump` writes the outbox. A send that hangs counts as lost after
    `limit` seconds; its thread is left behind. `wake` is called in a sender's thread as it ends. `log` gets a line on
    every outcome. `sender`: sends one message; by default `send`, in this process.
    """

    def __init__(
        self,
        outbox: Outbox,
        setup: Setup,
        wake: Callable[[], object],
        limit: float = SEND_SECONDS,
        environ: Mapping[str, str] = os.environ,
        log: Callable[[str], object] = lambda _: None,
        sender: Send | None = None,
    ) -> None:
        self.outbox = outbox
        self.setup = setup
        self._wake = wake
        self._limit = limit
        self._environ = environ
        self._log = log
        self._sender = sender
        self._results: deque[tuple[OutboxRow, Outcome]] = deque()
        self._under_way: dict[str, _Sending] = {}
        self._hung: dict[str, list[threading.Thread]] = {}

    @property
    def busy(self) -> bool:
        """True while a send is under way."""
        return bool(self._under_way)

    def patience(self) -> float | None:
        """Return the seconds until the first send under way counts as lost, or None."""
        starts = [sending.started for sending in self._under_way.values()]
        return max(0.0, min(starts) + self._limit - time.monotonic()) if starts else None

    def pump(self, now: int, start: bool = True) -> None:
        """Record the sends that ended or were lost; with `start`, send what is due."""
        self._collect(now)
        self._expire(now)
        for channel in self.setup.channels if start else ():
            row = self._claim(channel.name, now) if channel.name not in self._under_way else None
            if row is not None:
                self._start(channel, row, now)

    def _claim(self, channel: str, now: int) -> OutboxRow | None:
        claims = (self.outbox.claim(row, now) for row in self.outbox.due(channel, now))
        return next((row for row in claims if row is not None), None)

    def _start(self, channel: Channel, row: OutboxRow, now: int) -> None:
        self._hung[channel.name] = [thread for thread in self._hung.get(channel.name, ()) if thread.is_alive()]
        hung = len(self._hung[channel.name])
        body = body_as_sent(row, self.setup.hours.zone, now)

        def work() -> None:
            self._results.append((row, self._attempt(channel, row.title, body, hung)))
            self._wake()

        thread = threading.Thread(target=work, name=f"send-{channel.name}", daemon=True)
        self._under_way[channel.name] = _Sending(row, thread, time.monotonic())
        thread.start()

    def _attempt(self, channel: Channel, title: str, body: str, hung: int) -> Outcome:
        if hung >= _MOST_HUNG:
            return Outcome(TEMPORARY, f"{hung} earlier sends still hang")
        try:
            return (self._sender or send)(address(channel, self._environ), title, body)
        except Refused as refused:
            return Outcome(PERMANENT, str(refused))

    def _collect(self, now: int) -> None:
        """Record results; each stays queued until recorded, in case of a locked database."""
        while self._results:
            row, outcome = self._results[0]
            sending = self._under_way.get(row.channel)
            awaited = sending is not None and sending.row == row
            if awaited or outcome.result == SENT:  # what counted as lost may have arrived
                self._record(row, outcome, now)
            if awaited:
                del self._under_way[row.channel]
            self._results.popleft()

    def _expire(self, now: int) -> None:
        for name, sending in list(self._under_way.items()):
            if time.monotonic() - sending.started >= self._limit:
                self._record(sending.row, Outcome(TEMPORARY, f"no end within {self._limit:g} s"), now)
                self._hung.setdefault(name, []).append(sending.thread)
                del self._under_way[name]

    def _record(self, row: OutboxRow, outcome: Outcome, now: int) -> None:
        self._log(describe_outcome(row, outcome))
        if outcome.result == SENT:
            self.outbox.sent(row, now)
            with self.outbox.writing() as transaction:
                end_notice(transaction, f"channel/{row.channel}")
            return
        self.outbox.failed(row, now, outcome.reason, outcome.result == PERMANENT)
        if row.kind != TRIAL:
            self._report(row.channel, outcome, now)

    def _report(self, name: str, outcome: Outcome, now: int) -> None:
        """Report once, through the other channels, that a channel does not work."""
        since = self.outbox.state(f"failing/{name}") or now
        others = self.setup.notice_channels(except_for=name)
        if not others or (outcome.result != PERMANENT and now - since < REPORTED_AFTER):
            return
        when = moment_near(since, now, self.setup.hours.zone)
        text = f"Nothing has come through since {when}: {outcome.reason}\nIt is tried on; its messages keep for a week."
        notice = Notice(f"channel/{name}", name, f"Channel {name} does not work", text)
        with self.outbox.writing() as transaction:
            queue_notice(self.outbox, transaction, notice, others, now, self.setup.hours.delivery(now))


def describe_outcome(row: OutboxRow, outcome: Outcome) -> str:
    """Return one line on the outcome of a message."""
    end = "sent" if outcome.result == SENT else f"not sent: {outcome.reason}"
    return f"{row.kind} message {row.ref} to {row.channel} {end}"


def body_as_sent(row: OutboxRow, zone: ZoneInfo, now: int) -> str:
    """Return the body with a last line: reference, and decision time if late."""
    late = f"Decided {moment_near(row.decided_at, now, zone)}, delivered late. " if now - row.decided_at > LATE else ""
    return f"{row.body}\n\n{late}Reference {row.ref}."
