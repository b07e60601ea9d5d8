"""What is measured: each a function of a scratch folder that returns rows of (what, against, goal, ratio)."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.base.instants import DAY, HOUR, MINUTE, parse_rfc3339
from scheduler.events.log import Log
from scheduler.events.taking import take
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import Home
from scheduler.home.process_pool import map_in_processes
from scheduler.reminders.rehearse import rehearse
from tests.bench import idle, scale
from tests.bench.homes import demo_home, fleet_of, lines, many_homes
from tests.bench.poller import EnginePoller, Poller

BARE = [sys.executable, "-c", "import sqlite3, json"]
SHELFBELL = "import sys; from scheduler.cli.main import main; sys.exit(main())"
START, END = parse_rfc3339("2026-03-01T00:00:00Z"), parse_rfc3339("2026-11-01T00:00:00Z")


class Row(NamedTuple):
    """One line of the table; `ratio` above or below the `goal`, as `better` says."""

    what: str
    against: str
    goal: str
    ratio: float
    note: str = ""


def seconds(call: Callable[[], object], runs: int = 5) -> float:
    """The median time of a call."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return median(times)


def paired(one: Callable[[], object], other: Callable[[], object], runs: int = 15) -> float:
    """The median ratio of two calls made in turn, so that a drifting machine drifts for both."""
    return median(seconds(one, 1) / seconds(other, 1) for _ in range(runs))


def _process(home: Path, *words: str) -> Callable[[], object]:
    """The command as an installed one runs: with its bytecode kept."""
    command = [sys.executable, "-c", SHELFBELL, "--home", str(home), *words]
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}

    def run() -> None:
        subprocess.run(command, stdout=subprocess.DEVNULL, check=False, env=kept)

    run()
    return run


def measure_log(scratch: Path) -> list[Row]:
    """`log` and `due` as whole processes."""
    home = demo_home(scratch / "log")
    bare = lambda: subprocess.run(BARE, check=True)  # noqa: E731
    alone = paired(_process(home, "due"), bare)
    scale.Bell(home).wake()
    return [
        Row("due, demo home, no daemon", "python -c 'import sqlite3, json'", "at most 6", alone),
        Row("due, demo home, after a wake", "the same", "at most 6", paired(_process(home, "due"), bare)),
        Row("log charged B, answer included", "the same", "at most 3",
            paired(_process(home, "log", "charged", "B"), bare)),
    ]  # fmt: skip


def measure_intake(scratch: Path) -> list[Row]:
    """Taking 100,000 events in."""
    copies = 100_000 // 1_168 + 1
    texts = list(lines(copies))[:100_000]
    fleet = Fleet(fleet_of(copies))
    now = parse_rfc3339("2027-01-01T00:00:00Z")
    runs = iter(range(1000))

    def ours() -> None:
        take(Log(_folder(scratch, next(runs)) / "shelfbell.db"), enumerate(texts, 1), fleet, now, "", map_in_processes)

    def bare() -> None:
        scale.load(_folder(scratch, next(runs)) / "bare.db", texts)

    return [
        Row(
            "intake of 100,000 events",
            "json.loads and executemany of the same rows",
            "at most 3",
            paired(ours, bare, 3),
        )
    ]


def _folder(scratch: Path, number: int) -> Path:
    folder = scratch / f"run{number}"
    folder.mkdir()
    return folder


def measure_rehearsal(scratch: Path) -> list[Row]:
    """Rehearsing a season of some 40 items with all rules that are on, against polling them each minute."""
    home = Home(many_homes(scratch / "rehearse", 2))
    setup = home.setup()

    def ours() -> object:
        desk = Desk(Home(home.path), setup, END)
        return rehearse(desk.board(as_recorded=False), setup.hours, START, END)

    board = Desk(home, setup, END).board(as_recorded=False)
    items = len(setup.fleet.ids())
    minutes = (END - START) // MINUTE
    sample = 1_440
    note = f"{items} items, {len(board.verdicts)} verdicts; polling scaled from one day"
    once = seconds(ours)
    rows = []
    for against, poller in (("plain Python", Poller(board)), ("simpleeval, parsed once", EnginePoller(board))):
        polling = seconds(lambda poller=poller: poll(poller, START + 100 * DAY, sample), 3) * minutes / sample
        rows.append(
            Row("rehearsing a season", f"polling each minute, {against}", "at least 1,000", polling / once, note)
        )
    return rows


def poll(poller: Poller, start: int, minutes: int) -> int:
    """Ask every rule at every minute: each fact's value at the minute, each comparison, each `lasting` counted."""
    return sum(poller.ask(start + minute * MINUTE) for minute in range(minutes))


def measure_daemon(scratch: Path) -> list[Row]:
    """A daemon with nothing to do: a real process for a minute, and half a year by an injected clock."""
    noon = END + 12 * HOUR
    scheduler, beats = idle.bare()
    first = idle.first_start(scratch, noon)
    silent, wakes = idle.daemon(scratch, noon, "")
    spoken, wakes_after = idle.sent_and_idle(scratch, noon)
    before, after, count = idle.weeks(scratch, noon)
    process = "a process with APScheduler, sqlite3 and a job each 30 s"
    return [
        Row("memory, first start of a home", process, "at most 1.3", first / scheduler, _megabytes(first, scheduler)),
        Row("memory, nothing sent yet", process, "at most 1.3", silent / scheduler, _megabytes(silent, scheduler)),
        Row("memory, after a message", process, "at most 1.3", spoken / scheduler, _megabytes(spoken, scheduler)),
        Row("wake-ups in a minute", process, "counted", wakes_after / beats, f"{wakes}, {wakes_after}; {beats}"),
        Row(f"memory {idle.WEEKS} weeks later", "the same process before", "at most 1.05", after / before,
            f"{_megabytes(after, before)}; {count} wakes"),
    ]  # fmt: skip


def _megabytes(*sizes: int) -> str:
    return " against ".join(f"{size / 2**20:.1f} MB" for size in sizes)


def measure_scale(scratch: Path) -> list[Row]:
    """A home of 10,000 items and a million entries against one of a hundredth. Takes some minutes."""
    made = {name: scale.make(scratch / name, *size) for name, size in scale.SIZES.items()}
    small, company, large = (scale.Bell(home.path) for home in made.values())
    rebuild, read = scale.timed(large.rebuild), min(scale.timed(large.read) for _ in range(2))
    for bell in (small, company, large):
        bell.wake()
    idle = scale.in_turn(large.wake, small.wake, 101)
    promise = scale.in_turn(large.wake, company.wake, 101)
    apart = scale.in_turn(large.wake_apart, small.wake_apart, 15)
    decided = scale.in_turn(large.decide, small.decide, 31)
    large.wake()
    bare = lambda: subprocess.run(BARE, check=True)  # noqa: E731
    hundredth = "the same with 100 items and 10,000 entries"
    intake, load = made["large"].intake, made["large"].load
    return [
        Row("a wake with nothing new, large home", hundredth, "at most 1.5", idle[0] / idle[1], _milliseconds(*idle)),
        Row("the same", "the same with 1,300 items and 150,000 entries", "at most 1.5", promise[0] / promise[1],
            _milliseconds(*promise)),
        Row("the same in a process of its own", hundredth, "at most 1.5", apart[0] / apart[1], _milliseconds(*apart)),
        Row("from log to decided, large home", hundredth, "at most 2", decided[0] / decided[1],
            _milliseconds(*decided)),
        Row("due, large home", "python -c 'import sqlite3, json'", "at most 6",
            paired(_process(made["large"].path, "due"), bare)),
        Row("log charged B-0, large home", "the same", "at most 3",
            paired(_process(made["large"].path, "log", "charged", "B-0"), bare)),
        Row("intake of 1,000,000 entries", "json.loads and executemany of the same lines", "at most 3", intake / load,
            f"{intake:.0f} s, {load:.0f} s"),
        Row("all folds from the log, large home", "reading and decoding its rows", "at most 5", rebuild / read,
            f"{rebuild:.0f} s, {read:.0f} s"),
    ]  # fmt: skip


def _milliseconds(*times: float) -> str:
    return " and ".join(f"{seconds * 1000:.2f} ms" for seconds in times)


MEASURES: dict[str, Callable[[Path], list[Row]]] = {
    "log": measure_log,
    "intake": measure_intake,
    "rehearse": measure_rehearsal,
    "daemon": measure_daemon,
    "scale": measure_scale,
}
