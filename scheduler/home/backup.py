"""The backup of a home: one archive, without secrets.

It contains the database, the YAML files and the version.
"""

import json
import os
import re
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from scheduler import __version__
from scheduler.base.addresses import without_addresses
from scheduler.base.findings import Refused
from scheduler.events.database import TRIGGERS, WAY_BACK
from scheduler.events.log import Log
from scheduler.home.folder import DATABASE, FLEET, SETTINGS, Home

ABOUT = "about.json"
_OWN_RULE = re.compile(r"rules/[^/\\]+\.yaml\Z")
_LARGEST = 8 * 2**30
"""Bytes that a restore unpacks at most: many times a log, and less than a disk."""
_UNREADABLE = (OSError, EOFError, RuntimeError, NotImplementedError, zipfile.BadZipFile, zlib.error)
"""Errors of reading a file that is no good archive: cut, encrypted, unknown compression, damaged."""


def backup(home: Home, target: Path) -> int:
    """Write the archive of a home; return the number of events.

    SQLite's online backup copies the database, which is then checked. Safe while a daemon runs. Leaves out the
    addresses in shelfbell.yaml. Raises Refused; `target` is then unchanged.
    """
    if not home.log.exists():
        raise Refused.because(f"there is no log in {home.path} to back up")
    if os.path.lexists(target):
        raise Refused.because(f"{target} is there already: nothing was written")
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as scratch, _private():
        copy, archive = Path(scratch, DATABASE), Path(scratch, "archive")
        events = _copy_database(home, copy)
        _pack(home, copy, archive, events)
        _place(archive, target)
    return events


@contextmanager
def _private() -> Iterator[None]:
    """Make files written in the block readable by their owner only."""
    old = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(old)


def _copy_database(home: Home, copy: Path) -> int:
    """Copy the database; return the number of events.

    Leaves out the compiled settings, which contain addresses.
    """
    with closing(sqlite3.connect(copy, isolation_level=None)) as target:
        try:
            home.log.connection.backup(target)
            target.execute("DROP TABLE IF EXISTS compiled")
            target.execute("VACUUM")  # until then dropped rows remain in free pages
            verdict = target.execute("PRAGMA integrity_check").fetchone()[0]
            events = target.execute("SELECT count(*) FROM events").fetchone()[0]
        except sqlite3.OperationalError:  # locked, or disk full: no damage
            raise
        except sqlite3.DatabaseError as error:
            verdict = str(error)
        if verdict != "ok":
            raise Refused.because(f"the database is damaged ({verdict}): nothing was written. {WAY_BACK}")
    return int(events)


def _pack(home: Home, database: Path, archive: Path, events: int) -> None:
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as bundle:
        bundle.writestr(ABOUT, json.dumps({"shelfbell": __version__, "events": events}))
        bundle.write(database, DATABASE)
        for name, path in home.files():
            if path.is_file():
                data = path.read_bytes()
                bundle.writestr(name, without_addresses(data) if name == SETTINGS else data)


def _place(archive: Path, target: Path) -> None:
    """Move the archive to its place, flushed to disk, without overwriting anything."""
    with archive.open("rb") as written:
        os.fsync(written.fileno())
    try:
        os.link(archive, target)
    except FileExistsError:
        raise Refused.because(f"{target} is there already: nothing was written") from None
    except OSError:  # FAT on a USB stick has no links
        os.rename(archive, target)


def restore(archive: Path, home: Home) -> int:
    """Unpack an archive into a home without files or log; return the event count.

    Takes only the names that a backup writes. Raises Refused; nothing is then written.
    """
    _require_empty(home)
    made = not home.path.exists()
    try:
        home.path.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.TemporaryDirectory(dir=home.path, prefix=".restore-") as scratch, _private():
            names = _unpack(archive, Path(scratch))
            events = _events_in(Path(scratch, DATABASE), archive)
            home.rules.mkdir(exist_ok=True, mode=0o700)
            for name in sorted(
                names, key=lambda name: name == DATABASE
            ):  # the database last: a home with a log is complete
                os.rename(Path(scratch, name), home.path / name)
    except BaseException:
        if made:
            with suppress(OSError):
                home.path.rmdir()
        raise
    return events


def _require_empty(home: Home) -> None:
    beside = (DATABASE, f"{DATABASE}-wal", f"{DATABASE}-journal")  # a journal left behind would be replayed
    there = [home.path / name for name in (*beside, SETTINGS, FLEET)] + sorted(home.rules.glob("*.yaml"))
    found = next((path.name for path in there if os.path.lexists(path)), None)
    if found is not None:
        raise Refused.because(f"{home.path} contains {found} already: a backup is restored into an empty home")


def _unpack(archive: Path, folder: Path) -> list[str]:
    """Write the members that a backup writes into a folder; return their names."""
    try:
        with zipfile.ZipFile(archive) as bundle:
            names = _members(archive, bundle.infolist())
            (folder / "rules").mkdir()
            for name in names:
                with bundle.open(name) as member, (folder / name).open("xb") as file:
                    shutil.copyfileobj(member, file)
    except _UNREADABLE as error:
        raise Refused.because(f"{archive} cannot be read as a backup: {error}") from None
    return names


def _members(archive: Path, infos: list[zipfile.ZipInfo]) -> list[str]:
    names = [info.filename for info in infos if _expected(info.filename)]
    if not {DATABASE, ABOUT} <= {info.filename for info in infos}:
        raise Refused.because(f"{archive} is no backup of shelfbell: it contains no {DATABASE}")
    if len(set(names)) < len(names):
        raise Refused.because(f"{archive} is no backup of shelfbell: it contains a file twice")
    if sum(info.file_size for info in infos) > _LARGEST:
        raise Refused.because(f"{archive} unpacks to more than a home can hold")
    return names


def _expected(name: str) -> bool:
    return name in (DATABASE, SETTINGS, FLEET) or (_OWN_RULE.match(name) is not None and name.isprintable())


def _events_in(database: Path, archive: Path) -> int:
    log = Log(database)
    try:
        if log.connection.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            raise Refused.because("it is damaged")
        active = log.connection.execute("SELECT sql FROM sqlite_schema WHERE type IN ('trigger', 'view')").fetchall()
        if {text for (text,) in active} != set(TRIGGERS):
            raise Refused.because("it is not laid out as shelfbell does")
        return int(log.connection.execute("SELECT count(*) FROM events").fetchone()[0])
    except (sqlite3.Error, Refused) as error:
        raise Refused.because(f"the database in {archive} cannot be used: {error}") from None
    finally:
        log.close()
