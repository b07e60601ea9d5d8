"""What needs a process of its own: pipes, bytes, closed ends, and exit statuses as a shell sees them."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.homes import write_home

TOP = Path(__file__).resolve().parents[2]
SHELFBELL = [sys.executable, "-c", "import sys; from scheduler.cli.entry_point import main; sys.exit(main())"]


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


def test_an_answer_that_cannot_be_printed_leaves_the_entry_logged_and_says_so(homes: tuple[Path, Path]) -> None:
    home, _ = homes
    command = [*SHELFBELL, "--home", str(home), "log", "charged", "B"]

    with open("/dev/full", "wb") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, cwd=TOP, timeout=60)

    assert done.returncode == 0
    assert done.stderr == b"It is logged; the answer could not be printed: No space left on device\n"
    assert shelfbell(home, "export").stdout.count(b"charged") == 1


def test_a_terminal_that_knows_ascii_alone_gets_every_answer(homes: tuple[Path, Path]) -> None:
    home, _ = homes
    command = [*SHELFBELL, "--home", str(home), "log", "charged", "B", "--note", "gut"]

    done = subprocess.run(
        command, capture_output=True, cwd=TOP, timeout=60, env=os.environ | {"PYTHONIOENCODING": "ascii"}
    )
    asked = subprocess.run(
        [*SHELFBELL, "--home", str(home), "due", "--at", "in 3d"],
        capture_output=True, cwd=TOP, timeout=60, env=os.environ | {"PYTHONIOENCODING": "ascii"},
    )  # fmt: skip

    assert done.returncode == 0
    assert (asked.returncode, asked.stderr) == (1, b"")
    assert b" ? left-full ? B" in asked.stdout  # a middle dot elsewhere


@pytest.mark.parametrize("words", [("charged", "B", "--id"), ("charged", "B", "--note"), ("struck",)])
def test_a_word_that_is_no_text_is_refused_in_a_line(words: tuple[str, ...], homes: tuple[Path, Path]) -> None:
    command = [os.fsencode(word) for word in (*SHELFBELL, "--home", str(homes[0]), "log", *words)]

    done = subprocess.run([*command, b"\xff"], capture_output=True, cwd=TOP, timeout=60)

    assert done.returncode == 2
    assert done.stderr == b"'\\udcff' cannot be read: it is not text in the encoding of this terminal\n"


@pytest.mark.parametrize("after", [0.01, 0.03, 0.06, 0.1, 0.15, 0.25])
def test_an_interrupt_shows_no_traceback_whenever_it_comes(after: float, homes: tuple[Path, Path]) -> None:
    command = [*SHELFBELL, "--home", str(homes[0]), "check"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=TOP) as process:
        try:
            process.wait(after)
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=60)

    # The interpreter itself, before it runs a line of ours, may still say KeyboardInterrupt.
    assert b"entry_point.py" not in told
    assert process.returncode in (0, 1, 130, -signal.SIGINT)
