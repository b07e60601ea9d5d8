"""The same call on many parts, in as many processes as there are cores to use.

Threads of this process each drive a worker over pipes. The pool of `concurrent.futures` that starts processes itself
needs named semaphores: a machine may have no place for them, and they outlive processes that are killed.
"""

import os
import pickle
import subprocess
import sys
from collections import deque
from collections.abc import Callable, Generator, Iterable
from contextlib import suppress
from itertools import chain, islice
from queue import SimpleQueue
from typing import Any, TypeVar

_MOST = 8
"""Processes at most: each has the program and a part of the work in memory."""
_CODE = "import sys; sys.path[:] = {path!r}; from scheduler.home.process_pool import serve; serve()"
Part = TypeVar("Part")
Result = TypeVar("Result")


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def map_in_processes(call: Callable[[Part], Result], parts: Iterable[Part]) -> Generator[Result, None, None]:
    """Yield what `call` returns for each part, in order.

    Uses this process if there is one core or one part. Each process gets a copy of `call` once. At most two parts per
    process are under way. `call`, parts and results must be picklable. Raises what a call raises; ChildProcessError if
    a process ended by itself.
    """
    parts = iter(parts)
    first, count = list(islice(parts, 2)), min(cores(), _MOST)
    parts = chain(first, parts)
    if len(first) < 2 or count < 2:
        yield from map(call, parts)
        return

    from concurrent.futures import ThreadPoolExecutor  # not at the top: `log` and an idle daemon need none of it

    workers: list[_Worker] = []
    idle: SimpleQueue[_Worker] = SimpleQueue()

    def run(part: Part) -> Result:
        worker = idle.get()
        try:
            return worker.run(part)
        finally:
            idle.put(worker)

    pool = ThreadPoolExecutor(count)
    try:
        for _ in range(count):
            workers.append(_Worker(call))
            idle.put(workers[-1])
        results = deque(pool.submit(run, part) for part in islice(parts, 2 * count))
        while results:
            yield results.popleft().result()
            results.extend(pool.submit(run, part) for part in islice(parts, 1))
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        for worker in workers:
            worker.end()


class _Worker:
    """A process that makes one call again and again."""

    def __init__(self, call: Callable[[Any], Any]) -> None:
        path = [folder for folder in sys.path if folder]  # "" is the working folder: nothing there is a module
        command = [sys.executable, "-P", "-c", _CODE.format(path=path)]
        # A session of its own: Ctrl-C in a terminal is for the caller alone.
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True)
        self._send(call)

    def run(self, part: Any) -> Any:
        """Return the result of the call for a part.

        Raises what the call raises, ChildProcessError if the process is gone.
        """
        self._send(part)
        assert self._process.stdout is not None
        try:
            result, error = pickle.load(self._process.stdout)
        except (EOFError, pickle.UnpicklingError):
            raise ChildProcessError("a process ended before its work was done") from None
        if error is not None:
            raise error
        return result

    def end(self) -> None:
        """End the process at once."""
        self._process.kill()
        with suppress(OSError):  # what was not sent yet has nowhere to go
            self._process.communicate()

    def _send(self, thing: object) -> None:
        data = pickle.dumps(thing)
        assert self._process.stdin is not None
        with suppress(BrokenPipeError):  # reading the answer tells that it is gone
            self._process.stdin.write(data)
            self._process.stdin.flush()


def serve() -> None:
    """Run in a worker: read the call, then parts; write each result."""
    from threading import Thread

    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a call prints is no result
    call = pickle.load(sys.stdin.buffer)
    parts: SimpleQueue[Any] = SimpleQueue()
    Thread(target=_receive, args=[parts], daemon=True).start()
    try:
        while True:
            out.write(_outcome(call, parts.get()))
            out.flush()
    except BrokenPipeError:  # the caller was killed
        os._exit(1)


def _receive(parts: "SimpleQueue[Any]") -> None:
    """Queue the parts that come; end the process when its caller is done or killed."""
    with suppress(EOFError, pickle.UnpicklingError):
        while True:
            parts.put(pickle.load(sys.stdin.buffer))
    os._exit(0)


def _outcome(call: Callable[[Any], Any], part: Any) -> bytes:
    """Return the pickled result and error of a call, one of them None."""
    try:
        return pickle.dumps((call(part), None))
    except Exception as error:  # raised again in the caller
        with suppress(Exception):
            return pickle.dumps((None, error))
        return pickle.dumps((None, RuntimeError(f"{type(error).__name__}: {error}")))
