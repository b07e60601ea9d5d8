"""Without a daemon: decide and send once, preview, or send a trial message."""

import threading
import time
from collections.abc import Callable

from scheduler.base.instants import moment_near
from scheduler.base.progress import Progress, nobody
from scheduler.daemon.wake import distrust, unwell, wake
from scheduler.home.folder import Home
from scheduler.home.lock import Lock
from scheduler.home.notify_daemon import notify_daemon
from scheduler.home.setup import Channel, Setup
from scheduler.messages.outbox import TRIAL, Message, Outbox, OutboxRow, reference
from scheduler.messages.post import SEND_SECONDS, Post, describe_outcome
from scheduler.messages.senders import SENT, TEMPORARY, Outcome


def run_once(home: Home, setup: Setup, now: int, trust: bool, progress: Progress = nobody) -> list[str]:
    """Decide once and send what is due; return a line on each outcome.

    `trust`: as in `wake`. Raises Refused.
    """
    result = wake(home, setup, now, trust=trust, progress=progress)
    if result.behind is not None:
        return [distrust(result.behind, setup.hours.zone)]
    sent = [describe_outcome(row, Outcome(row.state, row.last_error or "")) for row in deliver_once(home, setup, now)]
    return unwell(result) + sent or [_nothing(setup)]


def preview(home: Home, setup: Setup, now: int, trust: bool, progress: Progress = nobody) -> list[str]:
    """Return what `run_once` would send, by message; write nothing. Raises Refused."""
    result = wake(home, setup, now, dry_run=True, trust=trust, progress=progress)
    if result.behind is not None:
        return [distrust(result.behind, setup.hours.zone)]
    shown = [_shown(message, now) for message in result.messages] or [_nothing(setup)]
    return [*unwell(result), *shown, f"Next look: {moment_near(result.next_wake, now, setup.hours.zone)}."]


def _nothing(setup: Setup) -> str:
    return "Nothing to send." if setup.channels else "Nothing can be sent: no channel is set up in shelfbell.yaml."


def _shown(message: Message, now: int) -> str:
    ref = reference(now, message.kind, message.title)
    return f"To {message.channel} ({message.kind}): {message.title}\n\n{message.body}\n\nReference {ref}.\n"


def deliver_once(home: Home, setup: Setup, now: int, limit: float = SEND_SECONDS) -> list[OutboxRow]:
    """Send what is due now on all channels at once; return those rows afterwards.

    Only the holder of the home's lock sends. If that is another process, wake it and wait for it.
    """
    outbox = Outbox(home.log)
    due = [row.id for channel in setup.channels for row in outbox.due(channel.name, now)]
    channels = [channel.name for channel in setup.channels]
    _send_until_done(home, setup, now, limit, lambda: outbox.unfinished(channels, now))
    return [outbox.row(row_id) for row_id in due]


def ring(home: Home, channel: Channel, now: int, limit: float = SEND_SECONDS) -> Outcome:
    """Send a trial message like any other through a channel; it is tried once."""
    outbox = Outbox(home.log)
    text = f"This is a trial of the channel {channel.name}. If you can read it, reminders arrive here."
    with outbox.writing() as transaction:
        row_id = outbox.add(transaction, Message(channel.name, TRIAL, "Trial from shelfbell", text), now)
    only = home.settings()._replace(channels=[channel])
    _send_until_done(home, only, now, limit, lambda: outbox.row(row_id).state in ("waiting", "sending"))
    row = outbox.row(row_id)
    return Outcome(SENT) if row.state == "sent" else Outcome(TEMPORARY, row.last_error or "it is still on its way")


def _send_until_done(home: Home, setup: Setup, now: int, limit: float, unfinished: Callable[[], bool]) -> None:
    """Send until nothing is unfinished, or wait for the lock's holder to do so.

    At most twice `limit` seconds.
    """
    end = time.monotonic() + 2 * limit
    with Lock(home.path, "once") as lock:
        while unfinished() and time.monotonic() < end:
            if lock.acquire():
                _send_all(home, setup, now, limit, unfinished)
                return
            notify_daemon(home.path)
            time.sleep(0.2)


def _send_all(home: Home, setup: Setup, now: int, limit: float, unfinished: Callable[[], bool]) -> None:
    ended = threading.Event()
    outbox = Outbox(home.log)
    outbox.release(now)
    post = Post(outbox, setup, ended.set, limit)
    while True:
        ended.clear()
        post.pump(now, start=False)
        if unfinished():
            post.pump(now)
        if not post.busy:
            return
        ended.wait(post.patience())
