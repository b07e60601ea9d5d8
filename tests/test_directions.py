"""Imports run one way; only the two ends touch the clock, the disk and the network; `log` loads nothing heavy.

The design is our own: event -> fact -> verdict -> reminder -> message, pure functions in the middle.
"""

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.homes import write_home

TOP = Path(__file__).resolve().parents[1]
PACKAGE = TOP / "scheduler"

UNITS: list[dict[str, tuple[str, ...]]] = [
    {
        "ground": ("__init__", "addresses", "instants", "units", "findings", "progress", "shipped", "spoken",
                   "yaml_scalars", "strict_yaml", "schema_words", "schema_check", "spread", "wording"),
        "cells": ("cells",),
    },
    {"events": ("events",), "fleet": ("fleet", "items")},
    {"facts": ("facts",)},
    {"verdicts": ("verdicts",)},
    {"reminders": ("reminders",)},
    {"home": ("home", "home_advice", "home_check", "schemas", "unwatched", "watch"), "apart": ("apart", "faults")},
    {"messages": ("messages",)},
    {"daemon": ("daemon", "nudges", "service"), "archive": ("archive",)},
    {"cli": ("cli",)},
]  # fmt: skip
"""The units of the package with the folders and modules each holds, lowest first. A unit imports itself and units that
stand lower; what stands side by side knows nothing of each other. A new module is given its place here."""

LEVEL = {unit: level for level, units in enumerate(UNITS) for unit in units}
UNIT_OF = {name: unit for units in UNITS for unit, names in units.items() for name in names}
PURE = ("cells", "fleet", "facts", "verdicts", "reminders")
MODULES = sorted(PACKAGE.rglob("*.py"))


def place(path: Path) -> str:
    """The top-level folder or module of the package that a file belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def name(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, wherever in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written out in full"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def ours(path: Path) -> set[str]:
    """The top-level folders and modules of the package that a file imports."""
    named = [module.split(".") for module in imports(path) if module.split(".")[0] == "scheduler"]
    return {parts[1] if len(parts) > 1 and parts[1] != "__version__" else "__init__" for parts in named}


def calls(path: Path) -> Iterator[str]:
    """The names of what a file calls: "open", "datetime.now"."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func)


def test_every_module_has_its_place_in_the_table() -> None:
    assert {place(path) for path in MODULES} == set(UNIT_OF)


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_imports_run_one_way(path: Path) -> None:
    mine = UNIT_OF[place(path)]

    for other in ours(path):
        unit = UNIT_OF[other]
        assert unit == mine or LEVEL[unit] < LEVEL[mine], f"{name(path)} ({mine}) imports {other} ({unit})"


def test_cells_import_nothing_of_ours() -> None:
    assert {other for path in MODULES if place(path) == "cells" for other in ours(path)} <= {"cells"}


CLOCKS = {"time", "time.time", "time.time_ns", "time.monotonic", "time.perf_counter"}
NOW = ("datetime.now", "datetime.utcnow", "datetime.today", "date.today")
AT_THE_ENDS = ("home", "apart", "messages", "daemon", "archive", "cli")


@pytest.mark.parametrize("path", [path for path in MODULES if UNIT_OF[place(path)] not in AT_THE_ENDS], ids=name)
def test_only_the_ends_read_the_clock(path: Path) -> None:
    assert CLOCKS.isdisjoint(imports(path))
    assert not [call for call in calls(path) if call.endswith(NOW)]


OUTSIDE = {
    "os",
    "pathlib",
    "sqlite3",
    "socket",
    "subprocess",
    "random",
    "secrets",
    "threading",
    "urllib",
    "io",
    "shutil",
}


@pytest.mark.parametrize("path", [path for path in MODULES if UNIT_OF[place(path)] in PURE], ids=name)
def test_the_middle_touches_neither_disk_nor_network_nor_chance(path: Path) -> None:
    assert OUTSIDE.isdisjoint(module.split(".")[0] for module in imports(path))
    assert "open" not in set(calls(path))


HEAVY = {"yaml", "jsonschema", "apprise", "apscheduler", "sqlite_utils", "dataclasses", "inspect", "numpy", "argparse"}
UNSAID = {"scheduler.answers.changes", "scheduler.reminders.text", "scheduler.reminders.ground", "scheduler.home.items_without_rules",
          "scheduler.reminders.unknown", "scheduler.verdicts.wrong", "scheduler.cells.trend"}  # fmt: skip
"""What an entry that opens and ends nothing does not ask for."""
LOADED = "import sys, json; {run}; print(json.dumps(sorted(sys.modules)))"


def loaded(run: str) -> set[str]:
    """The modules that a fresh interpreter has loaded once it has run this."""
    command = [sys.executable, "-c", LOADED.format(run=run)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=TOP, timeout=60, check=True)
    return set(json.loads(done.stdout.splitlines()[-1]))


def test_log_loads_nothing_heavy_once_the_rules_are_compiled(tmp_path: Path) -> None:
    home = tmp_path / "home"
    write_home(home)
    log = f"from scheduler.cli.main import main; assert main(['--home', {str(home)!r}, 'log', 'charged', 'A']) == 0"
    made, daily = (loaded(log) - loaded("pass") for _ in range(2))

    assert {
        "yaml",
        "jsonschema",
        "sqlite_utils",
    } <= made  # it lays out the database, and keeps the compiled rules in it
    assert {module.split(".")[0] for module in daily} & HEAVY == set()
    assert "scheduler.daemon.spread" not in daily
    assert daily.isdisjoint(UNSAID)
