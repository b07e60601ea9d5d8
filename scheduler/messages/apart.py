"""Sending in a process of its own: what Apprise takes of memory goes when the message has gone, and a send that hangs
can be ended.

The process gets the address, title and body on its standard input, where no other user of the machine can read them,
and answers with the outcome on its standard output.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

from scheduler.messages.senders import TEMPORARY, Outcome, redact, send

GRACE = 5.0
"""Seconds that the process is given beyond the limit of the send itself."""
_CODE = "from scheduler.messages.apart import answer; answer()"


def send_apart(address: str, title: str, body: str, limit: float) -> Outcome:
    """As `send`, in a process that is ended when it has not answered `limit` seconds later. Never raises."""
    order = json.dumps([address, title, body])
    try:
        done = subprocess.run(
            [sys.executable, "-c", _CODE], input=order, capture_output=True, text=True, timeout=limit,
            env=_environment(), start_new_session=True, check=False,
        )  # fmt: skip
        return Outcome(*json.loads(done.stdout))
    except subprocess.TimeoutExpired:
        return Outcome(TEMPORARY, f"no end within {limit:g} s")
    except (OSError, ValueError, TypeError) as error:  # not started, or ended without an answer
        return Outcome(TEMPORARY, redact(f"the sending process failed: {type(error).__name__}: {error}", address))


def _environment() -> dict[str, str]:
    """The environment, with this very package to be found first."""
    here = str(Path(__file__).resolve().parents[2])
    there = os.environ.get("PYTHONPATH", "")
    return {**os.environ, "PYTHONPATH": os.pathsep.join([here, *([there] if there else [])])}


def answer() -> None:
    """What the process does: read one order, send it, print the outcome."""
    address, title, body = json.load(sys.stdin)
    outcome = send(address, title, body)
    json.dump(outcome, sys.stdout)
