"""The home folder: an operator's whole set-up, its files and its compiled cache."""

import json
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cache, cached_property, partial
from typing import TYPE_CHECKING, Any

from scheduler import __version__
from scheduler.base.findings import FilesRefused, Refused
from scheduler.base.shipped import place, yaml_files
from scheduler.events.database import is_folder
from scheduler.events.log import Log
from scheduler.fleet.fleet import Fleet, Nameplate, nameplates
from scheduler.home.setup import Setup, make_setup

if TYPE_CHECKING:
    from pathlib import Path  # loading pathlib takes longer than reading a home

FLEET_PART = "/fleet"
"""Suffix of a fingerprint in the compiled cache: the fleet; with "/" and an id added, one nameplate."""
CASES_PART = "/cases"
"""Suffix of a fingerprint in the compiled cache: the rules' cases by rule, which judging does not need."""
_PART = 64 * 1024
"""Bytes of a file read at once."""
_PROGRAM = (".py", ".pyc", ".so")
"""Endings of the files that hold the program."""
SETTINGS, FLEET, DATABASE = "shelfbell.yaml", "fleet.yaml", "shelfbell.db"


def default_home() -> str:
    """Return $SHELFBELL_HOME, else the platform's data folder."""
    if given := os.environ.get("SHELFBELL_HOME"):
        return given
    base = os.environ.get("XDG_DATA_HOME") or os.path.expanduser("~/.local/share")
    return os.path.join(base, "shelfbell")


class Home:
    """One home folder. `rules`: the folder of own rules to use instead of the home's."""

    def __init__(self, path: "str | os.PathLike[str]", rules: "str | os.PathLike[str] | None" = None) -> None:
        self.place = os.fspath(path) or os.curdir
        self._rules = os.path.join(self.place, "rules") if rules is None else os.fspath(rules)
        self.log = Log(os.path.join(self.place, DATABASE))
        self._uncached: tuple[str, dict] | None = None

    @cached_property
    def path(self) -> "Path":
        """The folder."""
        from pathlib import Path

        return Path(self.place)

    @cached_property
    def rules(self) -> "Path":
        """The folder of the operator's own rules."""
        from pathlib import Path

        return Path(self._rules)

    def require(self) -> None:
        """Raise Refused if the folder does not exist."""
        if not is_folder(self.place):
            raise Refused.because(f"there is no home at {self.path}: `shelfbell init` makes one")

    def files(self) -> "list[tuple[str, Path]]":
        """Return settings, fleet and own rules, with the names used in findings."""
        from pathlib import Path

        return [(name, Path(place)) for name, place in self._files()]

    def _files(self) -> list[tuple[str, str]]:
        named = [(name, os.path.join(self.place, name)) for name in (SETTINGS, FLEET)]
        return named + [(f"rules/{name}", place) for name, place in yaml_files(self._rules)]

    def logged_items(self) -> list[str]:
        """Return the items with entries; none if the log is unreadable (see `doctor`)."""
        try:
            return self.log.items()
        except (Refused, sqlite3.Error):
            return []

    def fingerprint(self) -> str:
        """Return a hash over the files of the set-up, the shipped rules and the program."""
        try:
            from _blake2 import blake2b  # hashlib would load OpenSSL, a tenth of what `log` may cost
        except ImportError:
            from hashlib import blake2b

        digest = blake2b(_program().encode(), digest_size=16)
        for name, file in [*self._files(), *yaml_files(place("rules"))]:
            digest.update(f"\0{name}\0".encode())
            for part in _parts(file):
                digest.update(part)
        return digest.hexdigest()

    def setup(self) -> Setup:
        """Return the set-up, from the compiled cache if no file has changed.

        Raises FilesRefused with every finding, and Refused if there is no home.
        """
        return self.compiled_setup() or self._read_setup()

    def compiled_setup(self) -> Setup | None:
        """Return the set-up if the compiled cache has it.

        Does not load the modules that read files. Raises Refused if there is no home.
        """
        self.require()
        fingerprint = self.fingerprint()
        raw = self._cached(fingerprint)
        return None if raw is None else make_setup(raw, fingerprint)

    def _read_setup(self) -> Setup:
        from scheduler.home.file_check import read_home

        fingerprint = self.fingerprint()  # before the files: if one changes meanwhile, they are read again next time
        raw = _read(partial(read_home, self))
        self._uncached = fingerprint, raw
        self.write_cache()
        return make_setup(raw, fingerprint)

    def write_cache(self) -> None:
        """Write the files read to the compiled cache, if there is a database by now."""
        if self._uncached is None:
            return
        with suppress(sqlite3.DatabaseError, Refused):  # the cache is optional
            if self.log.exists():
                self._cache(*self._uncached)
                self._uncached = None

    def settings(self) -> Setup:
        """Return the set-up of shelfbell.yaml alone. Raises Refused as `setup` does."""
        self.require()
        from scheduler.home.file_check import read_settings

        settings = _read(partial(read_settings, self))
        return make_setup({"settings": settings, "fleet": {}, "rules": [], "adjust": {}}, "")

    def candidate(self, rules: "Path") -> Setup:
        """Return the set-up with another rules folder. Raises Refused as `setup` does."""
        if not rules.is_dir():
            raise Refused.because(f"there is no folder {rules}")
        other = Home(self.path, rules)
        from scheduler.home.file_check import read_home

        return make_setup(read_home(other), other.fingerprint())

    def cases(self, setup: Setup) -> dict[str, list[dict[str, Any]]]:
        """Return the cases of the rules of a set-up, by rule. Raises FilesRefused."""
        kept = self._compiled(f"{setup.fingerprint}{CASES_PART}")
        if not kept:
            from scheduler.home.file_check import read_home

            return _read(partial(read_home, self))["cases"]
        return json.loads(kept)

    def _cached(self, fingerprint: str) -> dict | None:
        kept = self._compiled(fingerprint)
        if not kept:
            return None
        # a large fleet takes longest to read, and some commands need none of it
        fleet = Fleet(partial(self._fleet, fingerprint), partial(self._nameplate, fingerprint))
        return json.loads(kept) | {"fleet": fleet}

    def _compiled(self, name: str) -> str:
        """Return a part of the compiled cache; "" if it is missing."""
        query = "SELECT data FROM compiled WHERE fingerprint = ?"
        try:
            row = self.log.connection.execute(query, (name,)).fetchone() if self.log.exists() else None
        except (sqlite3.DatabaseError, Refused):  # no table yet, or a log that cannot be read: its readers report that
            return ""
        return row[0] if row else ""

    def _fleet(self, fingerprint: str) -> dict:
        """Return the compiled cache's fleet, or its file's if the cache was replaced."""
        kept = self._compiled(f"{fingerprint}{FLEET_PART}")
        if not kept:
            from scheduler.home.file_check import read_home

            return read_home(self)["fleet"]
        return json.loads(kept)

    def _nameplate(self, fingerprint: str, item: str) -> Nameplate | None:
        """Return a nameplate of the compiled cache; None if it is missing."""
        kept = self._compiled(f"{fingerprint}{FLEET_PART}/{item}")
        return tuple(json.loads(kept)) if kept else None

    def _cache(self, fingerprint: str, raw: dict) -> None:
        with self.log.transaction() as transaction:
            transaction.execute("CREATE TABLE IF NOT EXISTS compiled (fingerprint TEXT PRIMARY KEY, data TEXT) STRICT")
            transaction.execute("DELETE FROM compiled")
            parts = {FLEET_PART: raw["fleet"], CASES_PART: raw["cases"]}
            each = {f"{FLEET_PART}/{item}": plate for item, plate in nameplates(raw["fleet"]).items()}
            rest = {name: part for name, part in raw.items() if name not in ("fleet", "cases")}
            for name, part in {"": rest | {"version": __version__}, **parts, **each}.items():
                values = f"{fingerprint}{name}", json.dumps(part)
                transaction.execute("INSERT INTO compiled VALUES (?, ?)", values)


def _read(read: Callable[[], dict]) -> dict:
    try:
        return read()
    except Refused as refused:
        raise FilesRefused(refused.findings) from None


def _parts(file: str) -> Iterator[bytes]:
    """Yield a file's content in parts; nothing if it cannot be read.

    Getting memory for a large file at once is slow.
    """
    try:
        with open(file, "rb", buffering=0) as opened:
            yield from iter(partial(opened.read, _PART), b"")
    except OSError:
        return


@cache
def _program() -> str:
    """Return the version, and path, size and change time of the program's files.

    Python trusts its own bytecode by the same. Computed once: a process whose files are replaced keeps the program that
    it has loaded.
    """
    found: list[tuple[str, int, int]] = []
    folders = [os.path.dirname(os.path.dirname(os.path.realpath(__file__)))]
    while folders:
        with os.scandir(folders.pop()) as entries:
            for entry in entries:
                if entry.name.startswith("."):  # an editor's: its lock may be a link to nowhere
                    continue
                if entry.name.endswith(_PROGRAM):
                    state = entry.stat()
                    found.append((entry.path, state.st_size, state.st_mtime_ns))
                elif entry.name != "__pycache__" and entry.is_dir():
                    folders.append(entry.path)
    return f"{__version__} {sorted(found)}"
