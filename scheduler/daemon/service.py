"""What a service manager is told, by the protocol of sd_notify(3), and when the watchdog wants a beat."""

import os
import socket
from collections.abc import Mapping


class Service:
    """The service manager that started this process, if any did."""

    def __init__(self, environ: Mapping[str, str] = os.environ) -> None:
        address = environ.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        mine = environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.watched = bool(self._address) and mine and environ.get("WATCHDOG_USEC", "").isdigit()

    def tell(self, *lines: str) -> None:
        """Send state lines such as READY=1 together. Raises OSError where the socket is gone."""
        if self._address:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
                sender.sendto("\n".join(lines).encode(), self._address)

    def beat(self) -> None:
        """Tell the watchdog, if there is one, that the loop is alive."""
        if self.watched:
            self.tell("WATCHDOG=1")
