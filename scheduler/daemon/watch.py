"""Detect changes in clock, database and files that nobody reports to the daemon."""

import sqlite3
import time
from pathlib import Path

from scheduler.base.findings import Refused
from scheduler.base.instants import SECOND
from scheduler.base.shipped import folder
from scheduler.home.folder import Home

CLOCK_STEP = 2.0
"""Seconds that wall clock and monotonic clock may drift apart between two checks before it counts as a step."""


class ChangeDetector:
    """Compares the clock, database and files of a home with those last noted."""

    def __init__(self, home: Home, now: int) -> None:
        self._home = home
        self._clock = (now, time.monotonic())
        self._inode = 0
        self._place = 0
        self._files: list[tuple[str, int, int]] = []

    def clock_step(self, now: int) -> float:
        """Return the seconds by which the wall clock was set since the last call, or 0."""
        wall, steady = self._clock
        self._clock = (now, time.monotonic())
        step = (now - wall) / SECOND - (self._clock[1] - steady)
        return step if abs(step) >= CLOCK_STEP else 0.0

    def note_database(self) -> None:
        """Note the state of the database, opening a new file. Raises Refused if gone."""
        path = self._home.log.path
        if self._inode and not _inode(path):
            raise Refused.because(f"{path.name} is gone: put it back, or restore a backup into a new home")
        if _inode(path) != self._inode:
            self._home.log.close()
        self._place = self._home.log.place()
        self._inode = _inode(path)

    def database_changed(self) -> bool:
        """Return True if the database has new entries, was replaced or is unreadable."""
        try:
            return _inode(self._home.log.path) != self._inode or self._home.log.place() != self._place
        except (Refused, sqlite3.Error):
            return True

    def note_files(self, stamps: list[tuple[str, int, int]]) -> None:
        """Note the state of the files, as `stamps` returned it."""
        self._files = stamps

    def files_changed(self) -> bool:
        """Return True if a set-up file's time or size, or the set of files, changed."""
        return self.stamps() != self._files

    def stamps(self) -> list[tuple[str, int, int]]:
        """Return name, ctime (ns), size of each file, shipped ones too: only a hint.

        The fingerprint decides.
        """
        shipped = [(path.name, path) for path in sorted(folder("rules").glob("*.yaml"))]
        return [(name, *_stamp(path)) for name, path in [*self._home.files(), *shipped]]


def _stamp(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return (0, 0)
    return (found.st_ctime_ns, found.st_size)  # ctime changes with who may read it, too


def _inode(path: Path) -> int:
    try:
        return path.stat().st_ino
    except OSError:
        return 0
