"""Show progress on one line, wiped at the end, only where a person is watching."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from scheduler.base.progress import Progress, nobody

SILENT = 1.0
"""Seconds before anything is shown: quicker work needs no progress."""
_EVERY = 0.2


@contextmanager
def progress(
    what: str, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic
) -> Iterator[Progress]:
    """Show how far `what` has come, on standard error unless another stream is given."""
    out = sys.stderr if stream is None else stream
    begun, last, width = clock(), 0.0, 0

    def tell(done: int, of: int) -> None:
        nonlocal last, width
        now = clock()
        if now - begun < SILENT or now - last < _EVERY:
            return
        last = now
        line = f"{what}: {done:,} of {of:,}" if of else f"{what}: {done:,}"
        width = max(width, len(line))
        out.write(f"\r{line:<{width}}")
        out.flush()

    try:
        yield tell if out.isatty() else nobody
    finally:
        if width:
            out.write(f"\r{'':<{width}}\r")
            out.flush()
