"""What-if: candidate rules, two rule sets side by side, supposed entries and supposed use; the log is never written."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.answers.suppose import USE
from scheduler.base.instants import DAY, parse_rfc3339
from tests.homes import RULES, Bench, golden
from tests.support import Fields, event

GOLDEN = Path(__file__).parent / "golden"
STORY: list[Fields] = [
    event("2026-03-20 17:00", "charged", item="A", id="a1"),
    event("2026-03-22 09:00", "drained", item="A", percent=58, id="a2"),
    event("2026-03-25 17:00", "charged", item="B", id="b1"),
    event("2026-03-27 12:00", "flown", aircraft="heron", packs=["B"], minutes=18, percent_to=30, id="b2"),
    event("2026-03-30 17:00", "charged", item="B", id="b3"),
    event("2026-04-04 12:00", "drained", item="B", percent=58, id="b4"),
    event("2026-04-05 09:00", "booked", job="quay", starts="2026-04-08 09:00", id="j1"),
    event("2026-04-07 12:00", "noticed", item="C", findings=["swollen"], id="c1"),
]
MARCH = ("rehearse", "--from", "2026-03-19", "--to", "2026-04-09")


@pytest.fixture
def told(bench: Bench) -> Bench:
    """The small home with the story in its log."""
    (bench.path / "story.jsonl").write_text(
        "\n".join(json.dumps({"recorded_at": fields["at"]} | fields) for fields in STORY), encoding="utf-8"
    )
    assert bench("intake", str(bench.path / "story.jsonl")).status == 0
    return bench


@pytest.fixture
def candidate(told: Bench) -> Path:
    """A folder with the same rules, the wait of left-full twice as long."""
    folder = told.path / "candidate"
    folder.mkdir()
    (folder / "own.yaml").write_text(RULES.replace("sit: 24 h", "sit: 48 h"), encoding="utf-8")
    return folder


def rules_of(answer: str) -> list[tuple[str, str]]:
    return [(one["rule"], one["item"]) for one in json.loads(answer)["reminders"]]


def test_two_rule_sets_stand_side_by_side(told: Bench, candidate: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(told.path)

    golden(GOLDEN / "rehearse-against.txt", told(*MARCH, "--against", "candidate").out)


def test_side_by_side_for_programs_is_the_difference_of_the_two_rehearsals(told: Bench, candidate: Path) -> None:
    apart = json.loads(told(*MARCH, "--against", str(candidate), "--json").out)
    before, after = (json.loads(told(*MARCH, "--json", *more).out) for more in ([], ["--rules", str(candidate)]))

    assert apart["reminders"] == [len(before["reminders"]), len(after["reminders"])]
    assert len(apart["more"]) - len(apart["fewer"]) == apart["reminders"][1] - apart["reminders"][0]
    assert apart["changes"] == ["left-full: sit 48 h instead of 24 h (A, B and C)"]


def test_a_rule_set_against_itself_differs_in_nothing(told: Bench) -> None:
    same = json.loads(told(*MARCH, "--against", str(told.path / "rules"), "--json").out)

    assert (same["changes"], same["fewer"], same["more"], same["moved"]) == ([], [], [], [])


def test_a_candidate_that_does_not_pass_is_refused_at_its_place(told: Bench, candidate: Path) -> None:
    (candidate / "own.yaml").write_text(RULES.replace("{fact: charge,", "{fact: chrage,"), encoding="utf-8")

    answer = told(*MARCH, "--rules", str(candidate))

    assert answer.status == 2
    assert "did you mean 'charge'" in answer.err


def test_a_candidate_folder_that_is_not_there_is_refused(told: Bench) -> None:
    answer = told(*MARCH, "--rules", "nowhere")

    assert (answer.status, answer.err) == (2, "there is no folder nowhere\n")


def suppose(told: Bench, *entries: Fields) -> str:
    path = told.path / "supposed.jsonl"
    path.write_text("\n".join(map(json.dumps, entries)), encoding="utf-8")
    return str(path)


def test_a_supposed_entry_counts_and_is_written_nowhere(told: Bench) -> None:
    before = told.exported()
    file = suppose(told, event("2026-05-01 10:00", "charged", item="A"))

    answer = told("rehearse", "--from", "2026-05-01", "--to", "2026-05-05", "--suppose", file, "--json")

    assert ("left-full", "A") in rules_of(answer.out)
    assert json.loads(answer.out)["supposed"] == [f"Supposed, not logged: 1 entry of {file}."]
    assert told.exported() == before


def test_a_supposed_correction_takes_back_what_is_logged(told: Bench) -> None:
    """Had the swelling been a mistake, nothing would have been urgent."""
    file = suppose(told, event("2026-04-08 10:00", "struck", event="c1"))

    assert ("swollen", "C") in rules_of(told(*MARCH, "--json").out)
    assert ("swollen", "C") not in rules_of(told(*MARCH, "--suppose", file, "--json").out)


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ('{"at": "2026-05-01T10:00:00Z", "what": "charged", "item": "Z"}', "fleet.yaml knows no pack"),
        ('{"at": "2026-05-01T10:00:00Z", "what": "charged", "item": "A", "item": "B"}', "'item' is given twice"),
        ('{"at": "2026-05-01T10:00:00Z", "what": "struck", "event": "nothing"}', "there is no event 'nothing'"),
        ("{", "is not JSON"),
    ],
)
def test_supposed_entries_are_checked_as_intake_checks_them(told: Bench, line: str, found: str) -> None:
    path = told.path / "supposed.jsonl"
    path.write_text(f"\n{line}\n", encoding="utf-8")

    answer = told(*MARCH, "--suppose", str(path))

    assert answer.status == 2
    assert answer.err.startswith(f"{path}:2:")
    assert found in answer.err


def test_use_goes_on_as_it_went_before(told: Bench) -> None:
    words = ("rehearse", "--from", "2026-04-10 12:00", "--to", "2026-05-11", "--like", "2026-03-19..2026-04-09")

    golden(GOLDEN / "rehearse-like.txt", told(*words).out)


def test_nothing_is_supposed_of_a_time_in_which_nothing_was_done(told: Bench) -> None:
    answer = told("rehearse", "--from", "now", "--to", "2026-05-11", "--like", "2026-01-01..2026-02-01")

    assert answer.status == 2
    assert "nothing was flown" in answer.err


@settings(max_examples=25, deadline=None)
@given(weeks=st.integers(0, 9), days=st.integers(1, 60))
def test_supposed_use_keeps_weekdays_clock_times_and_kinds(
    tmp_path_factory: pytest.TempPathFactory, weeks: int, days: int
) -> None:
    """Whatever the stretch: each supposed entry is one of the pattern, whole weeks later by the local clock."""
    from scheduler.answers.suppose import suppose_use, supposed_copy
    from scheduler.base.instants import MAX_INSTANT, to_datetime
    from scheduler.events.taking import take, to_line
    from scheduler.home.folder import Home
    from tests.homes import write_home
    from tests.support import moment

    path = tmp_path_factory.mktemp("home") / "home"
    write_home(path)
    home = Home(path)
    setup = home.setup()
    take(home.log, enumerate(map(to_line, ({"recorded_at": e["at"]} | e for e in STORY)), 1), setup.fleet, MAX_INSTANT)
    start = moment("2026-04-10") + weeks * 7 * DAY
    zone = setup.hours.zone

    with supposed_copy(home) as copy:
        like = (moment("2026-03-19"), moment("2026-04-09"))
        suppose_use(copy, setup.fleet, setup.hours, like, (start, start + days * DAY))
        added = [event for event, _ in copy.log.history() if "+" in event.id]

    pattern = {str(e["id"]): e for e in STORY}
    for one in added:
        past, was = to_datetime(one.at, zone), pattern[one.id.partition("+")[0]]
        then = to_datetime(parse_rfc3339(str(was["at"])), zone)
        assert (past.weekday(), past.time()) == (then.weekday(), then.time())
        assert one.what == was["what"]
        assert one.what in USE
        assert start <= one.at < start + days * DAY
    home.log.close()


def test_the_load_by_week_and_channel(told: Bench) -> None:
    golden(GOLDEN / "rehearse-load.txt", told(*MARCH, "--load").out)


def test_the_load_counts_what_each_channel_takes(told: Bench) -> None:
    """The phone takes `now` and `today` only: digests without such words are not for it."""
    lines = told(*MARCH, "--load").out.splitlines()
    columns = [line.split()[1:] for line in lines[2:6]]

    assert sum(int(phone) for phone, _ in columns) < sum(int(mail) for _, mail in columns)
