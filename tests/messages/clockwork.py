"""A daemon's life by an injected clock, in this process: it wakes when it planned to, and when an entry is logged.

The loop is that of the daemon: a wake, a delivery of what is due, a sleep until the next change or retry. There are no
threads and nothing waits; the channels take what they are sent, or do not, as the test says.
"""

import json
from pathlib import Path
from typing import NamedTuple

from scheduler.base.instants import rfc3339
from scheduler.daemon.wake import WakeResult, decide_without_cache, wake
from scheduler.events.log import LogReader
from scheduler.events.taking import take
from scheduler.facts.fact_store import FactStore
from scheduler.home.folder import Home
from scheduler.messages.outbox import Outbox
from scheduler.reminders.board import Board

Fields = dict[str, object]


class Letter(NamedTuple):
    """A message as a channel got it."""

    arrived: int
    channel: str
    kind: str
    title: str
    body: str
    ref: str


class Clockwork:
    """A home with its daemon. `down`: the channels that take nothing. `wakes`: how often it woke.

    Each of so many wakes (`held_every`) is held to a look at everything that uses nothing kept.
    """

    def __init__(self, path: Path, now: int, held_every: int = 5) -> None:
        self.path = path
        self.now = now
        self.down: set[str] = set()
        self.letters: list[Letter] = []
        self.wakes = 0
        self.held_every = held_every
        self.woken: WakeResult | None = None
        self._planned = now
        self.restart()

    def restart(self) -> None:
        """As after a crash and a start: nothing is remembered but what is on the disk."""
        if hasattr(self, "home"):
            self.home.log.close()
        self.home = Home(self.path)
        self.setup = self.home.setup()
        self.outbox = Outbox(self.home.log, jitter=lambda: 0.0)
        if self.home.log.exists():
            self.outbox.release(self.now)
            self.outbox.retry(self.now)
        self.woken = None
        self._planned = self.now

    def reload(self) -> None:
        """Take the files up as they are now."""
        self.setup = self.home.setup()
        self.wake()

    def log(self, what: str, at: int | None = None, **fields: object) -> None:
        """Another process logs something now, and notifies the daemon."""
        self.log_while_down(what, at, **fields)
        self.wake()

    def log_while_down(self, what: str, at: int | None = None, **fields: object) -> None:
        """The same where no daemon runs."""
        at = self.now if at is None else at
        event = {"at": rfc3339(at), "recorded_at": rfc3339(self.now), "what": what} | fields
        take(self.home.log, [(1, json.dumps(event))], self.setup.fleet, self.now)

    def wake(self) -> WakeResult:
        """Look, decide, and deliver what is due."""
        self.wakes += 1
        held_to = None
        if self.wakes % self.held_every == 0 and not self.outbox.clock_was_ahead(self.now):
            held_to = decide_without_cache(self.home, self.setup, self.now)
        woken = wake(self.home, self.setup, self.now)
        if held_to is not None:
            assert woken.messages == held_to.messages, "what was kept of the last look changed what is said"
            assert abs(woken.open - held_to.open) <= 3, "the home's own rules apart, which wait for the digest"
            assert woken.next_wake <= held_to.next_wake
        assert woken.next_wake > self.now, "it would wake again at once, and again"
        self.woken = woken
        if woken.behind is None:
            self.deliver()
        tries = self.outbox.next_try(self.now, [channel.name for channel in self.setup.channels])
        assert tries is None or tries > self.now
        self._planned = min(woken.next_wake, tries or woken.next_wake)
        return woken

    def deliver(self) -> None:
        """Send what is due, each channel in turn."""
        for channel in self.setup.channels:
            for row in self.outbox.due(channel.name, self.now):
                claimed = self.outbox.claim(row, self.now)
                assert claimed is not None
                if channel.name in self.down:
                    self.outbox.failed(claimed, self.now, "no connection")
                else:
                    self.outbox.sent(claimed, self.now)
                    self.letters.append(Letter(self.now, row.channel, row.kind, row.title, row.body, row.ref))

    def run(self, to: int, most: int = 500) -> None:
        """Live on to an instant. Fails where it wakes more often than `most` on the way."""
        before = self.wakes
        if self.woken is None:
            self.wake()
        while self._planned <= to:
            self.now = max(self.now, self._planned)
            self.wake()
            assert self.wakes - before <= most, "it wakes too often"
        self.now = to

    def sleep(self, to: int) -> None:
        """Nothing runs until then: no power, or suspended; then it wakes."""
        self.now = to
        self.wake()

    def step(self, by: int) -> None:
        """The clock is set; the next beat notices, and it wakes."""
        self.now += by
        self.wake()

    def board(self) -> Board:
        """The board as the daemon has it before it."""
        return Board(FactStore(self.setup.fleet, LogReader(self.home.log), self.setup.clocks), self.setup.rules)

    def told(self) -> list[tuple[int, str, str, str, str]]:
        """What was told of which reminder, in order: when, kind, rule, item, reason."""
        ledger = self.outbox.ledger()
        lines = [line for key in ledger.announced_keys() for line in ledger.of_key(key)]
        return sorted((line.at, line.kind, line.key.rule, line.key.item, line.reason) for line in lines)

    def firsts(self) -> list[tuple[str, str]]:
        """Rule and item of every first telling."""
        return [(rule, item) for _, kind, rule, item, _ in self.told() if kind == "first"]

    def close(self) -> None:
        """Let go of the home."""
        self.home.log.close()
