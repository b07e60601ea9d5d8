"""Imports run one way, through everything that a module imports; `log` loads nothing heavy.

The design is our own: event -> fact -> verdict -> reminder -> message, pure functions in the middle.
"""

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.homes import write_home

TOP = Path(__file__).resolve().parents[1]
PACKAGE = TOP / "scheduler"

ROOMS: list[tuple[str, ...]] = [
    ("__init__",),
    ("base", "cells"),
    ("events", "fleet"),
    ("facts",),
    ("verdicts",),
    ("reminders",),
    ("home",),
    ("messages",),
    ("daemon", "answers"),
    ("reports",),
    ("cli",),
]
"""The rooms of the package, lowest first. A room imports itself and lower ones; neighbours do not know each other."""

LEVEL = {room: level for level, rooms in enumerate(ROOMS) for room in rooms}
PURE = ("base", "cells", "events", "fleet", "facts", "verdicts", "reminders")
STORE = ("scheduler.events.database", "scheduler.events.log", "scheduler.events.taking")
"""The log and what writes it: the only modules of the pure rooms that know SQLite and the disk."""


def module_name(path: Path) -> str:
    """The dotted name of a source file."""
    return ".".join(path.relative_to(TOP).with_suffix("").parts).removesuffix(".__init__")


MODULES = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}
TREES = {module: ast.parse(path.read_text(encoding="utf-8")) for module, path in MODULES.items()}


def room(module: str) -> str:
    """The room of one of our modules."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else "__init__"


def imports(module: str) -> Iterator[str]:
    """Every module that a module imports, wherever in it: for types and within functions too."""
    for node in ast.walk(TREES[module]):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0 and node.module, "imports are written out in full"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                yield whole if whole in MODULES else node.module


IMPORTS = {module: set(imports(module)) - {module} for module in MODULES}
OURS = {module: named & set(MODULES) for module, named in IMPORTS.items()}


@cache
def reached(module: str) -> set[str]:
    """A module with all of ours that it imports, and those that they import."""
    found, waiting = set(), [module]
    while waiting:
        if (next_one := waiting.pop()) not in found:
            found.add(next_one)
            waiting += OURS[next_one]
    return found


@cache
def calls(module: str) -> set[str]:
    """The names of what a module calls: "open", "datetime.now"."""
    return {ast.unparse(node.func) for node in ast.walk(TREES[module]) if isinstance(node, ast.Call)}


PURE_MODULES = [module for module in MODULES if room(module) in PURE and module not in STORE]


def test_every_module_has_its_room() -> None:
    assert {room(module) for module in MODULES} == set(LEVEL)


@pytest.mark.parametrize("module", MODULES)
def test_imports_run_one_way(module: str) -> None:
    for other in OURS[module]:
        mine, theirs = room(module), room(other)
        assert theirs == mine or LEVEL[theirs] < LEVEL[mine], f"{module} imports {other}"


@pytest.mark.parametrize("module", MODULES)
def test_no_module_imports_itself_by_way_of_others(module: str) -> None:
    circle = [other for other in OURS[module] if module in reached(other)]
    assert not circle, f"{module} imports {circle[0]}, which imports it"


def test_cells_import_nothing_of_ours() -> None:
    assert {room(other) for module in MODULES if room(module) == "cells" for other in OURS[module]} <= {"cells"}


CLOCKS = {"time"}
NOW = ("datetime.now", "datetime.utcnow", "datetime.today", "date.today")
OUTSIDE = {"sqlite3", "socket", "subprocess", "multiprocessing", "concurrent", "selectors", "select", "signal",
           "random", "secrets", "threading", "shutil", "tempfile"}  # fmt: skip
"""What reaches the disk, the network, other processes or chance."""


@pytest.mark.parametrize("module", PURE_MODULES)
def test_nothing_pure_reaches_the_clock_the_database_or_the_network(module: str) -> None:
    for other in reached(module):
        outside = {name.split(".")[0] for name in IMPORTS[other]} & (OUTSIDE | CLOCKS)
        assert not outside, f"{module} reaches {outside} by way of {other}"
        assert not [call for call in calls(other) if call.endswith(NOW)], f"{module} reads the clock in {other}"


@pytest.mark.parametrize("module", [module for module in PURE_MODULES if room(module) not in ("base", "events")])
def test_the_middle_touches_no_file(module: str) -> None:
    assert {"os", "pathlib", "io", "urllib"}.isdisjoint(name.split(".")[0] for name in IMPORTS[module])
    assert "open" not in calls(module)


VALUES = [module for module in MODULES if room(module) in ("answers", "reports")]
"""The rooms that return values: a page or a mail uses them as the commands do."""


@pytest.mark.parametrize("module", VALUES)
def test_an_answer_is_a_value_and_now_is_given(module: str) -> None:
    imported = {name.split(".")[0] for name in IMPORTS[module]}
    assert imported.isdisjoint({"sys", "argparse", "time", "getpass", "logging"}), f"{module} imports a way in or out"
    called = set(calls(module))
    assert called.isdisjoint({"print", "input", "open", "exit"}), f"{module} prints or reads"
    assert not [call for call in called if call.endswith(NOW)], f"{module} reads the clock"
    assert "os.environ" not in {
        ast.unparse(node) for node in ast.walk(TREES[module]) if isinstance(node, ast.Attribute)
    }


LOADED = "import sys, json; {run}; print(json.dumps(sorted(sys.modules)))"


def loaded(run: str) -> set[str]:
    """The modules that a fresh interpreter has loaded once it has run this."""
    command = [sys.executable, "-c", LOADED.format(run=run)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=TOP, timeout=60, check=True)
    return set(json.loads(done.stdout.splitlines()[-1]))


def test_loading_all_that_is_pure_loads_no_database_and_no_socket() -> None:
    run = f"import {', '.join(m for m in PURE_MODULES if m != 'scheduler.base.schema_check')}"  # jsonschema loads http
    assert loaded(run).isdisjoint({"sqlite3", "socket", "subprocess", "multiprocessing"})


HEAVY = {"yaml", "jsonschema", "apprise", "apscheduler", "sqlite_utils", "dataclasses", "inspect", "numpy", "argparse"}
UNSAID = {"scheduler.answers.entry_changes", "scheduler.reminders.message_text", "scheduler.reminders.ground",
          "scheduler.home.items_without_rules", "scheduler.reminders.unjudged", "scheduler.verdicts.condition_faults",
          "scheduler.cells.trend"}  # fmt: skip
"""What an entry that opens and ends nothing does not ask for."""


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
    assert "scheduler.home.process_pool" not in daily
    assert daily.isdisjoint(UNSAID)
