"""What can be had of a home whose files are refused, so that an entry is not lost and is judged all the same."""

import json
import sqlite3

from scheduler import __version__
from scheduler.findings import Refused
from scheduler.home import FLEET, FLEET_PART, SETTINGS, Home, Setup, make_setup


def spare_setup(home: Home, refused: Refused) -> Setup:
    """Settings and fleet as their files have them, or where these are refused, as they were when last all was well; the
    rules as they were then, which the daemon goes on by: none where they are not known.

    Raises `refused`, which says what is wrong with the files, where settings or fleet cannot be had.
    """
    home.require()
    wrong = {finding.file for finding in refused.findings}
    last = _last(home) or {}
    raw = {
        "settings": last.get("settings") if SETTINGS in wrong else _data(home, SETTINGS),
        "fleet": last.get("fleet") if FLEET in wrong else _data(home, FLEET),
    }
    if raw["settings"] is None or raw["fleet"] is None:
        raise refused
    known = last.get("version") == __version__  # another may not have the facts that they name
    rules = {name: last[name] for name in ("rules", "adjust")} if known else {"rules": [], "adjust": {}}
    return make_setup(raw | rules, "")


def _data(home: Home, name: str) -> dict:
    from scheduler.strict_yaml import read

    return read((home.path / name).read_bytes(), name).data or {}


def _last(home: Home) -> dict | None:
    """What was compiled last, whatever the files were."""
    if not home.log.exists():
        return None
    query = f"SELECT fingerprint, data FROM compiled WHERE fingerprint NOT LIKE '%{FLEET_PART}/%'"
    try:
        rows = home.log.connection.execute(query).fetchall()
    except sqlite3.DatabaseError:  # nothing was compiled yet
        return None
    last: dict = {}
    for name, data in rows:
        last |= {"fleet": json.loads(data)} if name.endswith(FLEET_PART) else json.loads(data)
    return last or None
