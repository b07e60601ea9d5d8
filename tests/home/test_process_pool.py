"""The same call on many parts: in several processes, of which nothing is left."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from scheduler.base.findings import Finding, Refused
from scheduler.home import process_pool
from scheduler.home.process_pool import map_in_processes

TOP = Path(__file__).resolve().parents[2]


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two cores."""
    monkeypatch.setattr(process_pool, "cores", lambda: 2)


def process(_part: object) -> int:
    return os.getpid()


def wait(part: float) -> float:
    time.sleep(part)
    return part


def refuse(part: int) -> int:
    """Refuses 3."""
    if part == 3:
        raise Refused([Finding("season.jsonl", part, 0, "is three"), Finding("season.jsonl", 9, 1, "is not")])
    return part


def print_it(part: str) -> str:
    print(part)
    return part


def end(part: int) -> int:
    """Ends the process at 3."""
    return os._exit(7) if part == 3 else part


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def soon(holds: Callable[[], bool]) -> bool:
    deadline = time.monotonic() + 30
    while not holds() and time.monotonic() < deadline:
        time.sleep(0.02)
    return holds()


def test_results_come_in_order_and_the_first_is_not_waited_for_twice(two: None) -> None:
    assert list(map_in_processes(wait, [0.5, 0, 0, 0, 0, 0.1])) == [0.5, 0, 0, 0, 0, 0.1]


def test_two_processes_do_the_work_and_this_one_does_not(two: None) -> None:
    pids = set(map_in_processes(process, range(40)))
    assert os.getpid() not in pids
    assert 1 <= len(pids) <= 2


@pytest.mark.parametrize(("at_hand", "parts"), [(1, 5), (2, 1), (2, 0)])
def test_with_one_core_or_one_part_all_is_done_here(monkeypatch: pytest.MonkeyPatch, at_hand: int, parts: int) -> None:
    monkeypatch.setattr(process_pool, "cores", lambda: at_hand)
    assert list(map_in_processes(process, range(parts))) == [os.getpid()] * parts


def test_two_parts_a_process_are_in_hand_at_most(two: None) -> None:
    taken: list[int] = []

    def parts() -> Iterator[int]:
        for part in range(9):
            taken.append(part)
            yield part

    for done, _ in enumerate(map_in_processes(process, parts()), 1):
        assert len(taken) <= done + 3  # the one just told is in hand no more
    assert len(taken) == 9


def test_what_a_call_raises_is_raised_here_whole(two: None) -> None:
    results = map_in_processes(refuse, range(1, 9))
    assert [next(results), next(results)] == [1, 2]
    with pytest.raises(Refused) as error:
        next(results)
    assert error.value.findings == [Finding("season.jsonl", 3, 0, "is three"), Finding("season.jsonl", 9, 1, "is not")]


def test_what_the_parts_raise_is_raised_here(two: None) -> None:
    with pytest.raises(Refused, match="is three"):
        list(map_in_processes(process, map(refuse, range(9))))


def test_a_process_that_ends_of_itself_is_told(two: None) -> None:
    with pytest.raises(ChildProcessError, match="ended before its work was done"):
        list(map_in_processes(end, range(2, 9)))


def test_what_a_call_prints_is_no_output_of_this_process(two: None, capfd: pytest.CaptureFixture[str]) -> None:
    assert list(map_in_processes(print_it, ["a", "b"])) == ["a", "b"]
    assert capfd.readouterr().out == ""


def test_nothing_is_left_where_the_consumer_stops_early_and_the_environment_is_as_it_was(two: None) -> None:
    before = dict(os.environ)
    results = map_in_processes(process, iter(int, 1))
    pids = {next(results) for _ in range(8)}
    results.close()
    assert soon(lambda: not any(map(alive, pids)))
    assert dict(os.environ) == before


SCRIPT = """
import os, signal, sys
from scheduler.home import process_pool
from tests.home.test_process_pool import process

signal.signal(signal.SIGINT, signal.default_int_handler)  # which a shell that runs the tests aside turns off
process_pool.cores = lambda: 2
for pid in process_pool.map_in_processes(process, iter(int, 1)):
    print(pid, flush=True)
"""


@pytest.mark.parametrize("group", [True, False])
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_nothing_is_left_however_the_caller_ends(tmp_path: Path, how: int, group: bool) -> None:
    """It runs without a file of its own, as our worker processes do; a module that lies about is not taken for another.

    `group`: all its processes are sent the signal, as a terminal does.
    """
    (tmp_path / "multiprocessing.py").write_text("raise SystemExit('the wrong module')")
    script = subprocess.Popen(
        [sys.executable, "-P", "-c", SCRIPT], env=os.environ | {"PYTHONPATH": str(TOP)}, text=True, cwd=tmp_path,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
    )  # fmt: skip
    assert script.stdout is not None
    pids = {int(script.stdout.readline()) for _ in range(30)}

    (os.killpg if group else os.kill)(script.pid, how)
    _, faults = script.communicate(timeout=60)

    assert script.returncode == -how
    assert faults.count("Traceback") == (how == signal.SIGINT), faults
    assert pids and soon(lambda: not any(map(alive, pids)))


def test_no_named_semaphore_is_needed() -> None:
    """They outlive a process that is killed, and a container may have no place for them."""
    code = (
        "import sys; from scheduler.home import process_pool; process_pool.cores = lambda: 2; "
        "print(*process_pool.map_in_processes(abs, range(-3, 0)), 'multiprocessing' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, timeout=60)
    assert done.stdout == "3 2 1 False\n"
