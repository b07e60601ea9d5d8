"""The heartbeat: an outside address that is asked for on each healthy hour, so that somebody else notices silence."""

import os
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
    """Pings in a thread of its own, one at a time. `say` gets one line when it begins to fail, one when it is well."""

    def __init__(self, say: Callable[[str], object], environ: Mapping[str, str] = os.environ) -> None:
        self._say = say
        self._environ = environ
        self._last = -EVERY
        self._thread: threading.Thread | None = None
        self._fault = ""

    def due(self) -> bool:
        """True when the last ping began an hour ago and is over."""
        over = self._thread is None or not self._thread.is_alive()
        return over and time.monotonic() - self._last >= EVERY

    def ping(self, url: str) -> None:
        """Ask for the address that `url` is or names; returns at once."""
        self._last = time.monotonic()
        self._thread = threading.Thread(target=self._note, args=[url], name="heartbeat", daemon=True)
        self._thread.start()

    def _note(self, url: str) -> None:
        fault = fault_of(url, self._environ)
        if bool(fault) != bool(self._fault):
            self._say(f"heartbeat: {fault or 'well again'}")
        self._fault = fault


def fault_of(url: str, environ: Mapping[str, str]) -> str:
    """Ask for an address; "" when it answered with a success, else why not, without the address."""
    try:
        target = address(Channel("heartbeat", url), environ)
    except Refused as refused:
        return str(refused)
    if not target.startswith(("http://", "https://")):
        return "its address is not one of http or https"
    try:
        with urllib.request.urlopen(target, timeout=TIMEOUT) as answer:
            answer.read(1024)
    except Exception as error:  # whatever the network raises costs this ping only, and is said
        return redact(f"{type(error).__name__}: {error}", target)[:200]
    return ""
