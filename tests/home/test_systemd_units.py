"""The systemd units: without a mistake, shut off from what they do not need, agreeing with one another."""

import os
import re
import shlex
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from scheduler.base import shipped

UNITS = shipped.folder("systemd")
SYSTEM_UNITS = ["shelfbell.service", "shelfbell-backup.service", "shelfbell-backup.timer"]
USER_UNIT = "shelfbell.user.service"
COMMAND = re.compile(r"(/usr/local|%h/\.local)/bin/shelfbell")

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None and "CI" not in os.environ,
    reason="systemd-analyze is missing (apt-get install systemd); where CI is set its absence is a failure",
)


@pytest.fixture
def units(tmp_path: Path) -> Path:
    """The units with a command that exists in place of shelfbell, since `verify` insists on one."""
    for unit in UNITS.iterdir():
        (tmp_path / unit.name).write_text(COMMAND.sub("/bin/true", unit.read_text()))
    return tmp_path


def verify(unit: Path, *options: str) -> tuple[int, str]:
    """Exit status and all output. An unknown key is merely printed, with status 0: only silence is a pass."""
    command = ["systemd-analyze", *options, "--recursive-errors=no", "verify", str(unit)]
    environment = os.environ | {"XDG_RUNTIME_DIR": str(unit.parent)}
    done = subprocess.run(command, capture_output=True, text=True, env=environment)
    return done.returncode, done.stdout + done.stderr


def settings(unit: str) -> dict[str, list[str]]:
    """Each key of a unit with its values in order; a key may be given more than once."""
    found: dict[str, list[str]] = {}
    for line in (UNITS / unit).read_text().splitlines():
        if "=" in line and not line.startswith("#"):
            key, value = line.split("=", 1)
            found.setdefault(key, []).append(value)
    return found


def backup_command(key: str, home: Path, command: Path) -> list[str]:
    """A command line of the backup unit as systemd would run it, with another home and another shelfbell."""
    line = settings("shelfbell-backup.service")[key][0].replace("%%", "%").replace("$$", "$")
    line = line.replace("/var/lib/shelfbell", str(home)).replace("/usr/local/bin/shelfbell", str(command))
    return shlex.split(line)


def test_every_shipped_unit_is_looked_at_here() -> None:
    assert sorted([*SYSTEM_UNITS, USER_UNIT]) == sorted(unit.name for unit in UNITS.iterdir())


@needs_systemd
@pytest.mark.parametrize("name", SYSTEM_UNITS)
def test_systemd_finds_nothing_to_say_about_a_system_unit(name: str, units: Path) -> None:
    assert verify(units / name) == (0, "")


@needs_systemd
def test_systemd_finds_nothing_to_say_about_the_user_unit(units: Path) -> None:
    assert verify(units / USER_UNIT, "--user") == (0, "")


@needs_systemd
def test_a_misspelt_key_would_be_noticed(units: Path) -> None:
    unit = units / "shelfbell.service"
    unit.write_text(unit.read_text().replace("WatchdogSec=", "WatchdogSecs="))

    _, said = verify(unit)

    assert "WatchdogSecs" in said


@needs_systemd
@pytest.mark.parametrize("name", ["shelfbell.service", "shelfbell-backup.service"])
def test_exposure_is_at_most_two_of_ten(name: str) -> None:
    """`--threshold` is ten times the score that `systemd-analyze security` prints."""
    command = ["systemd-analyze", "security", "--offline=true", "--threshold=20", "--no-pager"]
    done = subprocess.run([*command, str(UNITS / name)], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-200:] + done.stderr


def test_the_daemon_is_watched_and_restarted_alike_in_both_units() -> None:
    keys = ["Type", "WatchdogSec", "Restart", "RestartSec", "RestartPreventExitStatus", "TimeoutStopSec"]
    system, user = settings("shelfbell.service"), settings(USER_UNIT)
    assert [system[key] for key in keys] == [user[key] for key in keys]
    assert system["Type"] == ["notify"]


def test_the_backup_is_shut_off_at_least_as_far_as_the_daemon() -> None:
    daemon, backup = settings("shelfbell.service"), settings("shelfbell-backup.service")
    keys = list(daemon)
    hardening = keys[keys.index("ProtectSystem") : keys.index("WantedBy")]
    differing = [key for key in hardening if daemon[key] != backup.get(key)]
    assert differing == ["RestrictAddressFamilies", "SystemCallFilter"]
    assert daemon["SystemCallFilter"] == [*backup["SystemCallFilter"], "setrlimit prlimit64"]  # it bounds its senders
    assert backup["PrivateNetwork"] == ["yes"]


def test_daemon_and_backup_are_of_one_home_and_user() -> None:
    daemon, backup = settings("shelfbell.service"), settings("shelfbell-backup.service")
    assert (backup["Environment"], backup["User"]) == (daemon["Environment"], daemon["User"])


def test_a_backup_is_named_after_its_instant(tmp_path: Path) -> None:
    echo = tmp_path / "shelfbell"
    echo.write_text('#!/bin/sh\nprintf "%s\\n" "$@"\n')
    echo.chmod(0o755)

    command = backup_command("ExecStart", tmp_path, echo)
    done = subprocess.run(command, capture_output=True, text=True, check=True)

    assert re.fullmatch(r"backup\n\d{4}-\d\d-\d\dT\d{6}Z\.backup\n", done.stdout)


def test_only_backups_past_sixty_days_are_removed(tmp_path: Path) -> None:
    backups = tmp_path / "backups"
    backups.mkdir()
    for name, days in {"new.backup": 0, "kept.backup": 59, "old.backup": 62, "old.txt": 62}.items():
        (backups / name).touch()
        os.utime(backups / name, (time.time() - days * 86_400,) * 2)

    subprocess.run(backup_command("ExecStartPost", tmp_path, tmp_path), check=True)

    assert sorted(file.name for file in backups.iterdir()) == ["kept.backup", "new.backup", "old.txt"]
