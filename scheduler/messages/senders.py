"""Send one message through Apprise; return an outcome without secrets."""

import re
import threading
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import parse_qsl, unquote

from scheduler.base.findings import Refused
from scheduler.home.setup import Channel

SENT, TEMPORARY, PERMANENT = "sent", "temporary", "permanent"
CONNECT_SECONDS = 10.0
READ_SECONDS = 15.0
"""Waits for a connection and an answer, unless the address sets its own (`cto`, `rto`). Common practice, no source."""
_HARMLESS = ("cto", "rto", "format", "overflow", "mode", "verify", "retry", "wait", "optional", "qos", "priority")
_LONGEST_REASON = 300
_loading = threading.Lock()


class Outcome(NamedTuple):
    """The outcome of one attempt: sent, or a failure.

    A permanent failure lasts until someone changes something.
    """

    result: str
    reason: str = ""


def address(channel: Channel, environ: Mapping[str, str]) -> str:
    """Return a channel's address: literal, or from environment or credentials folder.

    The environment comes first. Raises Refused if $NAME is in neither.
    """
    match = re.fullmatch(r"\$(\w+|\{\w+\})", channel.url, re.ASCII)
    if match is None:
        return channel.url
    name = match[1].strip("{}")
    found = environ.get(name, "").strip() or _credential(name, environ)
    if not found:
        raise Refused.because(
            f"{name} is neither in the environment nor a credential: `export {name}=ADDRESS` "
            f"for whatever runs shelfbell, or under systemd `LoadCredential={name}:FILE` with the address in that file"
        )
    return found


def _credential(name: str, environ: Mapping[str, str]) -> str:
    folder = environ.get("CREDENTIALS_DIRECTORY")
    path = Path(folder, name) if folder else None
    if path is None or not path.is_file():
        return ""
    try:
        return path.read_text().strip()
    except (OSError, UnicodeDecodeError) as error:
        raise Refused.because(f"the credential {name} cannot be read: {type(error).__name__}") from None


def redact(text: str, secret: str) -> str:
    """Return `text` without the address `secret` and its parts.

    Parts: names, passwords, host, path, values.
    """
    for part in sorted(_parts(secret), key=len, reverse=True):
        text = re.sub(re.escape(part), "…", text, flags=re.IGNORECASE)
    return text


def _parts(secret: str) -> set[str]:
    rest = secret.partition("://")[2] or secret
    place, _, query = rest.partition("?")
    login, _, host = place.rpartition("@")
    names = re.split(r"[/:@]", place)
    values = [value for key, value in parse_qsl(query) if key not in _HARMLESS]
    found = {secret, rest, place, login, host, query, *names, *values}
    passwords = {login.partition(":")[2]} - {""}
    spelled = {form for part in found for form in (part, unquote(part)) if len(form) > 2}
    return spelled | passwords | {unquote(password) for password in passwords}


def send(address: str, title: str, body: str) -> Outcome:
    """Send one message; return when the server answers or waits end. Never raises."""
    try:
        return _send(address, title, body)
    except Exception as error:  # a sender may raise anything; it must cost this attempt only
        return Outcome(TEMPORARY, redact(f"{type(error).__name__}: {error}", address)[:_LONGEST_REASON])


def _send(address: str, title: str, body: str) -> Outcome:
    bell = _load(address)  # a fresh one each time: its throttle would hold a second mail back for seconds
    if bell is None:
        scheme = re.match(r"(\w{1,20})://", address)
        kind = f" (it begins with {scheme[0]})" if scheme else ""
        return Outcome(PERMANENT, f"the address is not one that Apprise can use{kind}")
    with bell.notify(body=body, title=title, body_format="text", log_level=10) as result:
        # not bool(result): a failure counts as success there when the address says optional=yes
        last = [service.attempts[-1] for service in result.results if service.attempts]
        if last and all(last):
            return Outcome(SENT)
        return _failure([entry.message for entry in result.logs() if _telling(entry)], address)


def _load(address: str) -> Any:
    """Return an Apprise object for one address; None if Apprise cannot use it."""
    import logging

    with _loading:
        import apprise

        logger = logging.getLogger("apprise")
        logger.propagate = False  # it writes addresses; what it has to say comes back with the result…
        logger.setLevel(logging.DEBUG)  # …and only there does it name the cause
        if not logger.handlers:
            logger.addHandler(logging.NullHandler())
        # without a time limit of Apprise's own it sends in this very thread, not in a pool that channels would share
        asset = apprise.AppriseAsset(app_id="shelfbell", app_desc="", app_url="", service_timeout=0)
        bell = apprise.Apprise(asset=asset)
        if not bell.add(address) or not len(bell):
            return None
    for plugin in bell:
        _tune(plugin, dict(parse_qsl(address.partition("?")[2])))
    return bell


def _tune(plugin: Any, given: dict[str, str]) -> None:
    """Make a plugin send plain text, whole or in parts, with bounded waits.

    What the address says takes precedence.
    """
    if "cto" not in given:
        plugin.socket_connect_timeout = CONNECT_SECONDS
    if "rto" not in given:
        plugin.socket_read_timeout = READ_SECONDS
    if "overflow" not in given:
        plugin.overflow_mode = "split"
    if "format" not in given and hasattr(plugin, "notify_format"):
        plugin.notify_format = "text"


def _telling(entry: Any) -> bool:
    return entry.level in ("WARNING", "ERROR", "CRITICAL") or re.match(r"[\w ]*Exception: ", entry.message) is not None


def _failure(messages: Iterable[str], address: str) -> Outcome:
    text = " ".join(" ".join(message.split()) for message in messages) or "it was not taken, and no reason was given"
    status = re.search(r"error=(\d{3})", text)
    code = int(status[1]) if status else 0
    refused = 400 <= code < 500 and code not in (408, 425, 429)  # RFC 9110 and RFC 6585: these ask to come again
    rejected = re.search(r"\(5\d\d, b['\"]", text) is not None  # "permanent negative completion", RFC 5321 4.2.1
    return Outcome(PERMANENT if refused or rejected else TEMPORARY, redact(_cause(text), address)[:_LONGEST_REASON])


def _cause(text: str) -> str:
    """Return the bare cause of a failed connection, or `text`, fit within a sentence."""
    system = re.search(r"\[Errno -?\d+\] ([^\"')]+)", text)
    if system is not None:
        return f"no connection: {system[1].strip()}"
    return "no answer in time" if "timed out" in text else re.sub(r"\.(?=,|$)", "", text)
