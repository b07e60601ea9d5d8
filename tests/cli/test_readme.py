"""Every command is named in the README: as `shelfbell due`, or as `due` alone."""

import re
from pathlib import Path

import pytest

from scheduler.cli.main import COMMANDS

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
NAMED = set(re.findall(r"(?:(?<=`)|(?<=shelfbell ))([a-z]+)\b", README))


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_is_named_in_the_readme(command: str) -> None:
    assert command in NAMED, f"README.md does not name `{command}`"
