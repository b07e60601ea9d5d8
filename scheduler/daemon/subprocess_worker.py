"""Work in a process of its own: what it takes of memory goes with it, and what hangs can be ended.

The process gets its order on its standard input, where no other user of the machine can read it, and answers in lines
on its standard output: how far it has come, and at last the answer.
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
_BREATH = 1.0
"""Seconds after which whoever waits for a silent process is told so."""
_SPACING = 0.2
"""Seconds between two lines on how far it has come, at least."""
_CHUNK = 65_536


def call_in_process(work: str, order: object, patience: float, tell: Progress = nobody) -> Any:
    """What the function `work` ("module:name") answers to an order, called in a process of its own with the order and a
    `Progress`. Order and answer are what JSON can hold.

    `tell` is told how far it has come, and the same again each second. The process is ended, with all it has begun,
    when it was silent for `patience` seconds or when `tell` raises. Raises WorkerFailed. When this process dies first, the
    other goes on to its end.
    """
    with _process(work) as process:
        faults = bytearray()
        lines = _lines(process, json.dumps(order).encode(), faults, patience, tell)
        said = next((line for line in lines if line.startswith(b"{")), b"")
        text = faults.decode(errors="replace").strip()
        if not said:
            raise WorkerFailed(f"its process {_end_of(process)} and no answer: {text.rpartition(chr(10))[2]}")
    answered = json.loads(said)
    if "fault" in answered:
        failed = WorkerFailed(answered["fault"])
        failed.add_note(text)  # where its traceback is, if it wrote one
        raise failed
    return answered["answer"]


def _end_of(process: "subprocess.Popen[bytes]") -> str:
    try:
        return f"ended with {process.wait(_BREATH)}"
    except subprocess.TimeoutExpired:
        return "came to no end"


@contextmanager
def _process(work: str) -> Iterator["subprocess.Popen[bytes]"]:
    # -P: nothing in the folder that this process happens to run in is taken for a module
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
    """The lines of a process that are not on how far it has come, until it writes no more."""
    assert process.stdin and process.stdout and process.stderr
    os.set_blocking(process.stdin.fileno(), False)
    out, open_ones = bytearray(), [process.stdout, process.stderr]
    left, waiting = memoryview(order), [process.stdin]
    heard, come = time.monotonic(), (0, 0)
    while process.stdout in open_ones:
        ready, free, _ = select.select(open_ones, waiting, [], min(_BREATH, patience))
        for stream in free:
            left = left[_taken(process.stdin, left) :]
            if not left:
                waiting.remove(stream)
                stream.close()
        for stream in ready:
            chunk = os.read(stream.fileno(), _CHUNK)
            (out if stream is process.stdout else faults).extend(chunk)
            heard = time.monotonic()
            if not chunk:
                open_ones.remove(stream)
        *whole, rest = out.split(b"\n")
        out = bytearray(rest)
        for line in whole:
            if line.startswith(b"["):
                come = tuple(json.loads(line))
            else:
                yield bytes(line)
        if time.monotonic() - heard >= patience:
            raise WorkerTimeout(f"no end within {patience:g} s")
        tell(*come)


def _taken(stream: IO[bytes], order: memoryview) -> int:
    """How much of an order a process has room for now; all of it when it is gone already, which its end tells."""
    try:
        return os.write(stream.fileno(), order)
    except BrokenPipeError:
        return len(order)


def serve_call() -> None:
    """What the process does: read the order, do the work, and write the answer where nothing else is written."""
    module, _, name = sys.argv[1].partition(":")
    order, out = json.load(sys.stdin), os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # what the work prints goes with the faults
    told = -_SPACING

    def tell(done: int, of: int) -> None:
        nonlocal told
        if time.monotonic() - told >= _SPACING:
            told = time.monotonic()
            print(json.dumps([done, of]), file=out, flush=True)

    with out:
        try:
            said = json.dumps({"answer": getattr(import_module(module), name)(order, tell)})
        except Exception as error:  # told in the other process, as one line
            said = json.dumps({"fault": fault_line(error)})
        print(said, file=out)
