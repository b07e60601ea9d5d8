"""Homes to measure on, made from the demo operator's."""

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

from scheduler.cli.main import main
from scheduler.shipped import folder as shipped

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
    from scheduler.strict_yaml import read

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
