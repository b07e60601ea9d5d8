"""Signs of life: an hourly ping, and notices to service manager and watchdog."""

import os
import socket
import threading
import time
import urllib.request
from collections.abc import Callable, Mapping

from scheduler.base.findings import Refused
from scheduler.home.setup import Channel
from scheduler.messages.senders import address, redact

EVERY = 3600.0
TIMEOUT = 10.0
"""Seconds for a connection, and for an answer. Common practice, no source."""


class Heartbeat:
    """Pings in a thread of its own, one at a time.

    `log` gets one line when pings begin to fail, one when they work.
    """

    def __init__(self, log: Callable[[str], object], environ: Mapping[str, str] = os.environ) -> None:
        self._log = log
        self._environ = environ
        self._last = -EVERY
        self._thread: threading.Thread | None = None
        self._fault = ""

    def due(self) -> bool:
        """Return True if the last ping began an hour ago or longer and is over."""
        over = self._thread is None or not self._thread.is_alive()
        return over and time.monotonic() - self._last >= EVERY

    def ping(self, url: str) -> None:
        """Start a ping of the address that `url` is or names; return at once."""
        self._last = time.monotonic()
        self._thread = threading.Thread(target=self._run, args=[url], name="heartbeat", daemon=True)
        self._thread.start()

    def _run(self, url: str) -> None:
        fault = fault_of(url, self._environ)
        if bool(fault) != bool(self._fault):
            self._log(f"heartbeat: {fault or 'well again'}")
        self._fault = fault


def fault_of(url: str, environ: Mapping[str, str]) -> str:
    """Ping an address; return "" on success, else the reason without the address."""
    try:
        target = address(Channel("heartbeat", url), environ)
    except Refused as refused:
        return str(refused)
    if not target.startswith(("http://", "https://")):
        return "its address is not one of http or https"
    try:
        with urllib.request.urlopen(target, timeout=TIMEOUT) as answer:
            answer.read(1024)
    except Exception as error:  # whatever the network raises costs this ping only, and is logged
        return redact(f"{type(error).__name__}: {error}", target)[:200]
    return ""


class ServiceManager:
    """The service manager that started this process, if any: sd_notify(3)."""

    def __init__(self, environ: Mapping[str, str] = os.environ) -> None:
        address = environ.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        mine = environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.watched = bool(self._address) and mine and environ.get("WATCHDOG_USEC", "").isdigit()

    def notify(self, *lines: str) -> None:
        """Send state lines such as READY=1 together. Raises OSError if the socket is gone."""
        if self._address:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
                sender.sendto("\n".join(lines).encode(), self._address)

    def notify_watchdog(self) -> None:
        """Tell any watchdog that the loop is alive. Raises OSError as `notify` does."""
        if self.watched:
            self.notify("WATCHDOG=1")
