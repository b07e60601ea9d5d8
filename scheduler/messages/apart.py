"""Sending in a process of its own: what Apprise takes of memory goes when the message has gone, and a send that hangs
can be ended.

The process gets the address, title and body on its standard input, where no other user of the machine can read them,
and answers with the outcome on its standard output.
"""

import json
import os
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

from scheduler.messages.senders import TEMPORARY, Outcome, redact, send

GRACE = 5.0
"""Seconds that the process is given beyond the limit of the send itself."""
_HERE = str(Path(__file__).resolve().parents[2])
_CODE = f"import sys; sys.path.append({_HERE!r}); from scheduler.messages.apart import answer; answer()"
_LONGEST = 200


def send_apart(address: str, title: str, body: str, limit: float) -> Outcome:
    """As `send`, in a process that is ended, with all it has begun, when it has not answered `limit` seconds later.

    Never raises. A process whose daemon dies may still deliver what it has in hand, which then comes twice.
    """
    try:
        # -P: nothing in the folder that the daemon happens to run in is taken for a module
        process = subprocess.Popen(
            [sys.executable, "-P", "-c", _CODE], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, start_new_session=True,
        )  # fmt: skip
    except OSError as error:
        return Outcome(TEMPORARY, f"the sending process did not start: {error.strerror}")
    with process:
        try:
            said, faults = process.communicate(json.dumps([address, title, body]), timeout=limit)
        except subprocess.TimeoutExpired:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            return Outcome(TEMPORARY, f"no end within {limit:g} s")
    try:
        return Outcome(*json.loads(said))
    except (ValueError, TypeError):
        last = faults.strip().rpartition("\n")[2]
        text = f"the sending process ended with {process.returncode} and no answer: {last}"
        return Outcome(TEMPORARY, redact(text, address)[:_LONGEST])


def answer() -> None:
    """What the process does: read one order, send it, and write the outcome where nothing else is written."""
    out = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # what a sender prints goes with the faults
    with out:
        json.dump(send(*json.load(sys.stdin)), out)
