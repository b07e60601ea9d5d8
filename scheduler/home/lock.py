"""The lock of a home: only its holder sends."""

import fcntl
import os
from types import TracebackType
from typing import TYPE_CHECKING

from scheduler.base.findings import Refused

if TYPE_CHECKING:
    from pathlib import Path

LOCK = "shelfbell.lock"
DAEMON = "run"


def running(home: "str | os.PathLike[str]") -> bool:
    """Return True while a daemon holds a home's lock. Writes nothing, imports little."""
    try:
        descriptor = os.open(os.path.join(home, LOCK), os.O_RDONLY | os.O_CLOEXEC)
    except OSError:  # no lock file: no daemon ever ran here
        return False
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return os.pread(descriptor, len(DAEMON), 0) == DAEMON.encode()
    finally:
        os.close(descriptor)
    return False


class Lock:
    """An advisory lock (flock) on a file of the home.

    The system releases it when its holder dies. `role`: written into the file for others to read; DAEMON for a daemon.
    """

    def __init__(self, home: "Path", role: str) -> None:
        self._path = home / LOCK
        self._role = role
        self._descriptor: int | None = None

    def acquire(self) -> bool:
        """Take the lock; return True if it was free. Raises Refused if it cannot write."""
        try:
            descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise Refused.because(f"{self._path} cannot be written: {error.strerror}") from None
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(descriptor)
            return False
        os.truncate(descriptor, 0)
        os.pwrite(descriptor, f"{self._role} {os.getpid()}\n".encode(), 0)
        self._descriptor = descriptor
        return True

    def holder(self) -> tuple[str, int]:
        """Return role and process id of the holder; ("", 0) before it has written them."""
        role, _, process = self._path.read_text().strip().partition(" ")
        return role, int(process or 0)

    def release(self) -> None:
        """Release the lock."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def __enter__(self) -> "Lock":
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.release()
