"""Answer by the files that last passed while a home's files are refused.

Say what is wrong with them. A slip in a file loses no entry, and the entry is judged all the same.
"""

import json
import sqlite3
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from scheduler import __version__
from scheduler.answers.desk import NOW, AskedAt, Desk, desk_at
from scheduler.base.findings import FilesRefused, Finding, Refused
from scheduler.base.instants import moment_near
from scheduler.home.folder import FLEET, FLEET_PART, SETTINGS, Home
from scheduler.home.lock import running
from scheduler.home.setup import Setup, make_setup


def setup_or_fallback(home: Home) -> tuple[Setup, Refused | None]:
    """Return the set-up and None, or the fallback and what is wrong with the files.

    Raises Refused where too little is known for a fallback.
    """
    try:
        return home.setup(), None
    except Refused as refused:
        return fallback_setup(home, refused), refused


def judging_setup(home: Home) -> tuple[Setup, Refused | None]:
    """Return the same, with rules. Raises Refused where the fallback has none."""
    setup, refused = setup_or_fallback(home)
    if refused and not list(setup.rules):
        raise refused
    return setup, refused


def desk_or_fallback(home: Home, now: int, asked: AskedAt = NOW) -> tuple[Desk, Refused | None]:
    """Return the desk for a question; with it, what is wrong if older files answer.

    Raises Refused where the fallback has no rules.
    """
    setup, refused = judging_setup(home)
    return desk_at(home, setup, now, asked), refused


def fallback_setup(home: Home, refused: Refused) -> Setup:
    """Return a set-up for a home whose files are refused.

    Settings and fleet come from their files, or if these are refused, from the last set-up that passed; the rules
    always from that one, as in the running daemon. There are none if it is unknown. Raises `refused`, which says what
    is wrong with the files, if it cannot get settings or fleet.
    """
    home.require()
    last = _last(home)
    settings, fleet = _part(home, "settings", refused, last), _part(home, "fleet", refused, last)
    if settings is None or fleet is None:
        raise refused
    known = last.get("version") == __version__  # another may not have the facts that they name
    rules = {name: last[name] for name in ("rules", "adjust")} if known else {"rules": [], "adjust": {}}
    return make_setup({"settings": settings, "fleet": fleet} | rules, "")


def fallback_zone(home: Home, refused: Refused) -> ZoneInfo | None:
    """Return the zone from the same settings; None if there are none."""
    settings = _part(home, "settings", refused, _last(home))
    return None if settings is None else ZoneInfo(settings["zone"])


_FILES = {"settings": SETTINGS, "fleet": FLEET}


def _part(home: Home, part: str, refused: Refused, last: dict) -> dict | None:
    """Return the content of a part's file; if refused, the last good one, or None."""
    wrong = any(finding.file == _FILES[part] for finding in refused.findings)
    return last.get(part) if wrong else _data(home, _FILES[part])


def _data(home: Home, name: str) -> dict:
    from scheduler.base.strict_yaml import read

    return read((home.path / name).read_bytes(), name).data or {}


def _last(home: Home) -> dict:
    """Return the set-up compiled last, from whatever files; empty if there was none."""
    part = "substr(fingerprint, instr(fingerprint || '/', '/'))"
    query = f"SELECT fingerprint, data FROM compiled WHERE {part} IN ('', '{FLEET_PART}')"
    try:
        rows = home.log.connection.execute(query).fetchall() if home.log.exists() else []
    except (sqlite3.DatabaseError, Refused):  # nothing compiled yet; what is wrong with the log, its readers say
        return {}
    last: dict = {}
    for name, data in rows:
        last |= {"fleet": json.loads(data)} if name.endswith(FLEET_PART) else json.loads(data)
    return last


def with_daemon(home: Home, refused: FilesRefused, now: int) -> Refused:
    """Return the refusal with a line on the rules that a running daemon still uses."""
    goes_on = daemon_line(home, now, fallback_zone(home, refused))
    return Refused([*refused.findings, *([Finding("", 0, 0, goes_on)] if goes_on else [])])


def answered_by_older_files(at: Desk, refused: Refused, now: int, unanswered: Iterable[Finding] = ()) -> Refused:
    """Return what to add to an answer by older files; `unanswered`: why there is none."""
    lines = refused_lines(at, refused, now, "This is by the files as they last passed the check")
    return Refused([*unanswered, *(Finding("", 0, 0, line) for line in lines)])


def refused_lines(at: Desk, refused: Refused, now: int, judged: str, then: str = "") -> list[str]:
    """Say how the answer was `judged`, what is wrong, and what the daemon does."""
    more = len(refused.findings) - 1
    lines = [
        f"{judged}, because a file of the home is refused:",
        f"  {refused.findings[0]}{f' (and {more} more)' if more else ''}",
        daemon_line(at.home, now, at.setup.hours.zone),
        f"Put it right (`shelfbell check` shows all){then}.",
    ]
    return list(filter(None, lines))


def daemon_line(home: Home, now: int, zone: ZoneInfo | None) -> str:
    """Say which rules a running daemon still uses; return "" where none runs."""
    return f"The daemon goes on ringing by {daemon_rules(home, now, zone)}." if running(home.place) else ""


def daemon_rules(home: Home, now: int, zone: ZoneInfo | None) -> str:
    """Return which rules a daemon uses: "the rules of Wed 25 Nov 16:45"."""
    from scheduler.messages.outbox import FILES_READ_AT, Outbox

    read_at = Outbox(home.log).state(FILES_READ_AT)
    return "the rules that it has" if read_at is None else f"the rules of {say_in(zone, read_at, now)}"


def say_in(zone: ZoneInfo | None, instant: int, now: int) -> str:
    """Write an instant for people; in UTC, marked so, where the zone is unknown."""
    return moment_near(instant, now, zone) if zone else f"{moment_near(instant, now, ZoneInfo('UTC'))} UTC"
