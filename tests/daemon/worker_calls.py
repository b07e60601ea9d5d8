"""Calls made in worker processes by tests: a module of its own, quickly loaded by each of them."""

import os
import sys
import time
from pathlib import Path

from scheduler.base.progress import Progress

WAITS = 30.0
"""Seconds that nobody should wait for."""


def double(order: int, tell: Progress) -> list[int]:
    """Twice the order, and the process that worked it out."""
    print("what work prints is not taken for its answer")
    for done in range(3):
        tell(done, 3)
    return [2 * order, os.getpid()]


def say(order: str, _tell: Progress) -> str:
    """The order, as it came."""
    return order


def stumble(_order: None, _tell: Progress) -> None:
    """What fails."""
    raise ValueError("no such pack")


def vanish(_order: None, _tell: Progress) -> None:
    """A process that ends in the midst."""
    sys.stderr.write("out of memory\n")
    sys.stderr.flush()
    os._exit(7)


def sleep(order: str, tell: Progress) -> None:
    """Leaves word that it has begun, and goes on for long."""
    tell(1, 2)
    Path(order).write_text(str(os.getpid()))
    time.sleep(WAITS)


def linger(_order: None, _tell: Progress) -> str:
    """Answers, and does not end of itself."""
    import threading

    threading.Thread(target=time.sleep, args=[WAITS]).start()
    return "answered"


def no_json(_order: None, _tell: Progress) -> set[str]:
    """What JSON cannot hold."""
    return {"B"}


def slumber(order: tuple[str, int]) -> None:
    """One of several processes at the same work for long."""
    folder, name = order
    Path(folder, str(name)).write_text(str(os.getpid()))
    time.sleep(WAITS)


def share_out(order: str, _tell: Progress) -> None:
    """Begins processes of its own."""
    from scheduler.home.process_pool import map_in_processes

    list(map_in_processes(slumber, [(order, part) for part in range(4)]))
