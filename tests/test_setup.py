"""What a checkout's set-up rests on: the shipped folders, the locks, and the choice of an interpreter."""

import os
import re
import subprocess
import tomllib
from pathlib import Path
from typing import Literal

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from scheduler.base import shipped

CHECKOUT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]
RUNTIME, TESTS = CHECKOUT / "examples" / "requirements.lock", CHECKOUT / "tests" / "requirements.lock"
PIN = re.compile(r"(?P<name>[a-z0-9-]+)==(?P<version>[\w.]+)( ; [\w.<>=' ]+)? \\")
HASH = re.compile(r" {4}--hash=sha256:[0-9a-f]{64}( \\)?")


def pins(lock: Path) -> dict[str, set[str]]:
    """The versions of each distribution; one has several where Python versions need different ones."""
    found: dict[str, set[str]] = {}
    for match in filter(None, map(PIN.fullmatch, lock.read_text().splitlines())):
        found.setdefault(match["name"], set()).add(match["version"])
    return found


@pytest.mark.parametrize("name", ["rules", "systemd"])
def test_in_a_checkout_the_top_level_folders_are_the_shipped_ones(name: Literal["rules", "systemd"]) -> None:
    assert shipped.folder(name) == CHECKOUT / name


def test_a_damaged_installation_is_told_with_the_places_looked_at(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(shipped, "_PACKAGE", tmp_path / "scheduler")
    with pytest.raises(FileNotFoundError, match=f"{tmp_path}/scheduler/rules and {tmp_path}/rules"):
        shipped.folder("rules")


@pytest.mark.parametrize("lock", [RUNTIME, TESTS], ids=["runtime", "tests"])
def test_a_lock_holds_pins_and_hashes_and_names_no_place_to_fetch_from(lock: Path) -> None:
    lines = [line for line in lock.read_text().splitlines() if not line.startswith("#")]
    assert [line for line in lines if not PIN.fullmatch(line) and not HASH.fullmatch(line)] == []


@pytest.mark.parametrize(
    ("lock", "declared"),
    [
        (RUNTIME, PROJECT["dependencies"]),
        (TESTS, PROJECT["dependencies"] + PROJECT["optional-dependencies"]["test"]),
    ],
    ids=["runtime", "tests"],
)
def test_a_lock_pins_every_declared_dependency_within_its_range(lock: Path, declared: list[str]) -> None:
    pinned = pins(lock)
    for requirement in map(Requirement, declared):
        versions = pinned[canonicalize_name(requirement.name)]
        assert all(map(requirement.specifier.contains, versions)), f"{requirement} is pinned to {versions}"


def test_the_demo_runs_on_the_versions_that_are_tested() -> None:
    assert pins(RUNTIME).items() <= pins(TESTS).items()


def test_without_a_usable_python_the_set_up_says_which_it_needs(tmp_path: Path) -> None:
    command = ["sh", str(CHECKOUT / "tests" / "venv.sh"), str(tmp_path / "venv"), str(TESTS)]

    done = subprocess.run(command, env=os.environ | {"PYTHON": "false"}, capture_output=True, text=True)

    assert done.returncode == 1
    assert "3.11 or newer" in done.stderr
    assert done.stdout == ""
