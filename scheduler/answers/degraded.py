"""What is said while files of the home are refused: what is wrong with them, and by which rules the daemon goes on."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

from scheduler.answers.desk import Desk
from scheduler.answers.fallback_setup import fallback_zone
from scheduler.base.findings import FilesRefused, Finding, Refused
from scheduler.base.instants import moment_near
from scheduler.home.folder import Home
from scheduler.home.lock import running
from scheduler.messages.outbox import FILES_READ_AT, Outbox


def with_daemon(home: Home, refused: FilesRefused, now: int) -> Refused:
    """A refusal that also says by which rules a running daemon goes on."""
    goes_on = daemon_goes_on(home, now, fallback_zone(home, refused))
    return Refused([*refused.findings, *([Finding("", 0, 0, goes_on)] if goes_on else [])])


def by_older_files(at: Desk, refused: Refused, now: int, unanswered: Iterable[Finding] = ()) -> Refused:
    """What is said after an answer by the files as they last passed; `unanswered`: why there is none."""
    lines = while_refused(at, refused, now, "This is by the files as they last passed the check")
    return Refused([*unanswered, *(Finding("", 0, 0, line) for line in lines)])


def while_refused(at: Desk, refused: Refused, now: int, judged: str, then: str = "") -> list[str]:
    """How what was asked or logged is `judged` all the same, what is wrong, and what the daemon does."""
    lines = [
        f"{judged}, for a file of the home is refused:",
        f"  {wrong_with_files(refused)}",
        daemon_goes_on(at.home, now, at.setup.hours.zone),
        f"Put it right (`shelfbell check` shows all){then}.",
    ]
    return list(filter(None, lines))


def wrong_with_files(refused: Refused) -> str:
    """The first thing that is wrong, and how many more there are."""
    more = len(refused.findings) - 1
    return f"{refused.findings[0]}{f' (and {more} more)' if more else ''}"


def daemon_goes_on(home: Home, now: int, zone: ZoneInfo | None) -> str:
    """By which rules a running daemon goes on, as a sentence; "" where none is running."""
    return f"The daemon goes on ringing by {rules_gone_by(home, now, zone)}." if running(home.place) else ""


def rules_gone_by(home: Home, now: int, zone: ZoneInfo | None) -> str:
    """The rules that a daemon goes on by: "the rules of Wed 25 Nov 16:45"."""
    read_at = Outbox(home.log).state(FILES_READ_AT)
    return "the rules that it has" if read_at is None else f"the rules of {said_in(zone, read_at, now)}"


def said_in(zone: ZoneInfo | None, instant: int, now: int) -> str:
    """An instant for people; in UTC, and marked so, where the home's zone is not known."""
    return moment_near(instant, now, zone) if zone else f"{moment_near(instant, now, ZoneInfo('UTC'))} UTC"
