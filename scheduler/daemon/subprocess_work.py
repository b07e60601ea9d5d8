"""Send, wake and read files in worker processes: the daemon stays small.

Apprise, solving the rules and checking the files take several times the memory of all else, for a moment.
"""

import time
from collections.abc import Callable
from itertools import starmap
from pathlib import Path
from typing import Any, NamedTuple

from scheduler.base.findings import FilesRefused, Finding
from scheduler.base.instants import SECOND
from scheduler.base.progress import Progress, nobody
from scheduler.daemon.faults import WorkerFailed, WorkerTimeout
from scheduler.daemon.subprocess_worker import call_in_process, limit_memory
from scheduler.home.folder import Home
from scheduler.home.setup import Setup, make_setup
from scheduler.messages.senders import TEMPORARY, Outcome, redact, send

PATIENCE = 300.0
"""Seconds without a sign of life after which a wake counts as hung. Common practice, no source."""
_LONGEST_REASON = 200
SEND_MEGABYTES = 200
"""Memory of a process that talks to a channel's server. Sending takes some 60 MB (measured)."""


def send_in_process(address: str, title: str, body: str, limit: float) -> Outcome:
    """Do as `send` in a worker process, ended after `limit` seconds. Never raises.

    If the daemon dies, the worker may still deliver its message, which the next daemon then sends again.
    """
    try:
        return Outcome(*call_in_process(_work(serve_send), [address, title, body], limit))
    except WorkerTimeout as silent:
        return Outcome(TEMPORARY, str(silent))
    except WorkerFailed as failed:
        return Outcome(TEMPORARY, redact(str(failed), address)[:_LONGEST_REASON])


def serve_send(order: list[str], _tell: Progress) -> Outcome:
    """Do the work of `send_in_process`, in limited memory: an answer may never end."""
    limit_memory(SEND_MEGABYTES)
    return send(*order)


class WakeReport(NamedTuple):
    """The result of a wake.

    Open reminders, when to wake next, why the clock is not trusted ("" if it is), and a line on every verdict that
    could not be computed.
    """

    open: int
    next_wake: int
    distrust: str
    unwell: list[str]


def wake_in_process(home: Home, setup_data: list | None, now: int, locked_seconds: float, tell: Progress) -> WakeReport:
    """Do as `wake` in a worker process, with the home's files or a given set-up.

    `setup_data`: data and fingerprint of a set-up to use; None to read the files. `now`: this instant; the wake takes
    the one at which it begins, a little later. `locked_seconds`: how long to wait for a database that another process
    has locked. Raises WorkerFailed, and what `tell` raises; the decision is then written whole or not at all.
    """
    order = [str(home.path), setup_data, now, time.monotonic(), locked_seconds]
    return WakeReport(*call_in_process(_work(serve_wake), order, PATIENCE, tell))


def serve_wake(order: list, tell: Progress) -> WakeReport:
    """Do the work of `wake_in_process`."""
    from scheduler.daemon.wake import distrust, unwell, wake

    path, setup_data, then, monotonic, locked_seconds = order
    home = Home(Path(path))
    home.log.wait(locked_seconds)
    setup = home.setup() if setup_data is None else make_setup(*setup_data)
    now = then + round((time.monotonic() - monotonic) * SECOND)  # all processes share the monotonic clock
    result = wake(home, setup, now, progress=tell)
    home.log.close()
    doubt = "" if result.behind is None else distrust(result.behind, setup.hours.zone)
    return WakeReport(result.open, result.next_wake, doubt, unwell(result))


def read_in_process(home: Home, locked_seconds: float, tell: Progress = nobody) -> Setup:
    """Return the set-up of the home's files; the worker also writes it to the cache.

    Raises FilesRefused with every finding, WorkerFailed, and what `tell` raises.
    """
    findings, data, fingerprint = call_in_process(_work(serve_read), [str(home.path), locked_seconds], PATIENCE, tell)
    if findings:
        raise FilesRefused(starmap(Finding, findings))
    return make_setup(data, fingerprint)


def serve_read(order: list, _tell: Progress) -> tuple[list[Finding], dict[str, Any], str]:
    """Return findings, checked data and fingerprint for `read_in_process`."""
    path, locked_seconds = order
    home = Home(Path(path))
    try:
        if home.log.exists():
            home.log.wait(locked_seconds)
        setup = home.setup()
        home.log.wait(locked_seconds)  # creates a missing database here: what that loads must not stay in the daemon
        home.write_cache()
    except FilesRefused as refused:
        return refused.findings, {}, ""
    finally:
        home.log.close()
    return [], setup.data(), setup.fingerprint


def _work(function: Callable[..., object]) -> str:
    return f"{function.__module__}:{function.__name__}"
