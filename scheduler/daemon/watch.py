"""Changes that nobody tells the daemon of: in the clock, the database, the files."""

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
    """Compares the clock, the database and the files of a home with how they were when last noted."""

    def __init__(self, home: Home, now: int) -> None:
        self._home = home
        self._clock = (now, time.monotonic())
        self._inode = 0
        self._place = 0
        self._files: list[tuple[str, int, int]] = []

    def clock_step(self, now: int) -> float:
        """Return the seconds by which the wall clock was set since the last call; 0 if it was not."""
        wall, steady = self._clock
        self._clock = (now, time.monotonic())
        step = (now - wall) / SECOND - (self._clock[1] - steady)
        return step if abs(step) >= CLOCK_STEP else 0.0

    def note_database(self) -> None:
        """Note the state of the database; if its file was replaced, open the new one. Raises Refused if it is gone."""
        path = self._home.log.path
        if self._inode and not _inode(path):
            raise Refused.because(f"{path.name} is gone: put it back, or restore a backup into a new home")
        if _inode(path) != self._inode:
            self._home.log.close()
        self._place = self._home.log.place()
        self._inode = _inode(path)

    def database_changed(self) -> bool:
        """Return True if something was logged, the database was replaced, or it cannot be read."""
        try:
            return _inode(self._home.log.path) != self._inode or self._home.log.place() != self._place
        except (Refused, sqlite3.Error):
            return True

    def note_files(self, stamps: list[tuple[str, int, int]]) -> None:
        """Note the state of the files, as `stamps` returned it."""
        self._files = stamps

    def files_changed(self) -> bool:
        """Return True if any file of the set-up has another time or size, or there are other files."""
        return self.stamps() != self._files

    def stamps(self) -> list[tuple[str, int, int]]:
        """Return name, ctime (ns) and size of every file, shipped ones too. A hint only: the fingerprint decides."""
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
