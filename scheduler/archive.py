"""The backup of a home: one archive with the database, the YAML files and the version, and no secrets."""

import json
import os
import re
import sqlite3
import tempfile
import zipfile
from pathlib import Path

from scheduler import __version__
from scheduler.findings import Refused
from scheduler.home import DATABASE, FLEET, SETTINGS, Home

ABOUT = "about.json"
_OWN_RULE = re.compile(r"rules/[^/\\]+\.yaml\Z")
_LARGEST = 8 * 2**30
"""Bytes that a restore takes at most."""


def backup(home: Home, target: Path) -> int:
    """Write the archive of a home, the database by SQLite's online backup and opened again to see that it is whole.

    Safe while a daemon runs. Addresses written out in shelfbell.yaml are left out. Returns the number of events.
    Raises Refused, and then `target` is as it was.
    """
    if not home.log.exists():
        raise Refused.because(f"there is no log in {home.path} to back up")
    if target.exists():
        raise Refused.because(f"{target} is there already: nothing was written")
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as scratch:
        copy = Path(scratch) / DATABASE
        events = _copy_database(home, copy)
        archive = Path(scratch) / "archive"
        old = os.umask(0o077)
        try:
            with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as bundle:
                bundle.writestr(ABOUT, json.dumps({"shelfbell": __version__, "events": events}))
                bundle.write(copy, DATABASE)
                for name, path in home.files():
                    if path.exists():
                        bundle.writestr(name, _without_secrets(home, name, path.read_text(encoding="utf-8")))
        finally:
            os.umask(old)
        os.link(archive, target)
    return events


def _copy_database(home: Home, copy: Path) -> int:
    with sqlite3.connect(copy) as target:
        home.log.connection.backup(target)
        verdict = target.execute("PRAGMA integrity_check").fetchone()[0]
        if verdict != "ok":
            raise Refused.because(f"the database is damaged ({verdict}): nothing was written")
        events = target.execute("SELECT count(*) FROM events").fetchone()[0]
    target.close()
    return int(events)


def _without_secrets(home: Home, name: str, text: str) -> str:
    """The text of a file; in the settings, each address that is written out becomes $SHELFBELL_CHANNEL."""
    if name != SETTINGS:
        return text
    for channel in home.setup().channels:
        if not channel.url.startswith("$"):
            text = text.replace(channel.url, f"$SHELFBELL_{re.sub('[^A-Z0-9]', '_', channel.name.upper())}")
    return text


def restore(archive: Path, home: Home) -> int:
    """Unpack an archive into a home that holds neither files nor a log. Returns the number of events.

    Only the names that a backup writes are taken. Raises Refused, and then nothing was written.
    """
    there = [name for name in (DATABASE, SETTINGS, FLEET) if (home.path / name).exists()]
    if there:
        raise Refused.because(f"{home.path} holds {there[0]} already: a backup is restored into an empty home")
    names = _names_in(archive)
    home.path.mkdir(parents=True, exist_ok=True, mode=0o700)
    with tempfile.TemporaryDirectory(dir=home.path, prefix=".restore-") as scratch:
        _unpack(archive, names, Path(scratch))
        events = _events_in(Path(scratch) / DATABASE, archive)
        (home.path / "rules").mkdir(exist_ok=True, mode=0o700)
        for name in names:
            os.replace(Path(scratch) / name, home.path / name)
    return events


def _names_in(archive: Path) -> list[str]:
    """The members of an archive that a backup writes."""
    try:
        with zipfile.ZipFile(archive) as bundle:
            infos = bundle.infolist()
    except (OSError, zipfile.BadZipFile) as error:
        raise Refused.because(f"{archive} cannot be read as a backup: {error}") from None
    names = [info.filename for info in infos]
    if not {DATABASE, ABOUT} <= set(names):
        raise Refused.because(f"{archive} is no backup of shelfbell: it holds no {DATABASE}")
    if sum(info.file_size for info in infos) > _LARGEST:
        raise Refused.because(f"{archive} unpacks to more than a home can hold")
    return [name for name in names if _expected(name)]


def _unpack(archive: Path, names: list[str], folder: Path) -> None:
    (folder / "rules").mkdir()
    try:
        with zipfile.ZipFile(archive) as bundle:
            for name in names:
                _write(folder / name, bundle.read(name))
    except (OSError, zipfile.BadZipFile, EOFError) as error:
        raise Refused.because(f"{archive} cannot be read as a backup: {error}") from None


def _expected(name: str) -> bool:
    return name in (DATABASE, SETTINGS, FLEET) or _OWN_RULE.match(name) is not None


def _write(path: Path, data: bytes) -> None:
    path.touch(mode=0o600)
    path.write_bytes(data)


def _events_in(database: Path, archive: Path) -> int:
    try:
        connection = sqlite3.connect(database)
        try:
            if connection.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
                raise sqlite3.DatabaseError("it is damaged")
            return int(connection.execute("SELECT count(*) FROM events").fetchone()[0])
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise Refused.because(f"the database in {archive} cannot be used: {error}") from None
