"""Wake-ups of the daemon's loop: a socket pair, the home's socket, signals."""

import contextlib
import os
import select
import signal
import socket
from pathlib import Path

from scheduler.home.notify_daemon import SOCKET

BEAT, TIME, LOGGED, RESULT = b"B", b"T", b"L", b"R"
"""The beat, the instant planned for, an entry logged by another process, a send that ended."""


class Wakeups:
    """Wakes the loop that waits in `wait`. `wake` may be called from any thread."""

    def __init__(self, home: Path) -> None:
        self._in, self._out = socket.socketpair()
        self._in.setblocking(False)
        self._out.setblocking(False)
        self._path = home / SOCKET
        self.fault = ""
        """Why the home has no socket for other processes; "" if it has one."""
        try:
            self._listener: socket.socket | None = _listen(self._path)
        except OSError as error:  # a path too long, a file system without sockets: the beat finds entries
            self._listener, self.fault = None, str(error)

    def wake(self, kind: bytes) -> None:
        """Wake the loop. A full buffer will wake it anyway."""
        with contextlib.suppress(BlockingIOError):
            self._out.send(kind)

    def wait(self, seconds: float | None) -> set[bytes]:
        """Return the kinds of wake-ups that came; none after `seconds` (None: for ever)."""
        sources = [self._in] if self._listener is None else [self._in, self._listener]
        ready, _, _ = select.select(sources, [], [], seconds)
        kinds = {bytes([byte]) for byte in _drained(self._in)}
        if self._listener in ready:
            _drained(self._listener)
            kinds.add(LOGGED)
        return kinds

    def catch(self, *signals: signal.Signals) -> None:
        """Let signals wake the loop; their numbers are not among its kinds."""
        signal.set_wakeup_fd(self._out.fileno(), warn_on_full_buffer=False)

    def close(self) -> None:
        """Stop listening."""
        signal.set_wakeup_fd(-1)
        for source in (self._in, self._out, self._listener):
            if source is not None:
                source.close()
        if self._listener is not None:
            self._path.unlink(missing_ok=True)


def _listen(path: Path) -> socket.socket:
    """Return a socket for wake-ups. Needs the home's lock: an old socket is stale."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    old = os.umask(0o177)
    try:
        path.unlink(missing_ok=True)
        listener.bind(str(path))
    except OSError:
        listener.close()
        raise
    finally:
        os.umask(old)
    listener.setblocking(False)
    return listener


def _drained(source: socket.socket | None) -> bytes:
    found = bytearray()
    with contextlib.suppress(BlockingIOError):
        while source is not None:
            found += source.recv(4096)
    return bytes(found)
