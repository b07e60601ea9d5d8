"""The same work on many parts, over as many processes as there are cores to use.

Each process is handed its work on its standard input and answers on its standard output. Unlike those of
`multiprocessing` it does not run the caller's own script anew, and it ends when the caller does, however that ends.
"""

import fcntl
import os
import pickle
import signal
import subprocess
import sys
import traceback
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, suppress
from itertools import chain, islice
from typing import IO, Any, TypeVar

_CODE = "import pickle, sys; sys.path = pickle.load(sys.stdin.buffer); from scheduler.spread import serve; serve()"
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
    prepare: Callable[..., Callable[[Part], Result]], given: tuple[Any, ...], parts: Iterable[Part], kept: int = 0
) -> Iterator[Result]:
    """The result for each part, in order: that of what `prepare(*given)` gave, once in each process, called with it.

    No process has more than one part in hand, or one result. With one core, or one part, all is done in this process.
    `kept`: 1 where what the caller does with the results keeps a core busy, 0 where it is little.
    `prepare` is a function or class of a module; what is handed over can be pickled. What a call raises is raised here;
    ChildProcessError where a process ended of itself.
    """
    parts = iter(parts)
    first = list(islice(parts, 2))
    parts = chain(first, parts)
    processes = min(cores() - kept, _MOST)
    if len(first) < 2 or cores() < 2:
        yield from map(prepare(*given), parts)
    else:
        with ExitStack() as ends:
            workers = (ends.enter_context(_Worker(prepare, given)) for _ in range(processes))
            yield from _in_turn(workers, parts)


def _in_turn(workers: Iterable["_Worker"], parts: Iterator[Any]) -> Iterator[Any]:
    busy: deque[_Worker] = deque()
    for worker, part in zip(workers, parts, strict=False):
        worker.give(part)
        busy.append(worker)
    while busy:
        worker = busy.popleft()
        result = worker.result()
        for part in islice(parts, 1):
            worker.give(part)
            busy.append(worker)
        yield result


class _Worker:
    """A process that does the work, for as long as its block lasts."""

    def __init__(self, prepare: Callable[..., object], given: tuple[Any, ...]) -> None:
        # -P: nothing in the folder that this process happens to run in is taken for a module
        # A group of its own: Ctrl-C in a terminal is for the caller alone
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", _CODE], stdin=subprocess.PIPE, stdout=subprocess.PIPE, process_group=0
        )
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
        with suppress(BrokenPipeError):  # it has ended, and its result says why
            _send(what, self._process.stdin)  # type: ignore[arg-type]

    def result(self) -> Any:
        """What came of the part that it was given. Raises what the call raised."""
        try:
            result, error = pickle.load(self._process.stdout)  # type: ignore[arg-type]
        except EOFError:
            raise ChildProcessError(f"a process ended with {self._process.wait()} before its work was done") from None
        if error is not None:
            raise error
        return result


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
