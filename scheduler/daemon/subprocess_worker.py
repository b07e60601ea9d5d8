"""Calls in a worker process, which frees its memory and can be ended.

The worker reads its arguments from standard input, where no other user of the machine can see them, and writes lines to
standard output: its progress, and at last the result.
"""

import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import IO, Any

from scheduler.base.progress import Progress, nobody
from scheduler.daemon.faults import WorkerFailed, WorkerTimeout, fault_line

_HERE = str(Path(__file__).resolve().parents[2])
_CODE = (
    f"import sys; sys.path.append({_HERE!r}); from scheduler.daemon.subprocess_worker import serve_call; serve_call()"
)
_TICK = 1.0
"""Seconds between two calls of `tell` while a worker says nothing."""
_SPACING = 0.2
"""Seconds between two lines of progress, at least."""
_CHUNK = 65_536
_MOST_FAULTS = 65_536
"""Bytes kept of what a worker writes to standard error, the last ones."""
_MOST_ANSWER = 256 * 2**20
"""Bytes of an answer: the checked files of the largest home take some tens of megabytes."""


def call_in_process(work: str, order: object, patience: float, tell: Progress = nobody) -> Any:
    """Call `work` ("module:name") in a worker process; return its result.

    It gets `order` and a `Progress`. Order and result are what JSON can hold. `tell` gets the worker's progress,
    repeated once a second. The worker and all processes it began are ended if it was silent for `patience` seconds or
    if `tell` raises. Raises WorkerFailed. If this process dies first, the worker goes on to its end.
    """
    with _process(work) as process:
        faults = bytearray()
        lines = _lines(process, json.dumps(order).encode(), faults, patience, tell)
        line = next((line for line in lines if line.startswith(b"{")), b"")
        text = faults.decode(errors="replace").strip()
        if not line:
            raise WorkerFailed(f"its process {_end_of(process)} and no answer: {text.rpartition(chr(10))[2]}")
    reply = json.loads(line)
    if "fault" in reply:
        failed = WorkerFailed(reply["fault"])
        failed.add_note(text)  # with its traceback, if it wrote one
        raise failed
    return reply["answer"]


def _end_of(process: "subprocess.Popen[bytes]") -> str:
    try:
        return f"ended with {process.wait(_TICK)}"
    except subprocess.TimeoutExpired:
        return "came to no end"


@contextmanager
def _process(work: str) -> Iterator["subprocess.Popen[bytes]"]:
    # -P: a file in the current folder is not taken for a module
    command = [sys.executable, "-P", "-c", _CODE, work]
    pipe = subprocess.PIPE
    try:
        process = subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, start_new_session=True)
    except OSError as error:
        raise WorkerFailed(f"its process did not start: {error.strerror}") from None
    with process:
        try:
            yield process
        finally:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)


def _lines(
    process: "subprocess.Popen[bytes]", order: bytes, faults: bytearray, patience: float, tell: Progress
) -> Iterator[bytes]:
    """Yield the lines of a worker that are not progress, until it writes no more."""
    assert process.stdin and process.stdout and process.stderr
    os.set_blocking(process.stdin.fileno(), False)
    out, open_ones = bytearray(), [process.stdout, process.stderr]
    left, waiting = memoryview(order), [process.stdin]
    heard_at, progress = time.monotonic(), (0, 0)
    while process.stdout in open_ones:
        ready, free, _ = select.select(open_ones, waiting, [], min(_TICK, patience))
        for stream in free:
            left = left[_taken(process.stdin, left) :]
            if not left:
                waiting.remove(stream)
                stream.close()
        for stream in ready:
            chunk = os.read(stream.fileno(), _CHUNK)
            (out if stream is process.stdout else faults).extend(chunk)
            del faults[:-_MOST_FAULTS]
            if len(out) > _MOST_ANSWER:
                raise WorkerFailed(f"its answer is longer than {_MOST_ANSWER // 2**20} MB")
            heard_at = time.monotonic()
            if not chunk:
                open_ones.remove(stream)
        *whole, rest = out.split(b"\n")
        out = bytearray(rest)
        for line in whole:
            if line.startswith(b"["):
                progress = tuple(json.loads(line))
            else:
                yield bytes(line)
        if time.monotonic() - heard_at >= patience:
            raise WorkerTimeout(f"no end within {patience:g} s")
        tell(*progress)


def _taken(stream: IO[bytes], order: memoryview) -> int:
    """Write what fits of an order; return its length, all of it if the worker is gone."""
    try:
        return os.write(stream.fileno(), order)
    except BrokenPipeError:
        return len(order)


def limit_memory(megabytes: int) -> None:
    """Limit this process's memory, and leave no core: its content may be secret.

    Where the system refuses to set limits, as a strict service unit may, the unit's own limit applies.
    """
    import resource

    for limit, most in ((resource.RLIMIT_DATA, megabytes * 2**20), (resource.RLIMIT_CORE, 0)):
        with suppress(OSError, ValueError):
            resource.setrlimit(limit, (most, most))


def serve_call() -> None:
    """Run in the worker: do the order; write the result to the original stdout."""
    module, _, name = sys.argv[1].partition(":")
    order, out = json.load(sys.stdin), os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # what the work prints must not be taken for a result
    last = -_SPACING

    def tell(done: int, of: int) -> None:
        nonlocal last
        if time.monotonic() - last >= _SPACING:
            last = time.monotonic()
            print(json.dumps([done, of]), file=out, flush=True)

    with out:
        try:
            line = json.dumps({"answer": getattr(import_module(module), name)(order, tell)})
        except Exception as error:  # raised again in the other process, as one line
            line = json.dumps({"fault": fault_line(error)})
        print(line, file=out)
