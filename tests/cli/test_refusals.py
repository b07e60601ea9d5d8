"""Bad input: each kind is one clear finding, exit status 2, nothing half-written, no traceback."""

import json
import os
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from scheduler.cli.main import main
from tests.homes import RULES, Bench, write_home

GOOD = '{"at": "2026-04-01T09:00:00Z", "what": "charged", "item": "A"}\n'

LOGGED: dict[str, tuple[str, str]] = {
    "an unknown kind": ("chargd A", "there is no kind of event 'chargd', did you mean 'charged'?"),
    "an unknown item": ("charged Z", "fleet.yaml knows no pack or controller 'Z'"),
    "a nearly known item": ("inspected hern pass", "'hern', did you mean 'heron'?"),
    "an item of another kind": ("charged heron", "'heron' is of kind aircraft; charged concerns pack, controller"),
    "an unknown aircraft": ("flown hern A 10", "fleet.yaml knows no aircraft 'hern', did you mean 'heron'?"),
    "an unknown pack of a flight": ("flown heron A,Z 10", "fleet.yaml knows no pack 'Z'"),
    "an unknown field": ("charged A --percnt 80", "charged has no field 'percnt', did you mean 'percent'?"),
    "a word too many": ("drained A 58 59", "unexpected word '59'"),
    "a field without its value": ("charged A --percent", "--percent needs a value"),
    "a field that is missing": ("drained A", "drained: 'percent' is missing, such as 58\n"),
    "two items swapped": ("flown B heron 17 30", "did you mean: flown heron B 17 30\n"),
    "a range in the other case": ("charged a-c", "fleet.yaml knows no 'a-c', did you mean 'A-C'?"),
    "a choice that is missing": ("calibrated heron", "'what_of' is missing: one of imu, compass, gimbal, sensors"),
    "a list of choices that is missing": ("noticed heron", "'findings' is missing: one of swollen, leaking, smell, "),
    "no item": ("charged", "charged: 'item' is missing"),
    "a percent of 130": ("charged A 130", "percent: 130 is not a number from 0 to 100"),
    "a percent below nought": ("charged A --percent=-1", "percent: -1 is not a number from 0 to 100"),
    "a percent that is a word": ("charged A full", "percent: 'full' is not a number from 0 to 100"),
    "a percent that is no number of JSON": ("charged A NaN", "NaN is not a number of JSON"),
    "a landing before its take-off": ("flown heron A -3", "minutes: -3 is not a number above 0 and at most 100000"),
    "a flight of no time": ("flown heron A 0", "minutes: 0 is not a number above 0 and at most 100000"),
    "a flight that fills the pack": (
        "flown heron A 10 90 --percent_from 60",
        "percent_to 90 is above percent_from 60: a flight only empties a pack",
    ),
    "a paper with both dates": (
        "renewed certificate --expires 2027-01-01 --issued 2026-01-01",
        "'expires' and 'issued' exclude each other: keep one of them",
    ),
    "a job that ends before it starts": (
        "booked vineyard 2026-04-20T10:00:00Z --ends 2026-04-20T09:00:00Z",
        "is not after starts",
    ),
    "an absence that ends before it begins": ("away 2026-04-20T10:00:00Z 2026-04-19T10:00:00Z", "is not after from"),
    "a time in the future": (
        "charged A --at 2026-04-10T12:06:00Z",
        "--at '2026-04-10T12:06:00Z': Fri 10 Apr 13:06 lies in the future; it is Fri 10 Apr 13:00",
    ),
    "a time that is none": ("charged A --at noonish", "'noonish' is not a time: a time is 18:40, 9am, "),
    "a day that is none": ("renewed certificate 2026-02-30", "expires: '2026-02-30' is not a date such as 2026-04-01"),
    "a reading of nothing": ("measured A", "measured: one of 'percent', 'lights', "),
    "an unknown finding": ("noticed A swolen", "findings: 'swolen' is not one of swollen, "),
    "an unknown result": ("inspected A passed", "'passed' is not one of pass, doubtful, fail, did you mean 'pass'?"),
    "a pack twice in a flight": ("flown heron A,A 10", "packs: 'A' is in the list twice"),
    "a range with a hole": ("charged A-F", "A-F takes in 'D', which fleet.yaml does not know"),
    "an item left out between commas": ("charged A,,B", "an item is missing: separate items by single commas"),
    "one unknown among several items": ("charged A,B,Z", "fleet.yaml knows no pack or controller 'Z'"),
    "a strike of nothing": ("struck nope", "there is no event 'nope' to strike: `shelfbell history` shows the ids"),
    "a correction of nothing": ("charged A --instead_of nope", "there is no event 'nope' to replace"),
    "an escape sequence": ("charged \x1b[31mA", "item: '\\x1b[31mA' is not the id of one pack or controller"),
    "a note without end": (f"charged A --note {'x' * 20_001}", "is not text of at most 20000 whole characters"),
}  # fmt: skip

ASKED: dict[str, tuple[str, str]] = {
    "an unknown command": ("deu", "there is no command 'deu', did you mean 'due'?"),
    "an unknown option before the command": ("--hom x due", "there is no option '--hom' before the command"),
    "no folder": ("--home", "--home needs a folder"),
    "an unknown option": ("due --al", "unrecognized arguments: --al; `shelfbell due --help` says more"),
    "a time that is none": ("due --at whenever", "'whenever' is not a time: "),
    "an empty time": ("due --at=", "'' is not a time: "),
    "an unknown rule": ("explain left-fll", "there is no rule or item 'left-fll', did you mean 'left-full'?"),
    "a rule that is not about the item": ("explain left-full heron", "no rule that is on applies"),
    "too much to explain": ("explain left-full A B", "explain takes a rule, an item, or both"),
    "an unknown item's history": ("history hern", "nothing is logged of 'hern', did you mean 'heron'?"),
    "an unknown channel": ("ring phnoe", "there is no channel 'phnoe', did you mean 'phone'? There is phone, mail"),
    "a rehearsal backwards": ("rehearse --from -2h --to -3h", "--to -3h is not after --from -2h"),
    "a rehearsal without end": ("rehearse --from -2h", "the following arguments are required: --to"),
    "an unknown rule seen": ("seen left-fll A", "there is no rule 'left-fll', did you mean 'left-full'?"),
    "an unknown item seen": ("seen left-full Z", "there is no item 'Z'"),
    "a reminder seen that is not open": ("seen left-full A", "no reminder left-full is open on A; open on it: nothing"),
    "a file that is not there": ("intake nowhere.jsonl", "No such file or directory: nowhere.jsonl"),
    "a home where one is already": ("init", "shelfbell.yaml is there already: nothing was written"),
}  # fmt: skip


def one_finding(text: str) -> bool:
    """One line, or one with the usage below it; no traceback."""
    return bool(text) and "Traceback" not in text and (text.count("\n") == 1 or "usage: " in text.splitlines()[0])


def files(path: Path) -> dict[str, bytes]:
    """What lies in a home, the database apart."""
    return {str(p): p.read_bytes() for p in sorted(path.rglob("*")) if p.is_file() and ".db" not in p.name}


@pytest.mark.parametrize("told", LOGGED)
def test_log_refuses(told: str, bench: Bench) -> None:
    words, expected = LOGGED[told]
    note = words.split(" --note ")[1:]

    answer = bench("log", *words.split(" --note ")[0].split(" "), *(["--note", *note] if note else []))

    assert expected in answer.err
    assert (answer.status, answer.out) == (2, "")
    assert one_finding(answer.err)
    assert bench.exported() == ""


@pytest.mark.parametrize("told", ASKED)
def test_a_question_is_refused(told: str, bench: Bench) -> None:
    words, expected = ASKED[told]
    before = files(bench.path)

    answer = bench(*words.split(" "))

    assert expected in answer.err
    assert (answer.status, answer.out) == (2, "")
    assert one_finding(answer.err)
    assert files(bench.path) == before


BROKEN: dict[str, tuple[str, str]] = {
    "JSON broken off": ('{"at": "2026-04-01T09:00:00Z", "wha', "is not JSON: "),
    "no JSON at all": ("charged A", "is not JSON: "),
    "not an object": ("[1, 2]", "an event: a list is not an object in braces"),
    "a key twice": (GOOD.strip().replace("}", ', "what": "charged"}'), "'what' is given twice"),
    "a number that is none": (GOOD.strip().replace('"A"', '"A", "percent": NaN'), "NaN is not a number of JSON"),
    "brackets without end": ("[" * 100_000, "is not JSON: "),
    "no kind": ('{"at": "2026-04-01T09:00:00Z", "item": "A"}', "an event: 'what' is missing: a kind of event"),
    "a kind that is a number": ('{"at": "2026-04-01T09:00:00Z", "what": 7}', "what: 7 is not a kind of event"),
    "a time without offset": (GOOD.strip().replace("00Z", "00"), "not a time with offset such as"),
    "a time to come": (GOOD.strip().replace("2026-04", "2027-04"), "lies in the future"),
    "a time of telling to come": (
        GOOD.strip().replace('"what"', '"recorded_at": "2027-04-01T09:00:00Z", "what"'),
        "recorded_at 2027-04-01T09:00:00Z lies in the future",
    ),
    "an unknown item": (GOOD.strip().replace('"A"', '"Z"'), "fleet.yaml knows no pack or controller 'Z'"),
    "an id of another event": (GOOD.strip().replace("{", '{"id": "one", '), "is there already with other content"),
}  # fmt: skip


@pytest.mark.parametrize("told", BROKEN)
def test_a_bad_line_amid_an_intake_is_named_and_nothing_of_the_file_is_written(told: str, bench: Bench) -> None:
    line, expected = BROKEN[told]
    first = GOOD.replace("{", '{"id": "one", ').replace('"A"', '"B"')
    path = bench.path / "events.jsonl"
    path.write_text(f"{first}{GOOD}{line}\n{GOOD}", encoding="utf-8")

    answer = bench("intake", str(path))

    assert answer.status == 2
    assert answer.err.startswith(f"{path}:3:")
    assert expected in answer.err
    assert one_finding(answer.err)
    assert bench.exported() == ""


def test_bytes_that_are_no_text_amid_an_intake_are_named(bench: Bench) -> None:
    path = bench.path / "events.jsonl"
    path.write_bytes(GOOD.encode() + b"\xff\xfe\n" + GOOD.encode())

    answer = bench("intake", str(path))

    assert (answer.status, answer.err) == (2, f"{path}:2: is not UTF-8\n")
    assert bench.exported() == ""


def test_every_bad_line_of_an_intake_is_named_at_once(bench: Bench) -> None:
    path = bench.path / "events.jsonl"
    path.write_text(GOOD.replace('"A"', '"Y"') + GOOD + "nonsense\n" + GOOD.replace('"A"', '"Z"'), encoding="utf-8")

    answer = bench("intake", str(path))

    assert [line.removeprefix(str(path)).split(":")[1] for line in answer.err.splitlines()] == ["1", "3", "4"]


def test_a_bomb_of_aliases_is_refused_at_once(bench: Bench) -> None:
    bomb = "a: &a [x, x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"{name}: &{name} [{', '.join([f'*{before}'] * 10)}]\n"
        for before, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    bench.write("fleet.yaml", bomb)

    answer = bench("due")

    assert answer.status == 2
    assert "more than 400,000 values, aliases counted as often as they are used" in answer.err
    assert one_finding(answer.err)


COMMANDS = (
    "log charged A", "due", "explain", "check", "export", "history", "rehearse --from -2h --to now", "seen left-full A",
    "run --once", "ring mail", "intake events.jsonl",
)  # fmt: skip


@pytest.mark.parametrize("words", COMMANDS)
def test_a_missing_home_is_told_and_not_made(
    words: str, bench: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "events.jsonl").write_text(GOOD)
    missing = tmp_path / "nowhere"

    status = main(["--home", str(missing), *words.split()])

    told = capsys.readouterr()
    assert (status, told.out) == (2, "")
    assert told.err == f"there is no home at {missing}: `shelfbell init` makes one\n"
    assert not missing.exists()


@pytest.mark.parametrize(
    "words", [words for words in COMMANDS if not words.startswith(("check", "ring", "run", "intake"))]
)
@pytest.mark.parametrize("what", ["a folder in its place", "bytes that are none"])
def test_a_database_that_is_none_is_told(words: str, what: str, bench: Bench) -> None:
    if what == "a folder in its place":
        (bench.path / "shelfbell.db").mkdir()
    else:
        (bench.path / "shelfbell.db").write_bytes(b"not a database " * 100)

    answer = bench(*words.split())

    assert (answer.status, answer.out) == (2, "")
    assert answer.err.startswith("the database shelfbell.db cannot be opened: ")
    assert one_finding(answer.err)


@pytest.fixture
def locked_home(bench: Bench) -> Iterator[Path]:
    """A home with one event that nobody may write, in a folder that anybody may enter; the bench keeps its clock."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        path = Path(folder) / "home"
        write_home(path)
        assert main(["--home", str(path), "log", "charged", "A", "--at", "2026-04-01T09:00:00Z"]) == 0
        for found in [*path.rglob("*"), path]:
            found.chmod(0o555 if found.is_dir() else 0o444)
        yield path
        for found in [path, *path.rglob("*")]:
            found.chmod(found.stat().st_mode | stat.S_IWUSR)


def as_stranger(path: Path, words: list[str]) -> tuple[int, str]:
    """Status and findings of a command in a child process that is not root."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.dup2(writer, 2)
            sys.stderr = os.fdopen(2, "w", closefd=False)
            if os.getuid() == 0:
                os.setgid(65534)
                os.setuid(65534)
            status = main(["--home", str(path), *words])
            sys.stderr.flush()
        except BaseException as error:  # the child must end here, whatever comes
            os.write(2, repr(error).encode())
            status = 99
        os._exit(status)
    os.close(writer)
    with os.fdopen(reader) as told:
        text = told.read()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), text


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes as POSIX has them")
@pytest.mark.parametrize("words", [["log", "charged", "B"], ["seen", "left-full", "A"], ["due"], ["export"]])
def test_a_home_that_may_not_be_written_is_told(words: list[str], locked_home: Path, bench: Bench) -> None:
    bench("due")  # so that the child needs no module more
    before = (locked_home / "shelfbell.db").read_bytes()

    status, told = as_stranger(locked_home, words)

    assert (status, told) == (2, "the database shelfbell.db cannot be opened: attempt to write a readonly database\n")
    assert (locked_home / "shelfbell.db").read_bytes() == before


def test_a_rule_whose_fact_is_not_of_its_kind_of_item_is_refused_and_the_log_is_kept(bench: Bench) -> None:
    bench.log("charged", "A", "--id", "one")
    bench.write("rules/own.yaml", RULES.replace("about: pack", "about: aircraft", 1))

    answer = bench("due")

    assert answer.status == 2
    assert "rules/own.yaml:8:18: charge is a fact of pack, not of aircraft, which has " in answer.err
    assert [json.loads(line)["id"] for line in bench.exported().splitlines()] == ["one"]


def test_help_and_version_are_no_faults(bench: Bench) -> None:
    assert bench("--help").status == 0
    assert bench("--version").out.startswith("shelfbell ")
    assert bench("log", "--help").status == 0
    assert bench("log", "flown", "--help").out.startswith(
        "usage: shelfbell log flown AIRCRAFT PACKS MINUTES [PERCENT_TO]"
    )


def test_no_words_at_all_are_answered_with_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert capsys.readouterr().err.startswith("usage: shelfbell")


def test_an_item_with_entries_cannot_leave_the_fleet(bench: Bench) -> None:
    bench.log("charged", "A")
    bench.write("fleet.yaml", "aircraft: [{id: heron}]\n")
    told = bench("due")
    assert told.status == 2
    assert "A has entries in the log but is missing here: put it back, and `shelfbell log retired A`" in told.err


def test_the_daemon_itself_takes_no_other_instant(bench: Bench) -> None:
    answer = bench("run", "--at", "tomorrow")
    assert (answer.status, answer.out) == (2, "")
    assert answer.err == "--at needs --once or --dry-run: the daemon itself follows the clock\n"
