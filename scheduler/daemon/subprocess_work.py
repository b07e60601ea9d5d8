"""Sending, looking and reading the files, each in a process of its own: the daemon itself stays small.

Apprise, the solving of rules and the check of files take several times the memory of all else, for a moment.
"""

import time
from collections.abc import Callable
from itertools import starmap
from pathlib import Path
from typing import Any, NamedTuple

from scheduler.base.findings import FilesRefused, Finding, Refused
from scheduler.base.instants import SECOND
from scheduler.base.progress import Progress, nobody
from scheduler.daemon.faults import WorkerFailed, WorkerTimeout
from scheduler.daemon.subprocess_worker import call_in_process
from scheduler.home.folder import Home
from scheduler.home.setup import Setup, make_setup
from scheduler.messages.senders import TEMPORARY, Outcome, redact, send

PATIENCE = 300.0
"""Seconds after which a look of which nothing is heard is taken for hung. Common practice, no source."""
_LONGEST = 200


def send_in_process(address: str, title: str, body: str, limit: float) -> Outcome:
    """As `send`, in a process that is ended when it has not answered `limit` seconds later.

    Never raises. A process whose daemon dies may still deliver what it has in hand, which then comes twice.
    """
    try:
        return Outcome(*call_in_process(_work(serve_send), [address, title, body], limit))
    except WorkerTimeout as silent:
        return Outcome(TEMPORARY, str(silent))
    except WorkerFailed as failed:
        return Outcome(TEMPORARY, redact(str(failed), address)[:_LONGEST])


def serve_send(order: list[str], _tell: Progress) -> Outcome:
    """The work of `send_apart`."""
    return send(*order)


class WakeReport(NamedTuple):
    """What a wake came to: how many reminders are open, when there may be more to say, what is said where the clock is
    not trusted ("" where it is), and a line on every verdict that could not be computed."""

    open: int
    next_wake: int
    distrust: str
    unwell: list[str]


def wake_in_process(home: Home, held: list | None, now: int, locked_seconds: float, tell: Progress) -> WakeReport:
    """As `wake`, with the set-up that the home's files describe, or with one held: its data and fingerprint.

    `now`: this instant; the look itself is made at the one at which it begins, a little later. `locked_seconds`: how
    long to wait for a database that another process has locked. Raises WorkerFailed, and what `tell` raises; what was decided
    is then written whole, or not at all.
    """
    order = [str(home.path), held, now, time.monotonic(), locked_seconds]
    return WakeReport(*call_in_process(_work(serve_wake), order, PATIENCE, tell))


def serve_wake(order: list, tell: Progress) -> WakeReport:
    """The work of `wake_apart`."""
    from scheduler.daemon.wake import distrust, unwell, wake

    path, held, then, steady, locked_seconds = order
    home = Home(Path(path))
    home.log.wait(locked_seconds)
    setup = home.setup() if held is None else make_setup(*held)
    now = then + round((time.monotonic() - steady) * SECOND)  # the steady clock is one for all processes
    result = wake(home, setup, now, progress=tell)
    home.log.close()
    said = "" if result.behind is None else distrust(result.behind, setup.hours.zone)
    return WakeReport(result.open, result.next_wake, said, unwell(result))


def read_in_process(home: Home, locked_seconds: float, tell: Progress = nobody) -> Setup:
    """Return the set-up that the home's files describe; the process also writes it to the compiled cache.

    Raises FilesRefused with every finding, WorkerFailed, and what `tell` raises.
    """
    findings, data, fingerprint = call_in_process(_work(serve_read), [str(home.path), locked_seconds], PATIENCE, tell)
    if findings:
        raise FilesRefused(starmap(Finding, findings))
    return make_setup(data, fingerprint)


def serve_read(order: list, _tell: Progress) -> tuple[list[Finding], dict[str, Any], str]:
    """Do the work of `read_in_process`: return the findings, the checked data and its fingerprint."""
    path, locked_seconds = order
    home = Home(Path(path))
    home.log.wait(locked_seconds)
    try:
        setup = home.setup()
    except Refused as refused:
        return refused.findings, {}, ""
    finally:
        home.log.close()
    return [], setup.data(), setup.fingerprint


def _work(function: Callable[..., object]) -> str:
    return f"{function.__module__}:{function.__name__}"
