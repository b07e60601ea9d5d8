"""The same work on many parts, over several processes or in this one."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

from scheduler.base.findings import Finding, Refused
from scheduler.daemon import spread as module
from scheduler.daemon.spread import spread

TOP = Path(__file__).resolve().parents[2]
LARGE = 300_000
"""Characters, more than a pipe holds."""


@pytest.fixture(params=[1, 2, 3])
def at_hand(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """So many cores."""
    monkeypatch.setattr(module, "cores", lambda: request.param)
    return int(request.param)


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two cores."""
    monkeypatch.setattr(module, "cores", lambda: 2)


def process(_part: object) -> int:
    """The process that is asked."""
    return os.getpid()


def slowly(_part: object) -> int:
    """The process that is asked, after a while."""
    time.sleep(0.05)
    return os.getpid()


def wait(part: float) -> float:
    """Waits so many seconds."""
    time.sleep(part)
    return part


class Count:
    """Says who was asked, and how often."""

    def __init__(self, asked: int) -> None:
        self.asked = asked

    def __call__(self, _part: object) -> tuple[int, int]:
        self.asked += 1
        return os.getpid(), self.asked


def refuse(part: int) -> int:
    """Refuses 3."""
    if part == 3:
        raise Refused([Finding("season.jsonl", part, 0, "is three"), Finding("season.jsonl", 9, 1, "is not")])
    return part


def double(part: str) -> str:
    """Twice the text."""
    return part * 2


def print_it(part: str) -> str:
    """Prints what it is given."""
    print(part)
    return part


def end(part: int) -> int:
    """Ends the process at 3."""
    return os._exit(7) if part == 3 else part


def no_text(_part: object) -> Callable[[], None]:
    """What cannot be pickled."""
    return lambda: None


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


@pytest.mark.parametrize("here", [False, True])
@pytest.mark.parametrize("parts", range(8))
def test_each_part_has_its_result_in_order(at_hand: int, parts: int, here: bool) -> None:
    assert list(spread(partial, (pow, 2), range(parts), here=here)) == [2**part for part in range(parts)]


def test_parts_and_results_may_be_larger_than_a_pipe_holds(at_hand: int) -> None:
    parts = [letter * LARGE for letter in "abcdef"]
    assert list(spread(partial, (double,), parts)) == [part * 2 for part in parts]


def test_each_process_is_made_ready_once_and_is_not_this_one(two: None) -> None:
    told = list(spread(Count, (10,), range(6)))
    pids = {pid for pid, _ in told}
    assert len(pids) == 2
    assert os.getpid() not in pids
    for pid in pids:
        asked = [count for process, count in told if process == pid]
        assert asked == list(range(11, 11 + len(asked)))


def test_this_process_may_work_too(two: None) -> None:
    pids = set(spread(partial, (slowly,), range(20), here=True))
    assert len(pids) == 2
    assert os.getpid() in pids


@pytest.mark.parametrize("here", [False, True])
def test_a_slow_part_keeps_nobody_from_the_next_ones(two: None, here: bool) -> None:
    """But no further than two parts a process are in hand; all come in order."""
    assert list(spread(partial, (wait,), [0.5, 0, 0, 0, 0, 0], here=here)) == [0.5, 0, 0, 0, 0, 0]


@pytest.mark.parametrize(("at_hand", "parts"), [(1, 5), (2, 1), (2, 0)], indirect=["at_hand"])
def test_with_one_core_or_one_part_all_is_done_here(at_hand: int, parts: int) -> None:
    assert list(spread(partial, (process,), range(parts))) == [os.getpid()] * parts


@pytest.mark.parametrize("here", [False, True])
def test_two_parts_a_process_are_in_hand_at_most(two: None, here: bool) -> None:
    taken: list[int] = []

    def parts() -> Iterator[int]:
        for part in range(9):
            taken.append(part)
            yield part

    for done, _ in enumerate(spread(partial, (process,), parts(), here=here), 1):
        assert len(taken) <= done + 3  # the one just told is in hand no more
    assert len(taken) == 9


@pytest.mark.parametrize("here", [False, True])
def test_what_a_call_raises_is_raised_here_whole(at_hand: int, here: bool) -> None:
    results = spread(partial, (refuse,), range(1, 9), here=here)
    assert [next(results), next(results)] == [1, 2]
    with pytest.raises(Refused) as error:
        next(results)
    assert str(error.value) == "season.jsonl:3: is three\nseason.jsonl:9:1: is not"
    assert error.value.findings == [Finding("season.jsonl", 3, 0, "is three"), Finding("season.jsonl", 9, 1, "is not")]
    assert at_hand == 1 or here or "in refuse" in error.value.__notes__[0]


def test_what_making_ready_raises_is_raised_here(at_hand: int) -> None:
    with pytest.raises(TypeError, match="must be callable"):
        list(spread(partial, (1,), ["a" * LARGE] * 3))


def test_what_the_parts_raise_is_raised_here(at_hand: int) -> None:
    with pytest.raises(Refused, match="is three"):
        list(spread(partial, (process,), map(refuse, range(9))))


def test_a_process_that_ends_of_itself_is_told(two: None) -> None:
    results = spread(partial, (end,), range(2, 9))
    assert next(results) == 2
    with pytest.raises(ChildProcessError, match="ended with 7"):
        next(results)


def test_what_cannot_be_handed_back_is_told(two: None) -> None:
    with pytest.raises((AttributeError, TypeError), match="pickle"):
        list(spread(partial, (no_text,), range(3)))


def test_what_a_call_prints_is_no_result(two: None, capfd: pytest.CaptureFixture[str]) -> None:
    assert list(spread(partial, (print_it,), ["a", "b"])) == ["a", "b"]
    assert capfd.readouterr().out == ""


def test_nothing_is_left_of_it_where_the_consumer_stops_early(two: None) -> None:
    results = spread(partial, (process,), iter(int, 1))
    pids = {next(results), next(results)}
    results.close()
    assert len(pids) == 2
    assert not any(map(alive, pids))


SCRIPT = """
import signal, time
from functools import partial
from scheduler.daemon import spread
from tests.daemon.test_spread import process

signal.signal(signal.SIGINT, signal.default_int_handler)  # which a shell that runs the tests aside turns off
spread.cores = lambda: 2
for pid in spread.spread(partial, (process,), iter(int, 1)):
    print(pid, flush=True)
    {then}
"""


@pytest.mark.parametrize(
    ("how", "then", "status"),
    [
        (signal.SIGINT, "time.sleep(0.1)", -signal.SIGINT),
        (signal.SIGTERM, "time.sleep(0.1)", -signal.SIGTERM),
        (signal.SIGKILL, "time.sleep(0.1)", -signal.SIGKILL),
        (signal.SIGKILL, "pass", -signal.SIGKILL),
    ],
)
def test_nothing_is_left_of_it_however_a_script_ends(tmp_path: Path, how: int, then: str, status: int) -> None:
    """Its group is sent the signal, as a terminal does, and it has no guard against being run anew."""
    (tmp_path / "script.py").write_text(SCRIPT.format(then=then))
    script = subprocess.Popen(
        [sys.executable, tmp_path / "script.py"], env=os.environ | {"PYTHONPATH": str(TOP)}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
    )  # fmt: skip
    assert script.stdout is not None
    pids = {int(script.stdout.readline()) for _ in range(2)}

    os.killpg(script.pid, how)
    _, faults = script.communicate(timeout=60)

    assert script.returncode == status
    assert faults.count("Traceback") == (how == signal.SIGINT)
    assert len(pids) == 2
    assert soon(lambda: not any(map(alive, pids)))
