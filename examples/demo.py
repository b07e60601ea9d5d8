"""The demo: a season taken into a fresh home, and its last weekend as the daemon sees it.

Called by demo.sh. Everything goes through the command `shelfbell`, in processes of its own; only the clock is
given, with --at. Messages are sent to a receiver that this script starts on the loopback interface.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
import textwrap
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

HERE = Path(__file__).resolve().parent
SEASON = HERE / "season.jsonl"
SHELFBELL = [sys.executable, "-c", "from scheduler.cli.main import main; raise SystemExit(main())"]
FIRST_LOOK = "2026-10-31T16:00:00+00:00"
SECOND_LOOK = "2026-11-01T18:45:00+00:00"
JOB = {"job": "harbour-winter", "aircraft": "heron"}
EVENING: list[dict[str, object]] = [
    {"at": "2026-10-31T16:30:00+00:00", "what": "booked", **JOB, "starts": "2026-11-01T09:30:00+00:00",
     "airtime_minutes": 15},
    {"at": "2026-10-31T18:40:00+00:00", "what": "charged", "item": "B", "charger": "bench"},
    {"at": "2026-10-31T20:15:00+00:00", "what": "cancelled", "job": "harbour-winter", "note": "wind"},
]  # fmt: skip
INTRODUCTION = """\
You see an invented operator's season, eight months and {events:,} events, taken into a fresh home, and then
its last weekend: pack B was charged for a job that was called off. The clock is simulated (--at); log, rules,
decision and delivery are the real ones, into a mailbox that this demo opens on this machine."""


class Mailbox(ThreadingHTTPServer):
    """A mailbox that keeps what is posted to it."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Letterbox)
        self.letters: list[dict[str, str]] = []
        Thread(target=self.serve_forever, daemon=True).start()

    @property
    def address(self) -> str:
        """Return its Apprise address."""
        return f"json://127.0.0.1:{self.server_port}/"


class _Letterbox(BaseHTTPRequestHandler):
    server: Mailbox

    def do_POST(self) -> None:
        length = int(self.headers.get("Content-Length", 0))
        self.server.letters.append(json.loads(self.rfile.read(length)))
        self.send_response(200)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing: only the letters are of interest."""


class Operator:
    """Someone who types `shelfbell` commands in one home, and whose messages go to one mailbox."""

    def __init__(self, home: Path, mailbox: Mailbox) -> None:
        self._home = home
        self._mailbox = mailbox
        self._environment = os.environ | {"SHELFBELL_DEMO": mailbox.address, "no_proxy": "127.0.0.1"}

    def types(self, *words: str, given: str = "", good: tuple[int, ...] = (0,)) -> None:
        """Run a command and show it with what it printed. Exits if its status is not in `good`."""
        print(f"$ shelfbell {' '.join(words)}", flush=True)
        print(textwrap.indent(given, "  "), end="")
        command = [*SHELFBELL, "--home", str(self._home), *words]
        done = subprocess.run(command, input=given, env=self._environment, cwd=HERE, capture_output=True, text=True)
        print(done.stdout + done.stderr)
        if done.returncode not in good:
            sys.exit(f"The demo stopped: shelfbell {words[0]} ended with status {done.returncode}.")

    def wakes_the_daemon(self, at: str) -> None:
        """Let the daemon decide once at an instant, and show what it delivered."""
        before = len(self._mailbox.letters)
        self.types("run", "--once", "--at", at)
        for letter in self._mailbox.letters[before:]:
            print(as_mail(letter, at))
        if len(self._mailbox.letters) == before:
            sys.exit("The demo stopped: the daemon delivered nothing.")


def as_mail(letter: dict[str, str], at: str) -> str:
    """Return a message as a mailbox shows it, in a frame."""
    date = datetime.fromisoformat(at).strftime("%a %d %b %Y, %H:%M")
    paragraphs = letter.get("message", "").splitlines()
    body = [line for text in paragraphs for line in textwrap.wrap(text, 96, subsequent_indent="  ") or [""]]
    lines = ["From: shelfbell", f"Date: {date}", f"Subject: {letter.get('title', '')}", "", *body]
    framed = [f"| {line:<96} |" for line in lines]
    edge = f"+{'-' * 98}+"
    return "\n".join([edge, *framed, edge, ""])


def heading(text: str) -> None:
    """Announce a step."""
    print(f"\n{text}\n{'-' * len(text)}\n")


def evening() -> str:
    """Return the events of the last evening as lines, recorded the minute they happened."""
    return "".join(f"{json.dumps({**event, 'recorded_at': event['at']})}\n" for event in EVENING)


def play(operator: Operator) -> None:
    """Play the demo step by step."""
    heading("The season is taken in")
    operator.types("intake", SEASON.name)
    heading("Saturday afternoon: the daemon starts, and sums up what the season left open")
    operator.wakes_the_daemon(FIRST_LOOK)
    heading("Saturday evening: a job is booked, pack B charged for it, the job called off")
    operator.types("intake", "-", given=evening())
    heading("Sunday evening: pack B has been full for a day")
    operator.wakes_the_daemon(SECOND_LOOK)
    heading("The board at that time")
    operator.types("due", "--at", SECOND_LOOK, good=(0, 1))
    heading("Why it rang")
    operator.types("explain", "pack-left-full", "B", "--at", SECOND_LOOK)


def main() -> int:
    """Play the demo in a folder that is deleted afterwards."""
    events = len(SEASON.read_text(encoding="utf-8").splitlines())
    print(INTRODUCTION.format(events=events))
    with tempfile.TemporaryDirectory() as folder, Mailbox() as mailbox:
        home = Path(shutil.copytree(HERE / "home", Path(folder) / "home"))
        play(Operator(home, mailbox))
        mailbox.shutdown()
    return 0


if __name__ == "__main__":
    sys.exit(main())
