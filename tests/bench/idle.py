"""What an idle daemon costs: memory and wake-ups of a real process, and whether they grow with the weeks."""

import gc
import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from scheduler.base.instants import DAY
from scheduler.cli.main import main
from scheduler.events.log import Log
from scheduler.home.folder import Home
from scheduler.messages.outbox import Outbox
from tests.bench.homes import demo_home
from tests.messages.clockwork import Clockwork
from tests.messages.servers import letterbox

DAEMON = """\
import sys, time
from pathlib import Path
from scheduler.daemon import loop
from scheduler.home.folder import Home
ahead = int(sys.argv[2]) - time.time_ns() // 1000
loop.now = lambda: time.time_ns() // 1000 + ahead
sys.exit(loop.run(Home(Path(sys.argv[1]))))
"""
BARE = """\
import sqlite3, time
from apscheduler.schedulers.background import BackgroundScheduler
scheduler = BackgroundScheduler(timezone="UTC")
scheduler.add_job(print, "interval", seconds=30)
scheduler.start()
print("up", flush=True)
while True:
    time.sleep(3600)
"""
SECONDS = 60
WEEKS = 26


class Idle:
    """A process that does nothing."""

    def __init__(self, process: int) -> None:
        self._folder = Path("/proc") / str(process)

    def resident(self) -> int:
        """Bytes in memory (proc(5), VmRSS)."""
        return int(re.search(r"VmRSS:\s+(\d+)", (self._folder / "status").read_text())[1]) * 1024  # type: ignore[index]

    def switches(self) -> int:
        """How often its threads have given up the processor to wait (proc(5), voluntary_ctxt_switches)."""
        texts = [(task / "status").read_text() for task in (self._folder / "task").iterdir()]
        return sum(int(re.search(r"voluntary_ctxt_switches:\s+(\d+)", text)[1]) for text in texts)  # type: ignore[index]

    def wake_ups(self, seconds: int = SECONDS) -> int:
        """The switches in so many seconds."""
        before = self.switches()
        time.sleep(seconds)
        return self.switches() - before


@contextmanager
def running(*command: str) -> Iterator[subprocess.Popen[str]]:
    """A process, killed at the end."""
    process = subprocess.Popen([sys.executable, "-c", *command], stdout=subprocess.PIPE, text=True)
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def bare() -> tuple[int, int]:
    """Memory and wake-ups of a process with APScheduler and sqlite3 and one job each 30 s."""
    with running(BARE) as process:
        assert process.stdout is not None
        process.stdout.readline()
        idle = Idle(process.pid)
        switches = idle.wake_ups()
        return idle.resident(), switches


def daemon(scratch: Path, at: int, url: str) -> tuple[int, int]:
    """Return memory and wake-ups of a daemon on the demo home, once it has sent what it had to say."""
    path = with_channel(demo_home(scratch / f"demo{len(list(scratch.iterdir()))}"), url)
    home = Home(path)
    home.setup()  # compiled, as at every start but the first
    home.log.close()
    return _measured(path, at, url, SECONDS)


def first_start(scratch: Path, at: int) -> int:
    """Return the memory of a daemon on a home just made: without a database, its files never read."""
    path = scratch / f"first{len(list(scratch.iterdir()))}"
    assert main(["--home", str(path), "init"]) == 0
    return _measured(path, at, "", 1)[0]


def _measured(path: Path, at: int, url: str, seconds: int) -> tuple[int, int]:
    """Return memory, and wake-ups in so many seconds.

    The clock is set ahead, to the first instant to come that lies whole weeks after `at`: APScheduler keeps its own.
    """
    late = max(0, time.time_ns() // 1000 - at)
    with running(DAEMON, str(path), str(at + -(-late // (7 * DAY)) * 7 * DAY)) as process:
        log, end = Log(path / "shelfbell.db"), time.monotonic() + 60
        while not _settled(log, bool(url)):
            assert time.monotonic() < end and process.poll() is None
            time.sleep(0.2)
        log.close()
        time.sleep(3)
        idle = Idle(process.pid)
        switches = idle.wake_ups(seconds)
        return idle.resident(), switches


def _settled(log: Log, with_messages: bool) -> bool:
    outbox = Outbox(log)
    rows = outbox.rows()
    return outbox.state("woke_at") is not None and (bool(rows) or not with_messages) and all(r.sent_at for r in rows)


def with_channel(home: Path, url: str) -> Path:
    """The home with one channel, or without any."""
    settings = (home / "shelfbell.yaml").read_text()
    channels = json.dumps({"sink": {"url": url}} if url else {})
    rest = re.sub(r"(?m)^channels:.*\n(?:^[ #].*\n)*", "", settings)
    (home / "shelfbell.yaml").write_text(f"{rest}\nchannels: {channels}\n")
    return home


def weeks(scratch: Path, start: int) -> tuple[int, int, int]:
    """Memory after four weeks and after half a year more of the demo home, by an injected clock; the wakes."""
    lifetime = Clockwork(with_channel(demo_home(scratch / "weeks"), "json://127.0.0.1/"), start)
    gc.enable()  # as in the daemon; the command that took the season in has turned it off
    me = Idle(os.getpid())
    lifetime.run(start + 4 * 7 * DAY, most=10_000)
    before, wakes = _settled_memory(me), lifetime.wakes
    lifetime.run(start + (4 + WEEKS) * 7 * DAY, most=10_000)
    after = _settled_memory(me)
    lifetime.close()
    shutil.rmtree(lifetime.path)
    return before, after, lifetime.wakes - wakes


def _settled_memory(me: Idle) -> int:
    gc.collect()
    return me.resident()


def sent_and_idle(scratch: Path, at: int) -> tuple[int, int]:
    """As `daemon`, with messages sent to a server here."""
    with letterbox() as box:
        return daemon(scratch, at, box.plain)
