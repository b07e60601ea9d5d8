"""What is said while files of the home are refused: what is wrong with them, and by which rules the daemon goes on."""

from zoneinfo import ZoneInfo

from scheduler.findings import Refused
from scheduler.home import Home
from scheduler.messages.lock import running
from scheduler.messages.outbox import FILES_READ_AT, Outbox
from scheduler.reminders.text import moment_near


def wrong_with_files(refused: Refused) -> str:
    """The first thing that is wrong, and how many more there are."""
    more = len(refused.findings) - 1
    return f"{refused.findings[0]}{f' (and {more} more)' if more else ''}"


def daemon_goes_on(home: Home, now: int, zone: ZoneInfo) -> str:
    """By which rules a running daemon goes on, as a sentence; "" where none is running."""
    if not running(home.place):
        return ""
    read_at = Outbox(home.log).state(FILES_READ_AT)
    rules = "that it has" if read_at is None else f"of {moment_near(read_at, now, zone)}"
    return f"The daemon goes on ringing by the rules {rules}."
