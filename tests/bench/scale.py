"""What grows with a home and what must not: a home of 10,000 items and a million entries against one of a hundredth."""

import json
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from statistics import median
from typing import NamedTuple

from scheduler.base.instants import to_datetime
from scheduler.base.progress import nobody
from scheduler.daemon.subprocess_work import wake_in_process
from scheduler.daemon.wake import wake
from scheduler.daemon.work_list import rebuild_states, uncollected
from scheduler.events.taking import take
from scheduler.home.folder import Home
from scheduler.home.item_states import drop
from scheduler.home.process_pool import map_in_processes
from tests.bench.homes import Company

SIZES = {"small": (100, 10_000), "company": (1_300, 150_000), "large": (10_000, 1_000_000)}


class Measured(NamedTuple):
    """One home and what it took, in seconds: taking its entries in, and a plain load of the same lines."""

    path: Path
    intake: float
    load: float


def now() -> int:
    """Now."""
    return time.time_ns() // 1000


def timed(call: Callable[[], object]) -> float:
    """The seconds that a call takes."""
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def make(folder: Path, items: int, events: int) -> Measured:
    """A company's home with its entries taken in."""
    company = Company(items, events, to_datetime(now()))
    path = company.write(folder)
    season = folder / "season.jsonl"
    with season.open("w") as lines:
        lines.writelines(f"{line}\n" for line in company.lines())
    home = Home(path)
    fleet = home.setup().fleet

    def ours() -> None:
        with season.open() as lines:
            take(home.log, enumerate(lines, 1), fleet, now(), "", map_in_processes)

    def bare() -> None:
        with season.open() as lines:
            load(folder / "bare.db", lines)

    measured = Measured(path, timed(ours), timed(bare))
    home.log.close()
    season.unlink()
    (folder / "bare.db").unlink()
    return measured


def load(path: Path, lines: Iterable[str]) -> None:
    """What an intake cannot do without: decode each line, and insert it."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("CREATE TABLE e (seq INTEGER PRIMARY KEY, id, at, recorded_at, what, target, body)")
    with connection:
        events = ((json.loads(line), line) for line in lines)
        connection.executemany(
            "INSERT INTO e (id, at, recorded_at, what, target, body) VALUES (?, ?, ?, ?, ?, ?)",
            ((e["id"], e["at"], e["recorded_at"], e["what"], e.get("instead_of"), line) for e, line in events),
        )
    connection.close()


class Bell:
    """A home as its daemon has it."""

    def __init__(self, path: Path) -> None:
        self.home = Home(path)
        self.setup = self.home.setup()
        self.entries = 0

    def wake(self) -> None:
        """One wake."""
        wake(self.home, self.setup, now())

    def wake_apart(self) -> None:
        """One wake in a process of its own, as the daemon does it."""
        wake_in_process(self.home, None, now(), 10.0, nobody)

    def decide(self) -> None:
        """Log that a pack was charged, and wake on it."""
        self.entries += 1
        event = {"at": to_datetime(now()).isoformat(), "what": "charged", "item": "A-0", "percent": 50 + self.entries}
        take(self.home.log, [(1, json.dumps(event))], self.setup.fleet, now())
        self.wake()

    def rebuild(self) -> None:
        """Compute the states of all items from the log."""
        with uncollected():
            for _ in rebuild_states(self.home, self.setup, now()):
                pass

    def read(self) -> None:
        """Read and decode every entry."""
        for row in self.home.log.connection.execute("SELECT at, recorded_at, seq, id, what, body FROM events"):
            json.loads(row[5])

    def forget(self) -> None:
        """Delete all that is kept."""
        with self.home.log.transaction() as transaction:
            drop(transaction)


def in_turn(one: Callable[[], object], other: Callable[[], object], runs: int) -> tuple[float, float]:
    """The median seconds of two calls made in turn, so that a drifting machine drifts for both."""
    pairs = [(timed(one), timed(other)) for _ in range(runs)]
    return median(first for first, _ in pairs), median(second for _, second in pairs)


def quietly(command: list[str], env: dict[str, str]) -> None:
    """Run a command to its end."""
    subprocess.run(command, stdout=subprocess.DEVNULL, check=False, env=env)
