"""The daemon's loop: sleep until something may have changed, decide, send."""

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
from scheduler.daemon.heartbeat import Heartbeat, ServiceManager
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
"""Seconds that a sending process gets beyond the limit of the send itself."""
STOP_SECONDS = 20.0
"""Seconds that a stop waits for the sends under way."""
LOCK_PROBE_SECONDS = 0.3
"""Longer than another process takes to see whether the lock is held."""
LOCKED_SECONDS = 10
"""Seconds to wait for a database that another process has locked: well within the watchdog's time."""


def now() -> int:
    """Return this instant by the system's clock."""
    return time.time_ns() // 1000


def run(
    home: Home, once: bool = False, dry_run: bool = False, at: int | None = None, progress: Progress = nobody
) -> int:
    """Run the daemon of a home until it is stopped; return the exit status.

    `once`: decide, send what is due, and return. `dry_run`: print what that would send and write nothing. `at`: the
    instant to use with these two instead of now. A long wake calls `progress`. Raises Refused if the home's files or
    database cannot be used.
    """
    if once or dry_run:
        from scheduler.daemon.once import preview, run_once

        lines, setup = preview if dry_run else run_once, home.setup()
        print("\n".join(lines(home, setup, now() if at is None else at, trust=at is not None, progress=progress)))
        return 0
    setup = _setup_of(home)
    with Lock(home.path, DAEMON) as lock:
        if not _acquire(lock):
            role, process = lock.holder()
            text = f"not started: process {process or '?'} ({role or '?'}) is at work in {home.path} already"
            log(text, setup.hours.zone)
            return 2
        return Daemon(home, setup, progress).run()


def _setup_of(home: Home) -> Setup:
    """Return the set-up; another process reads files that are not compiled yet.

    The modules that reading loads would stay in this process.
    """
    try:
        return home.compiled_setup() or read_in_process(home, LOCKED_SECONDS)
    except WorkerFailed:  # no process can be started: the daemon grows, but it starts
        return home.setup()


def ring(home: Home, channel: Channel) -> Outcome:
    """Send a trial message like any other through a channel. Raises Refused."""
    from scheduler.daemon.once import ring as ring_once

    return ring_once(home, channel, now())


def log(text: str, zone: ZoneInfo | None = None) -> None:
    """Write one line to stderr, with the time in `zone` if no journal adds it."""
    stamp = "" if "JOURNAL_STREAM" in os.environ else f"{to_datetime(now(), zone):%Y-%m-%d %H:%M:%S} "
    print(f"{stamp}shelfbell: {text}", file=sys.stderr, flush=True)


def _acquire(lock: Lock) -> bool:
    """Take the lock: wait for a passing `--once`, `ring` or probe, not for a daemon."""
    begun = time.monotonic()
    while not lock.acquire():
        waited = time.monotonic() - begun
        if waited > (LOCK_PROBE_SECONDS if lock.holder()[0] == DAEMON else 2 * SEND_SECONDS):
            return False
        time.sleep(0.1)
    return True


class _Stopped(Exception):
    """The daemon was asked to stop during a long wake."""


class Daemon:
    """The loop of one home.

    Only the thread that calls `run` writes to the database; workers decide and send.
    """

    def __init__(self, home: Home, setup: Setup, progress: Progress = nobody) -> None:
        self._home = home
        self._setup = setup
        self._setup_data = setup.data()  # read now: the cache that the fleet is read from may be replaced later
        self._loaded_at = now()
        self._outbox = Outbox(home.log)
        self._wakeups = Wakeups(home.path)
        self._post = Post(
            self._outbox, setup, lambda: self._wakeups.wake(RESULT), log=self._log,
            sender=partial(send_in_process, limit=SEND_SECONDS + GRACE),
        )  # fmt: skip
        self._heartbeat = Heartbeat(self._log)
        self._manager = ServiceManager()
        self._scheduler = _scheduler(self._wakeups)
        self._watch = ChangeDetector(home, now())
        self._planned = 0
        self._trusted = True
        self._resumed = False
        self._stopping = False
        self._announced_ready = False
        self._reported: dict[str, str] = {}
        self._progress = progress
        self._watchdog_at = 0.0

    def run(self) -> int:
        """Loop until SIGTERM or SIGINT, then finish the sends under way. Returns 0."""
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, self._stop)
        self._wakeups.catch()
        if self._wakeups.fault:
            self._log(f"no socket in the home ({self._wakeups.fault}): what is logged is seen within {BEAT_SECONDS} s")
        self._scheduler.start()
        self._log(f"started: version {__version__}, {_describe(self._setup)}")
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
            if BEAT in kinds and self._on_beat():
                kinds.add(TIME)
            if kinds & {TIME, LOGGED}:
                self._guard("wake", self._wake)
            self._guard("send", lambda: self._post.pump(now(), start=self._trusted))
            self._guard("plan", self._schedule)
            self._say_ready()
            kinds = set() if self._stopping else self._wakeups.wait(self._patience())

    def _patience(self) -> float | None:
        """Return the seconds until a send under way counts as lost; None: wait for ever."""
        left = self._post.patience()
        # the send step is failing: without a pause the loop would spin until the beat
        return max(left, 1.0) if left is not None and "send" in self._reported else left

    def _guard(self, name: str, step: Callable[[], object]) -> None:
        """Do one step of the loop; log an error once and retry at the next beat."""
        try:
            step()
        except _Stopped:
            pass  # the loop sees it too and ends
        except Exception as error:  # the loop must go on; each new error is logged
            text = fault_line(error)
            before, self._reported[name] = self._reported.get(name), text
            if before != text:
                self._log(f"{name}: {text}; trying again every {BEAT_SECONDS} s")
                self._status(f"in trouble: {text}")
        else:
            if self._reported.pop(name, None):
                self._log(f"{name}: well again")

    def _wake(self) -> None:
        self._watch.note_database()
        self._home.log.wait(LOCKED_SECONDS)
        self._resume_sends()
        self._reload()
        report = self._run_wake()
        self._planned = report.next_wake
        self._trusted = not report.distrust
        self._report("clock", report.distrust)
        self._report("rules", "\n".join(report.unwell))
        when = moment_near(report.next_wake, now(), self._setup.hours.zone)
        self._status(report.distrust or f"{report.open} open, next look {when}")

    def _run_wake(self) -> WakeReport:
        """Wake in a worker process, by the files or, while refused, by the set-up here."""
        setup_data = [self._setup_data, self._setup.fingerprint] if self._reported.get("files") else None
        return wake_in_process(self._home, setup_data, now(), LOCKED_SECONDS, self._on_progress)

    def _on_progress(self, done: int, of: int) -> None:
        """Keep the watchdog quiet during a long wake. Raises _Stopped when asked to stop."""
        if self._stopping:
            raise _Stopped
        self._say_ready()
        if time.monotonic() - self._watchdog_at > BEAT_SECONDS / 3:
            self._watchdog_at = time.monotonic()
            self._guard("watchdog", self._manager.notify_watchdog)
        self._progress(done, of)

    def _resume_sends(self) -> None:
        """Make due, once, what the last daemon left under way or waiting."""
        if not self._resumed:
            self._outbox.release(now())
            self._outbox.retry(now())
            with self._outbox.writing() as transaction:
                remember(transaction, FILES_READ_AT, self._loaded_at)
            self._resumed = True

    def _report(self, about: str, text: str) -> None:
        """Log a text if it differs from the subject's last one; "": all is well again."""
        before = self._reported.get(about, "")
        if text != before:
            self._log(text or f"{about}: well again")
        self._reported[about] = text

    def _reload(self) -> None:
        """Load changed files once they pass the check; until then keep the old set-up."""
        if not self._watch.files_changed():
            return
        stamps = self._watch.stamps()
        try:
            setup = read_in_process(self._home, LOCKED_SECONDS, self._on_progress)
        except Refused as refused:
            self._report_refused(str(refused))
        else:
            if setup.fingerprint != self._setup.fingerprint or self._reported.get("files"):
                self._load(setup)
        self._watch.note_files(stamps)

    def _load(self, setup: Setup) -> None:
        self._log(f"files reloaded: {_describe(setup)}")
        self._report("files", "")
        self._setup = self._post.setup = setup
        self._setup_data = setup.data()
        self._loaded_at = now()
        self._outbox.retry(now())
        with self._outbox.writing() as transaction:
            end_notice(transaction, "files")
            remember(transaction, FILES_READ_AT, self._loaded_at)

    def _report_refused(self, findings: str) -> None:
        since = moment_near(self._loaded_at, now(), self._setup.hours.zone)
        head = f"changed files refused, running the old rules since {since}"
        self._report("files", f"{head}:\n{findings}")
        notice = Notice("files", findings, "Changed files refused", f"{head}. What is wrong:\n{findings}")
        names = self._setup.notice_channels()
        with self._outbox.writing() as transaction:
            queue_notice(self._outbox, transaction, notice, names, now(), self._setup.hours.delivery(now()))

    def _on_beat(self) -> bool:
        """Feed the watchdog; return True if something changed without a wake-up."""
        self._guard("watchdog", self._manager.notify_watchdog)
        self._guard("heartbeat", self._ping)
        if step := self._watch.clock_step(now()):
            self._log(f"the clock has moved by {step:+.0f} s")
        changed = self._watch.database_changed() or self._watch.files_changed()
        return bool(step) or changed or self._planned <= now() or "wake" in self._reported

    def _ping(self) -> None:
        """Ping the outside address hourly if deciding and at least one channel work."""
        faults = {"wake", "send", "plan"} & self._reported.keys()
        if not (self._setup.heartbeat and self._heartbeat.due()) or faults or not self._trusted:
            return
        health = self._outbox.channel_health()
        if not self._setup.channels or any(
            channel.name not in health or not health[channel.name].failing_since for channel in self._setup.channels
        ):
            self._heartbeat.ping(self._setup.heartbeat)

    def _schedule(self) -> None:
        """Set the date job to the next change or retry; the beat retries a failed wake."""
        # while stopping, a job for this very instant could run after the scheduler's end
        if "wake" in self._reported or self._stopping:
            return
        tries = self._outbox.next_try(now(), [channel.name for channel in self._setup.channels])
        self._scheduler.add_job(
            self._wakeups.wake, "date", args=[TIME], id="wake", replace_existing=True,
            run_date=to_datetime(max(min(self._planned, tries or self._planned), now())),
        )  # fmt: skip

    def _say_ready(self) -> None:
        if not self._announced_ready:
            self._announced_ready = True
            self._guard("service manager", lambda: self._manager.notify("READY=1"))

    def _status(self, text: str) -> None:
        self._guard("service manager", lambda: self._manager.notify(f"STATUS={text}"))

    def _close(self) -> None:
        """Finish sends under way, within STOP_SECONDS; the rest is due at the next start."""
        self._guard("service manager", lambda: self._manager.notify("STOPPING=1"))
        end = time.monotonic() + STOP_SECONDS
        while self._post.busy and (left := end - time.monotonic()) > 0:
            self._wakeups.wait(left)
            self._guard("send", lambda: self._post.pump(now(), start=False))
        self._scheduler.shutdown(wait=False)
        self._wakeups.close()
        self._home.log.close()


def _describe(setup: Setup) -> str:
    """Describe a set-up in one line."""
    items, rules = show(len(setup.fleet.ids()), count("item")), show(len(list(setup.rules)), count("rule"))
    channels = ", ".join(channel.name for channel in setup.channels) or "none, so that nothing can ring"
    return f"{items}, {rules}, zone {setup.hours.zone.key}, channels: {channels}"


def _scheduler(wakeups: Wakeups) -> Any:
    """Return a scheduler whose jobs only wake the loop.

    A job that runs late still runs; several late runs are one.
    """
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
