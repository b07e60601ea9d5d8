"""`init` names a next command that works as printed, wherever the home is."""

import re
from pathlib import Path
from shlex import split

import pytest

from scheduler.cli.main import main

WAYS = {
    "by itself": ({}, "init", "shelfbell check"),
    "by the environment": ({"SHELFBELL_HOME": "my home"}, "init", "shelfbell check"),
    "by an option": ({}, "--home there init", "shelfbell --home there check"),
    "by an option, against the environment": (
        {"SHELFBELL_HOME": "my home"}, "--home there init", "shelfbell --home there check",
    ),
    "by a word": ({}, "init 'over there'", "shelfbell --home 'over there' check"),
    "by a word, the one of the environment": ({"SHELFBELL_HOME": "there"}, "init there", "shelfbell check"),
}  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_the_next_command_works_as_printed(
    way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    environment, typed, then = WAYS[way]
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SHELFBELL_HOME", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", "data")
    for name, value in environment.items():
        monkeypatch.setenv(name, value)

    assert main(split(typed)) == 0

    (printed,) = re.findall("then `(.*)`", capsys.readouterr().out)
    assert printed == then
    main(split(printed)[1:])
    assert "there is no home" not in capsys.readouterr().err


def test_a_channel_where_none_is_set_up_is_said_to_be_set_up_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["--home", str(tmp_path / "new"), "init"])

    assert main(["--home", str(tmp_path / "new"), "ring", "mail"]) == 2
    assert capsys.readouterr().err == "no channel is set up yet: see channels: in shelfbell.yaml\n"
