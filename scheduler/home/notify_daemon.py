"""Tell a home's daemon by a datagram that something was logged.

Best effort; nothing depends on it.
"""

import os
from contextlib import suppress

SOCKET = "shelfbell.sock"


def notify_daemon(home: "str | os.PathLike[str]") -> None:
    """Wake the daemon of a home if one listens; one `stat` if none does."""
    path = os.path.join(home, SOCKET)
    if not os.path.exists(path):
        return
    import socket

    # no listener, a full buffer, a path too long for a socket: the daemon's next beat finds the change
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
        sender.setblocking(False)
        sender.sendto(b"P", path)
