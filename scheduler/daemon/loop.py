"""The daemon: sleeps until something may have changed, decides, sends, and sleeps again."""

import os
import signal
import sys
import time
from collections.abc import Callable
from datetime import UTC
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from scheduler import __version__
from scheduler.base.findings import Refused
from scheduler.base.instants import moment_near, to_datetime
from scheduler.base.progress import Progress, nobody
from scheduler.base.units import count, show
from scheduler.daemon.faults import WorkerFailed, fault_line
from scheduler.daemon.heartbeat import Heartbeat
from scheduler.daemon.service import Service
from scheduler.daemon.subprocess_work import WakeReport, read_in_process, send_in_process, wake_in_process
from scheduler.daemon.wakeups import BEAT, LOGGED, RESULT, TIME, Wakeups
from scheduler.daemon.watch import ChangeDetector
from scheduler.home.folder import Home
from scheduler.home.lock import DAEMON, Lock
from scheduler.home.setup import Channel, Setup
from scheduler.messages.notices import Notice, end_notice, queue_notice
from scheduler.messages.outbox import FILES_READ_AT, Outbox, remember
from scheduler.messages.post import SEND_SECONDS, Post
from scheduler.messages.senders import Outcome

BEAT_SECONDS = 30
GRACE = 5.0
"""Seconds that a sending process is given beyond the limit of the send itself."""
STOP_SECONDS = 20.0
"""How long a stop waits for the sends in hand."""
LOOKED_AT_SECONDS = 0.3
"""More than a look takes whether the lock is held."""
LOCKED_SECONDS = 10
"""How long to wait for a database that another process has locked, well within the watchdog's time."""


def now() -> int:
    """This instant, by the system's clock."""
    return time.time_ns() // 1000


def run(
    home: Home, once: bool = False, dry_run: bool = False, at: int | None = None, progress: Progress = nobody
) -> int:
    """Run the daemon of a home until it is told to stop; returns the exit status.

    `once`: decide, send what is due, and return. `dry_run`: print what that would send and write nothing. `at`: the
    instant that these two ask for instead of this one. `progress` is told how far a long look has come. Raises Refused
    where the home's files or database do not do.
    """
    if once or dry_run:
        from scheduler.daemon.once import preview, run_once

        lines, setup = preview if dry_run else run_once, home.setup()
        print("\n".join(lines(home, setup, now() if at is None else at, trust=at is not None, progress=progress)))
        return 0
    setup = _setup_of(home)
    with Lock(home.path, DAEMON) as lock:
        if not _acquired(lock):
            role, process = lock.holder()
            text = f"not started: process {process or '?'} ({role or '?'}) is at work in {home.path} already"
            log(text, setup.hours.zone)
            return 2
        return Daemon(home, setup, progress).run()


def _setup_of(home: Home) -> Setup:
    """Return the set-up. Another process reads files that are not compiled yet: what it loads for that never leaves."""
    try:
        return home.compiled_setup() or read_in_process(home, LOCKED_SECONDS)
    except WorkerFailed:  # no process can be started: the daemon grows, but it starts
        return home.setup()


def ring(home: Home, channel: Channel) -> Outcome:
    """Send a trial message through a channel by the way of any other. Raises Refused."""
    from scheduler.daemon.once import ring as ring_once

    return ring_once(home, channel, now())


def log(text: str, zone: ZoneInfo | None = None) -> None:
    """One line to stderr for whoever looks after the machine; with the time in `zone` where no journal adds it."""
    stamp = "" if "JOURNAL_STREAM" in os.environ else f"{to_datetime(now(), zone):%Y-%m-%d %H:%M:%S} "
    print(f"{stamp}shelfbell: {text}", file=sys.stderr, flush=True)


def _acquired(lock: Lock) -> bool:
    """Take the lock from a passing `--once` or `ring` when it is done, and from one who only looks whether it is held;
    not from a daemon."""
    begun = time.monotonic()
    while not lock.acquire():
        waited = time.monotonic() - begun
        if waited > (LOOKED_AT_SECONDS if lock.holder()[0] == DAEMON else 2 * SEND_SECONDS):
            return False
        time.sleep(0.1)
    return True


class _Stopped(Exception):
    """The daemon was told to stop in the midst of a long look."""


class Daemon:
    """The loop of one home. All deciding and all writing is done in the thread that calls `run`."""

    def __init__(self, home: Home, setup: Setup, progress: Progress = nobody) -> None:
        self._home = home
        self._setup = setup
        self._held = setup.data()  # read now: later another may stand in its place
        self._loaded_at = now()
        self._outbox = Outbox(home.log)
        self._wakeups = Wakeups(home.path)
        self._post = Post(
            self._outbox, setup, lambda: self._wakeups.wake(RESULT), say=self._log,
            sender=partial(send_in_process, limit=SEND_SECONDS + GRACE),
        )  # fmt: skip
        self._heartbeat = Heartbeat(self._log)
        self._service = Service()
        self._scheduler = _scheduler(self._wakeups)
        self._watch = ChangeDetector(home, now())
        self._planned = 0
        self._trusted = True
        self._begun = False
        self._stopping = False
        self._ready = False
        self._said: dict[str, str] = {}
        self._progress = progress
        self._beaten = 0.0

    def run(self) -> int:
        """Loop until SIGTERM or SIGINT, then finish the sends in hand. Returns 0."""
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, self._stop)
        self._wakeups.catch()
        if self._wakeups.fault:
            self._log(f"no socket in the home ({self._wakeups.fault}): what is logged is seen within {BEAT_SECONDS} s")
        self._scheduler.start()
        self._log(f"started: version {__version__}, {_makeup(self._setup)}")
        try:
            self._loop()
            self._log("told to stop")
        finally:
            self._close()
        return 0

    def _log(self, text: str) -> None:
        log(text, self._setup.hours.zone)

    def _stop(self, *_: object) -> None:
        self._stopping = True

    def _loop(self) -> None:
        kinds = {TIME}
        while not self._stopping:
            if BEAT in kinds and self._beat():
                kinds.add(TIME)
            if kinds & {TIME, LOGGED}:
                self._guard("wake", self._wake)
            self._guard("send", lambda: self._post.pump(now(), start=self._trusted))
            self._guard("plan", self._plan)
            self._say_ready()
            kinds = set() if self._stopping else self._wakeups.wait(self._patience())

    def _patience(self) -> float | None:
        """How long to wait for a nudge: for ever, or until a send under way is taken for lost."""
        left = self._post.patience()
        return max(left, 1.0) if left is not None and "send" in self._said else left

    def _guard(self, name: str, step: Callable[[], object]) -> None:
        """Do one step of the loop. Whatever goes wrong is said once, and tried again at the next beat."""
        try:
            step()
        except _Stopped:
            pass  # told to stop in the midst of it; the loop ends
        except Exception as error:  # the loop must not end; nothing is hidden, each new fault is logged
            text = fault_line(error)
            before, self._said[name] = self._said.get(name), text
            if before != text:
                self._log(f"{name}: {text}; trying again every {BEAT_SECONDS} s")
                self._status(f"in trouble: {text}")
        else:
            if self._said.pop(name, None):
                self._log(f"{name}: well again")

    def _wake(self) -> None:
        self._watch.note_database()
        self._home.log.wait(LOCKED_SECONDS)
        self._begin()
        self._reload()
        looked = self._look()
        self._planned = looked.next_wake
        self._trusted = not looked.distrust
        self._say_new("clock", looked.distrust)
        self._say_new("rules", "\n".join(looked.unwell))
        when = moment_near(looked.next_wake, now(), self._setup.hours.zone)
        self._status(looked.distrust or f"{looked.open} open, next look {when}")

    def _look(self) -> WakeReport:
        """A wake, by what the files say, or said before where they are refused now."""
        held = [self._held, self._setup.fingerprint] if self._said.get("files") else None
        return wake_in_process(self._home, held, now(), LOCKED_SECONDS, self._at_work)

    def _at_work(self, done: int, of: int) -> None:
        """In a long look: the loop is alive. Raises _Stopped when told to stop."""
        if self._stopping:
            raise _Stopped
        self._say_ready()
        if time.monotonic() - self._beaten > BEAT_SECONDS / 3:
            self._beaten = time.monotonic()
            self._guard("watchdog", self._service.beat)
        self._progress(done, of)

    def _begin(self) -> None:
        """Once: what the last daemon left under way or waiting is due."""
        if not self._begun:
            self._outbox.release(now())
            self._outbox.retry(now())
            with self._outbox.writing() as transaction:
                remember(transaction, FILES_READ_AT, self._loaded_at)
            self._begun = True

    def _say_new(self, about: str, text: str) -> None:
        """Log a text when it differs from the last one about the same; "" when all is well again."""
        before = self._said.get(about, "")
        if text != before:
            self._log(text or f"{about}: well again")
        self._said[about] = text

    def _reload(self) -> None:
        """Take up changed files once they pass the check; until then the old ones stay."""
        if not self._watch.files_changed():
            return
        stamps = self._watch.stamps()
        try:
            setup = read_in_process(self._home, LOCKED_SECONDS, self._at_work)
        except Refused as refused:
            self._refuse(str(refused))
        else:
            if setup.fingerprint != self._setup.fingerprint or self._said.get("files"):
                self._take_up(setup)
        self._watch.note_files(stamps)

    def _take_up(self, setup: Setup) -> None:
        self._log(f"files read anew: {_makeup(setup)}")
        self._say_new("files", "")
        self._setup = self._post.setup = setup
        self._held = setup.data()
        self._loaded_at = now()
        self._outbox.retry(now())
        with self._outbox.writing() as transaction:
            end_notice(transaction, "files")
            remember(transaction, FILES_READ_AT, self._loaded_at)

    def _refuse(self, findings: str) -> None:
        since = moment_near(self._loaded_at, now(), self._setup.hours.zone)
        head = f"changed files refused, running the old rules since {since}"
        self._say_new("files", f"{head}:\n{findings}")
        notice = Notice("files", findings, "Changed files refused", f"{head}. What is wrong:\n{findings}")
        names = self._setup.notice_channels()
        with self._outbox.writing() as transaction:
            queue_notice(self._outbox, transaction, notice, names, now(), self._setup.hours.delivery(now()))

    def _beat(self) -> bool:
        """Tell the watchdog that the loop is alive; true when anything changed without a nudge."""
        self._guard("watchdog", self._service.beat)
        self._guard("heartbeat", self._ping)
        if step := self._watch.clock_step(now()):
            self._log(f"the clock has moved by {step:+.0f} s")
        changed = self._watch.database_changed() or self._watch.files_changed()
        return bool(step) or changed or self._planned <= now() or "wake" in self._said

    def _ping(self) -> None:
        """On each hour in which it can decide, and a channel works, tell the outside so."""
        faults = {"wake", "send", "plan"} & self._said.keys()
        if not (self._setup.heartbeat and self._heartbeat.due()) or faults or not self._trusted:
            return
        health = self._outbox.channel_health()
        if not self._setup.channels or any(
            channel.name not in health or not health[channel.name].failing_since for channel in self._setup.channels
        ):
            self._heartbeat.ping(self._setup.heartbeat)

    def _plan(self) -> None:
        """Set the one date job: the next change of a verdict, or the next retry. After a fault the beat tries again;
        told to stop, a job for this instant would meet the end of the scheduler."""
        if "wake" in self._said or self._stopping:
            return
        tries = self._outbox.next_try(now(), [channel.name for channel in self._setup.channels])
        self._scheduler.add_job(
            self._wakeups.wake, "date", args=[TIME], id="wake", replace_existing=True,
            run_date=to_datetime(max(min(self._planned, tries or self._planned), now())),
        )  # fmt: skip

    def _say_ready(self) -> None:
        if not self._ready:
            self._ready = True
            self._guard("service manager", lambda: self._service.tell("READY=1"))

    def _status(self, text: str) -> None:
        self._guard("service manager", lambda: self._service.tell(f"STATUS={text}"))

    def _close(self) -> None:
        """Finish the sends in hand, within bounds; what is not finished is due again at the next start."""
        self._guard("service manager", lambda: self._service.tell("STOPPING=1"))
        end = time.monotonic() + STOP_SECONDS
        while self._post.busy and (left := end - time.monotonic()) > 0:
            self._wakeups.wait(left)
            self._guard("send", lambda: self._post.pump(now(), start=False))
        self._scheduler.shutdown(wait=False)
        self._wakeups.close()
        self._home.log.close()


def _makeup(setup: Setup) -> str:
    """What a set-up is made of, in one line."""
    items, rules = show(len(setup.fleet.ids()), count("item")), show(len(list(setup.rules)), count("rule"))
    channels = ", ".join(channel.name for channel in setup.channels) or "none, so that nothing can ring"
    return f"{items}, {rules}, zone {setup.hours.zone.key}, channels: {channels}"


def _scheduler(wakeups: Wakeups) -> Any:
    """APScheduler only wakeups: nothing it runs is ever too late, and many late runs are one."""
    import logging

    from apscheduler.executors.pool import ThreadPoolExecutor
    from apscheduler.schedulers.background import BackgroundScheduler

    logging.getLogger("apscheduler").addHandler(logging.NullHandler())
    scheduler = BackgroundScheduler(
        timezone=UTC,
        executors={"default": ThreadPoolExecutor(1)},
        job_defaults={"misfire_grace_time": None, "coalesce": True},
    )
    scheduler.add_job(wakeups.wake, "interval", args=[BEAT], seconds=BEAT_SECONDS, id="beat")
    return scheduler
