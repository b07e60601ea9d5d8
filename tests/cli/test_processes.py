"""What needs a process of its own: pipes, bytes, closed ends, and exit statuses as a shell sees them."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.homes import write_home

TOP = Path(__file__).resolve().parents[2]
SHELFBELL = [sys.executable, "-c", "import sys; from scheduler.cli.main import main; sys.exit(main())"]


def shelfbell(home: Path, *words: str, given: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """Run the command as a process."""
    command = [*SHELFBELL, "--home", str(home), *words]
    return subprocess.run(command, input=given, capture_output=True, cwd=TOP, timeout=60)


@pytest.fixture
def homes(tmp_path: Path) -> tuple[Path, Path]:
    """Two homes alike, without events."""
    for name in ("one", "two"):
        write_home(tmp_path / name)
    return tmp_path / "one", tmp_path / "two"


GIVEN = """\
{"at":"2026-04-01T18:40:00.5+02:00","what":"charged", "item":"A","percent":99.50}
{"item": "B", "what": "noticed", "note": "Ü \\u00fc \\"q\\" \\\\ 🔋", "findings": ["hot"], "at": "2026-04-01T09:00:00Z"}

{"at": "2026-04-01T09:00:00Z", "recorded_at": "2026-04-02T09:00:00-05:00", "id": "mine", "what": "charged", "item": "C"}
{"at": "2026-04-01T09:00:00Z", "what": "struck", "event": "mine"}
"""


def test_what_is_exported_and_taken_in_elsewhere_is_exported_byte_for_byte(homes: tuple[Path, Path]) -> None:
    one, two = homes
    assert shelfbell(one, "intake", "-", given=GIVEN.encode()).stdout == b"4 events taken in.\n"
    assert shelfbell(one, "log", "charged", "B", "80", "--at", "2026-04-03T10:00:00Z").returncode == 0

    exported = shelfbell(one, "export")
    taken = shelfbell(two, "intake", "-", given=exported.stdout)
    again = shelfbell(two, "export")

    assert (taken.returncode, taken.stdout) == (0, b"5 events taken in.\n")
    assert again.stdout == exported.stdout
    assert exported.stdout.count(b"\n") == 5
    assert "🔋".encode() in exported.stdout
    asked = ("due", "--json", "--at", "2026-04-10T00:00:00Z")
    assert shelfbell(two, *asked).stdout == shelfbell(one, *asked).stdout


def test_the_same_intake_twice_is_taken_once(homes: tuple[Path, Path]) -> None:
    one, _ = homes
    shelfbell(one, "intake", "-", given=GIVEN.encode())
    exported = shelfbell(one, "export").stdout

    again = shelfbell(one, "intake", "-", given=exported)

    assert (again.returncode, again.stdout) == (0, b"0 events taken in; 4 were there already.\n")
    assert shelfbell(one, "export").stdout == exported


def test_a_reader_that_closes_the_pipe_early_is_no_fault(homes: tuple[Path, Path]) -> None:
    one, _ = homes
    line = b'{"at": "2026-04-01T09:00:00Z", "what": "charged", "item": "A"}\n'
    shelfbell(one, "intake", "-", given=line * 3000)
    command = " ".join(f"'{word}'" for word in [*SHELFBELL, "--home", str(one), "export"])

    done = subprocess.run(["sh", "-c", f"{command} | head -n 1"], capture_output=True, cwd=TOP, timeout=60)

    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.count(b"\n") == 1


def test_a_refusal_goes_to_the_second_stream_with_status_2(homes: tuple[Path, Path]) -> None:
    one, _ = homes

    done = shelfbell(one, "log", "charged", "Z")

    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr == b"fleet.yaml knows no pack or controller 'Z'\n"


def test_two_who_log_at_once_are_both_taken(homes: tuple[Path, Path]) -> None:
    one, _ = homes
    command = [*SHELFBELL, "--home", str(one), "log", "charged"]
    started = [subprocess.Popen([*command, item], cwd=TOP, stdout=subprocess.DEVNULL) for item in "ABC"]

    assert [process.wait(60) for process in started] == [0, 0, 0]
    assert shelfbell(one, "export").stdout.count(b'"what": "charged"') == 3
