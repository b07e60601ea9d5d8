"""The same work on many parts, over as many processes as there are cores to use.

Each process is handed its work on its standard input and answers on its standard output. Unlike those of
`multiprocessing` it does not run the caller's own script anew, and it ends when the caller does, however that ends: at
once, or where the caller was killed alone, when the part in hand is done.
"""

import fcntl
import os
import pickle
import select
import signal
import subprocess
import sys
import traceback
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import ExitStack, suppress
from itertools import chain, islice
from typing import IO, Any, TypeVar

_CODE = """\
import pickle, signal, sys
signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C in a terminal is for the caller alone
sys.path = pickle.load(sys.stdin.buffer)
from scheduler.daemon.spread import serve
serve()
"""
_MOST = 8
"""Processes at most: each holds the program and a part of the work in memory."""
_PIPE = 1 << 20
"""Bytes that a pipe holds where the system allows: a process that hands over less does not wait for the other."""
Part = TypeVar("Part")
Result = TypeVar("Result")


def cores() -> int:
    """So many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def spread(
    prepare: Callable[..., Callable[[Part], Result]], given: tuple[Any, ...], parts: Iterable[Part], here: bool = False
) -> Generator[Result, None, None]:
    """The result for each part, in order: that of what `prepare(*given)` gave, once in each process, called with it.

    `here`: this process is one of them, and works while it would wait; for a caller that has much to do with each
    result. With one core, or one part, all is done in this process. Two parts a process are in hand at most.
    `prepare` is a function or class of a module; what is handed over can be pickled. What a call raises is raised here;
    ChildProcessError where a process ended of itself.
    """
    parts = iter(parts)
    first = list(islice(parts, 2))
    parts = chain(first, parts)
    if len(first) < 2 or cores() < 2:
        yield from map(prepare(*given), parts)
    else:
        with ExitStack() as ends:
            processes = range(min(cores(), _MOST) - here)
            workers = [ends.enter_context(_Worker(prepare, given)) for _ in processes]
            yield from _in_turn(workers, prepare(*given) if here else None, parts)


class _Turn:
    """The place of a part in the order: the result and the error that came of it, once that is known."""

    outcome: tuple[Any, Exception | None] | None = None


def _in_turn(workers: list["_Worker"], call: Callable[[Any], Any] | None, parts: Iterator[Any]) -> Iterator[Any]:
    idle, busy = workers, dict[_Worker, _Turn]()
    turns: deque[_Turn] = deque()
    most = 2 * (len(workers) + (call is not None))

    def begun(count: int) -> Iterator[tuple[_Turn, Any]]:
        for part in islice(parts, min(count, most - len(turns))):
            turns.append(_Turn())
            yield turns[-1], part

    while True:
        for worker in _answering(busy, wait=False):
            busy.pop(worker).outcome = worker.outcome()
            idle.append(worker)
        for turn, part in begun(len(idle)):
            worker = idle.pop()
            worker.give(part)
            busy[worker] = turn
        if turns and (outcome := turns[0].outcome) is not None:
            turns.popleft()
            result, error = outcome
            if error is not None:
                raise error
            yield result
        elif call is not None and (mine := next(begun(1), None)) is not None:
            mine[0].outcome = _outcome(call, mine[1])
        elif busy:
            _answering(busy, wait=True)
        else:
            return


def _answering(busy: Iterable["_Worker"], wait: bool) -> list["_Worker"]:
    """Those of some processes that have a result, or have ended; `wait`: until there is one."""
    poll = select.poll()
    by_pipe = {worker.pipe: worker for worker in busy}
    for pipe in by_pipe:
        poll.register(pipe, select.POLLIN)
    return [by_pipe[pipe] for pipe, _ in poll.poll(None if wait else 0)] if by_pipe else []


def _outcome(call: Callable[[Any], Any], part: object) -> tuple[Any, Exception | None]:
    try:
        return call(part), None
    except Exception as error:
        return None, error


class _Worker:
    """A process that does the work, for as long as its block lasts."""

    def __init__(self, prepare: Callable[..., object], given: tuple[Any, ...]) -> None:
        # -P: nothing in the folder that this process happens to run in is taken for a module
        command = [sys.executable, "-P", "-c", _CODE]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self._begin = (sys.path, (prepare, given))

    def __enter__(self) -> "_Worker":
        for pipe in (self._process.stdin, self._process.stdout):
            _widen(pipe)  # type: ignore[arg-type]
        for what in self._begin:
            self.give(what)
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.communicate()

    def give(self, what: object) -> None:
        """Hand something over."""
        with suppress(BrokenPipeError):  # it has ended, and its outcome says why
            _send(what, self._process.stdin)  # type: ignore[arg-type]

    @property
    def pipe(self) -> int:
        """Where its result can be read."""
        return self._process.stdout.fileno()  # type: ignore[union-attr]

    def outcome(self) -> tuple[Any, Exception | None]:
        """What came of the part that it was given."""
        try:
            return pickle.load(self._process.stdout)  # type: ignore[arg-type]
        except EOFError:
            return None, ChildProcessError(f"a process ended with {self._process.wait()} before its work was done")


def _widen(pipe: IO[bytes]) -> None:
    with suppress(OSError, AttributeError):  # a system that does not let it is slower, no more
        fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, _PIPE)


def serve() -> None:
    """What such a process does."""
    signal.signal(signal.SIGPIPE, signal.SIG_DFL)  # where nobody waits for a result any more, it ends and says nothing
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a call prints is no result
    try:
        prepare, given = pickle.load(sys.stdin.buffer)
        call = prepare(*given)
        for part in _handed(sys.stdin.buffer):
            _send((call(part), None), out)
    except Exception as error:
        error.add_note(f"In a process of its own:\n{traceback.format_exc()}")
        _send((None, error), out)


def _handed(source: IO[bytes]) -> Iterator[Any]:
    with suppress(EOFError):
        while True:
            yield pickle.load(source)


def _send(what: object, to: IO[bytes]) -> None:
    to.write(pickle.dumps(what, pickle.HIGHEST_PROTOCOL))  # whole, or not at all where it cannot be pickled
    to.flush()
