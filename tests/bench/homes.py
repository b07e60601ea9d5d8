"""Homes to measure on, made from the demo operator's."""

import json
import re
import shutil
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import chain, islice
from pathlib import Path
from typing import NamedTuple

from scheduler.base.shipped import folder as shipped
from scheduler.cli.main import main

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SEASON = EXAMPLES / "season.jsonl"
_NAMES = ("item", "aircraft", "charger", "pilot", "from_spares", "job")
_LISTS = ("packs", "carries")


def demo_home(folder: Path) -> Path:
    """The demo operator's home with the season taken in."""
    shutil.copytree(EXAMPLES / "home", folder)
    main(["--home", str(folder), "intake", str(SEASON)])
    return folder


def many_homes(folder: Path, copies: int) -> Path:
    """A home with the demo fleet so many times over, each copy with its own season."""
    folder.mkdir(parents=True)
    settings = (EXAMPLES / "home" / "shelfbell.yaml").read_text()
    every = ", ".join(path.stem for path in sorted(shipped("rules").glob("*.yaml")))
    (folder / "shelfbell.yaml").write_text(re.sub(r"practice: \[.*?\]", f"practice: [{every}]", settings))
    (folder / "fleet.yaml").write_text(json.dumps(fleet_of(copies)))
    season = folder / "season.jsonl"
    season.write_text("".join(f"{line}\n" for line in lines(copies)))
    main(["--home", str(folder), "intake", str(season)])
    return folder


def lines(copies: int) -> Iterator[str]:
    """The season's lines, copy by copy within each entry, so that they stay in order of arrival."""
    for text in SEASON.read_text().splitlines():
        for copy in range(copies):
            yield json.dumps(_renamed(json.loads(text), copy))


def fleet_of(copies: int) -> dict:
    """The demo fleet so many times over, as fleet.yaml has it."""
    from scheduler.base.strict_yaml import read

    fleet = read((EXAMPLES / "home" / "fleet.yaml").read_bytes(), "fleet.yaml").data
    return {
        section: [_plate(entry, copy) for copy in range(copies) for entry in entries]
        for section, entries in fleet.items()
    }


def _plate(entry: dict, copy: int) -> dict:
    renamed = entry | {"id": f"{entry['id']}-{copy}"}
    if "fits" in entry:
        renamed["fits"] = [f"{name}-{copy}" for name in entry["fits"]]
    if "of" in entry:
        renamed["of"] = f"{entry['of']}-{copy}"
    return renamed


def _renamed(event: dict, copy: int) -> dict:
    event = event | {name: f"{event[name]}-{copy}" for name in _NAMES if name in event}
    event |= {name: [f"{each}-{copy}" for each in event[name]] for name in _LISTS if name in event}
    return event | {name: f"{event[name]}-{copy}" for name in ("id", "instead_of", "event") if name in event}


OFFICE = ("me", "certificate", "insurance", "harbour-waiver", "bench", "charging-corner")
"""What the copies of a company share, so many of them: pilot, papers, charger and shelf."""
SHARED = 20
_WEEK = timedelta(weeks=1)
_YEAR = 52 * _WEEK  # whole weeks: what happened on a Saturday did so every year
_DATES = ("at", "recorded_at", "starts", "ends", "leaves", "from", "to", "until", "issued", "expires")
_ENDS = ("retired", "handed_in", "set_aside", "struck", "seen", "snoozed")
"""What would not have gone on for years."""


class Company(NamedTuple):
    """A home of so many items and entries: the demo fleet many times over, flown for as many seasons as that takes, the
    last of which ended within a week before `now`; each pilot and office serves twenty copies."""

    items: int
    events: int
    now: datetime

    @property
    def copies(self) -> int:
        """How often the demo fleet stands in it."""
        each = sum(len(entries) for entries in fleet_of(1).values())
        return round(self.items / (each - len(OFFICE) + len(OFFICE) / SHARED))

    @property
    def seasons(self) -> int:
        """How many seasons it has flown, the first perhaps in part."""
        whole, earlier = sum(1 for _ in self._season(0)), sum(1 for _ in self._season(1))
        return 1 + max(0, -(-(self.events - whole) // earlier))

    def write(self, folder: Path) -> Path:
        """Its settings and fleet."""
        folder.mkdir(parents=True)
        settings = (EXAMPLES / "home" / "shelfbell.yaml").read_text()
        every = ", ".join(path.stem for path in sorted(shipped("rules").glob("*.yaml")))
        (folder / "shelfbell.yaml").write_text(re.sub(r"practice: \[.*?\]", f"practice: [{every}]", settings))
        (folder / "fleet.yaml").write_text(json.dumps(self._fleet()))
        return folder

    def lines(self) -> Iterator[str]:
        """Its entries, the last so many of all seasons."""
        seasons = self.seasons
        there = sum(1 for before in range(seasons) for _ in self._season(before))
        whole = chain.from_iterable(self._season(before) for before in reversed(range(seasons)))
        return islice(whole, max(0, there - self.events), None)

    def _since(self, before: int) -> timedelta:
        """From the demo season to that so many years before the last."""
        last = datetime.fromisoformat(json.loads(SEASON.read_text().splitlines()[-1])["recorded_at"])
        return (self.now - last) // _WEEK * _WEEK - before * _YEAR

    def _season(self, before: int) -> Iterator[str]:
        shift = self._since(before)
        for text in SEASON.read_text().splitlines():
            event = json.loads(text)
            if before and (event["what"] in _ENDS or "instead_of" in event):
                continue
            event |= {name: _shifted(event[name], shift) for name in _DATES if name in event}
            apart = self.copies if event["what"] == "away" else SHARED if event.get("item") in OFFICE else 1
            for copy in range(0, self.copies, apart):
                yield json.dumps(_in_company(event, copy, before))

    def _fleet(self) -> dict:
        fleet, shift = {}, self._since(self.seasons - 1)
        for section, entries in fleet_of(self.copies).items():
            fleet[section] = [entry for entry in entries if _office(entry["id"]) == entry["id"]]
            for entry in fleet[section]:
                if "in_service" in entry:
                    entry["in_service"] = _shifted(entry["in_service"], shift)
                if "of" in entry:
                    entry["of"] = _office(entry["of"])
        return fleet


def _shifted(text: str, by: timedelta) -> str:
    if not text[:4].isdigit():  # where something was moved to
        return text
    if len(text) == 10:
        return (date.fromisoformat(text) + by).isoformat()
    return (datetime.fromisoformat(text) + by).isoformat()


def _in_company(event: dict, copy: int, before: int) -> dict:
    event = _renamed(event, copy)
    event |= {name: _office(event[name]) for name in ("item", "charger", "pilot") if name in event}
    event |= {name: _shifted(event[name], timedelta(seconds=7 * copy)) for name in ("at", "recorded_at")}
    if before:
        event |= {name: f"{event[name]}-{before}" for name in ("id", "job") if name in event}
    return event


def _office(name: str) -> str:
    """The item of the office that serves a copy, for one of its own."""
    item, _, copy = name.rpartition("-")
    return f"{item}-{int(copy) // SHARED * SHARED}" if item in OFFICE else name
