"""What can be had of a home whose files are refused, so that an entry is not lost and is judged all the same."""

import json
import sqlite3
from zoneinfo import ZoneInfo

from scheduler import __version__
from scheduler.base.findings import Refused
from scheduler.home.folder import FLEET, FLEET_PART, SETTINGS, Home
from scheduler.home.setup import Setup, make_setup


def fallback_setup(home: Home, refused: Refused) -> Setup:
    """Settings and fleet as their files have them, or where these are refused, as they were when last all was well; the
    rules as they were then, which the daemon goes on by: none where they are not known.

    Raises `refused`, which says what is wrong with the files, where settings or fleet cannot be had.
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
    """The zone by the same settings; None where they cannot be had."""
    settings = _part(home, "settings", refused, _last(home))
    return None if settings is None else ZoneInfo(settings["zone"])


_FILES = {"settings": SETTINGS, "fleet": FLEET}


def _part(home: Home, part: str, refused: Refused, last: dict) -> dict | None:
    """What the file of a part says, or said when last all was well where it is refused; None where that is unknown."""
    wrong = any(finding.file == _FILES[part] for finding in refused.findings)
    return last.get(part) if wrong else _data(home, _FILES[part])


def _data(home: Home, name: str) -> dict:
    from scheduler.base.strict_yaml import read

    return read((home.path / name).read_bytes(), name).data or {}


def _last(home: Home) -> dict:
    """What was compiled last, whatever the files were; nothing where nothing was."""
    part = "substr(fingerprint, instr(fingerprint || '/', '/'))"
    query = f"SELECT fingerprint, data FROM compiled WHERE {part} IN ('', '{FLEET_PART}')"
    try:
        rows = home.log.connection.execute(query).fetchall() if home.log.exists() else []
    except (sqlite3.DatabaseError, Refused):  # nothing was compiled yet, or its readers tell what is wrong with the log
        return {}
    last: dict = {}
    for name, data in rows:
        last |= {"fleet": json.loads(data)} if name.endswith(FLEET_PART) else json.loads(data)
    return last
