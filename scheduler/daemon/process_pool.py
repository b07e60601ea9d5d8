"""The same call on many parts, in as many processes as there are cores to use."""

import os
import signal
from collections import deque
from collections.abc import Callable, Generator, Iterable
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

_MOST = 8
"""Processes at most: each has the program and a part of the work in memory."""
_SAFE_PATH = "PYTHONSAFEPATH"
Part = TypeVar("Part")
Result = TypeVar("Result")
_call: Callable[[Any], Any]


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def map_in_processes(call: Callable[[Part], Result], parts: Iterable[Part]) -> Generator[Result, None, None]:
    """Yield what `call` returns for each part, in order; with one core or one part, from this process.

    Each process is handed a copy of `call` once. At most two parts a process are in hand. `call`, parts and results can
    be pickled. Raises what a call raises; ChildProcessError where a process ended of itself.
    """
    parts = iter(parts)
    first, workers = list(islice(parts, 2)), min(cores(), _MOST)
    parts = chain(first, parts)
    if len(first) < 2 or workers < 2:
        yield from map(call, parts)
        return

    # Not at the top: `log` and an idle daemon need none of it.
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    with ProcessPoolExecutor(workers, get_context("spawn"), _prepare, (call,)) as pool:
        try:
            results = deque(_submit(pool, part) for part in islice(parts, 2 * workers))
            while results:
                yield results.popleft().result()
                results.extend(_submit(pool, part) for part in islice(parts, 1))
        except BrokenProcessPool as error:
            raise ChildProcessError("a process ended before its work was done") from error
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _submit(pool: "ProcessPoolExecutor", part: object) -> "Future[Any]":
    """Hand a part over. A process that this starts inherits two things.

    It never hears Ctrl-C, which is for the caller alone, and takes nothing in the working folder for a module.
    """
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
    before = os.environ.get(_SAFE_PATH)
    os.environ[_SAFE_PATH] = "1"
    try:
        return pool.submit(_run, part)
    finally:
        if before is None:
            del os.environ[_SAFE_PATH]
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)


def _prepare(call: Callable[[Any], Any]) -> None:
    """Make a new process ready."""
    from threading import Thread

    global _call
    _call = call
    os.dup2(2, 1)  # what a call prints is no output of the caller
    Thread(target=_end_with_caller, daemon=True).start()


def _end_with_caller() -> None:
    """End at once when the caller is gone: it can be killed without a chance to say so, and the queue says nothing."""
    from multiprocessing import parent_process

    parent_process().join()  # type: ignore[union-attr]
    os._exit(1)


def _run(part: Any) -> Any:
    return _call(part)
