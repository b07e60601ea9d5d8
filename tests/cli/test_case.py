"""A case from real history: what is printed is a case of the rule, and passes once pasted."""

import json
import re

import pytest
import yaml

from scheduler.answers.case import subject_of
from scheduler.answers.desk import Desk
from scheduler.base.instants import DAY, HOUR
from scheduler.base.strict_yaml import read
from scheduler.home.folder import Home
from scheduler.verdicts.case_from_history import case_of, passes
from scheduler.verdicts.verdict import verdicts
from tests.homes import RULES, Bench
from tests.support import Fields, event, moment

STORY: list[Fields] = [
    event("2026-02-20 10:00", "renewed", item="certificate", expires="2026-04-25", id="paper", by="me"),
    event("2026-03-20 17:00", "charged", item="B", id="b0", note="at the field"),
    event("2026-03-21 12:00", "flown", aircraft="heron", packs=["C"], minutes=5, id="c0"),
    event("2026-03-22 17:00", "drained", item="B", percent=58, id="b1"),
    event("2026-03-25 17:00", "charged", item="B", id="b2"),
    event("2026-03-27 12:00", "flown", aircraft="heron", packs=["A", "B"], minutes=180, percent_to=30, id="b3"),
    event("2026-03-28 12:00", "noticed", item="C", findings=["swollen"], id="c1"),
    event("2026-03-30 12:00", "flown", aircraft="heron", packs=["A"], minutes=150, percent_from=100, id="a1"),
    event("2026-03-31 17:00", "charged", item="B", id="b4"),
    event("2026-04-05 09:00", "booked", job="quay", aircraft="heron", starts="2026-04-08 09:00", id="j1"),
    event("2026-04-09 12:00", "inspected", item="heron-props", result="pass", id="p1"),
]


@pytest.fixture
def told(bench: Bench) -> Bench:
    """The small home with the story in its log."""
    lines = [json.dumps({"recorded_at": fields["at"]} | fields) for fields in STORY]
    (bench.path / "story.jsonl").write_text("\n".join(lines), encoding="utf-8")
    assert bench("intake", str(bench.path / "story.jsonl")).status == 0
    return bench


def pasted(rule: str, printed: str) -> str:
    """The rule file with a printed case under the rule's cases."""
    head, tail = RULES.split(f"  - id: {rule}\n")
    return f"{head}  - id: {rule}\n{tail.replace('    cases:', f'    cases:{chr(10)}{printed.rstrip()}', 1)}"


CASES = {
    "an open one, ended by a flight": ("left-full", "B", "2026-03-27T06:00:00Z", "opens"),
    "one that a job settled": ("left-full", "B", "2026-04-03T06:00:00Z", "opens"),
    "a quiet one": ("left-full", "B", "2026-03-26T06:00:00Z", "quiet_until"),
    "one still open": ("swollen", "C", "2026-04-01T06:00:00Z", "opens"),
    "flights that add up": ("look-due", "heron-props", "2026-03-30T18:00:00Z", "opens"),
    "a paper, in the operator's zone": ("paper-due", "certificate", "2026-04-01T06:00:00Z", "opens"),
    "an unknown one": ("left-full", "C", "2026-03-24T06:00:00Z", "unknown_at"),
}


@pytest.mark.parametrize("name", CASES)
def test_a_printed_case_passes_when_it_is_pasted(told: Bench, name: str) -> None:
    rule, item, at, expected = CASES[name]

    printed = told("case", rule, item, "--at", at)

    assert (printed.status, printed.err) == (0, "")
    told.write("rules/own.yaml", pasted(rule, printed.out))
    told.watch_all()
    checked = told("check")
    assert (checked.status, checked.out[:9]) == (0, "All well:")
    assert f"{expected}: " in printed.out


@pytest.mark.parametrize("name", [name for name, case in CASES.items() if case[3] == "opens"])
def test_a_printed_case_fails_when_its_expectation_is_wrong(told: Bench, name: str) -> None:
    """Otherwise the test above would show nothing."""
    rule, item, at, _ = CASES[name]
    printed = re.sub(r"opens: (\d{4})", "opens: 2031", told("case", rule, item, "--at", at).out)

    told.write("rules/own.yaml", pasted(rule, printed))

    assert told("check").status == 1


def test_a_case_is_printed_one_line_an_entry_without_what_does_not_matter(told: Bench) -> None:
    printed = told("case", "left-full", "B", "--at", "2026-03-27T06:00:00Z").out

    assert printed.splitlines() == [
        "# left-full, from the history of B. Paste it under `cases:` of the rule.",
        "      - opens: 2026-03-26T17:00:00+00:00",
        "        settles: 2026-03-27T10:17:08.571429+00:00",
        "        given:",
        "          - {at: 2026-03-25T17:00:00Z, what: charged}",
        "          - {at: 2026-03-27T12:00:00Z, what: flown, minutes: 180, percent_to: 30}",
    ]


def test_a_case_of_an_adjusted_rule_says_that_it_tests_the_rule_as_written(told: Bench) -> None:
    told.write("rules/own.yaml", f"{RULES}\nadjust: {{left-full: {{limits: {{sit: 40 h}}, because: trial}}}}\n")

    printed = told("case", "left-full", "B", "--at", "2026-03-27T06:00:00Z").out

    assert "a case tests the rule as written" in printed
    assert "opens: 2026-03-26T17:00:00+00:00" in printed


def test_what_no_case_can_hold_is_refused(told: Bench) -> None:
    """It had rung before from the same entries, and a case expects its first opening."""
    answer = told("case", "left-full", "Z")

    assert answer.status == 2
    assert "there is no rule or item 'Z'" in answer.err


def test_wherever_a_case_is_made_it_passes(told: Bench) -> None:
    """Over all rules and items, every seven hours of the story: made, it passes; and most can be made."""
    home = Home(told.path)
    at = Desk(home, home.setup(), moment("2026-04-10 12:00"))
    made = asked = 0
    for verdict in verdicts(at.store(), at.setup.rules):
        subject = subject_of(at, verdict)
        for now in range(moment("2026-03-20 18:00"), moment("2026-04-10"), 2 * DAY + 7 * HOUR):
            case = case_of(subject, now)
            asked += 1
            made += case is not None
            assert case is None or passes(subject, case)
    assert made > 0.7 * asked
    home.log.close()


def test_what_is_printed_reads_the_same_to_two_readers(told: Bench) -> None:
    """To the strict loader of the rule files, and to PyYAML with its times kept as text."""
    printed = told("case", "left-full", "B", "--at", "2026-04-03T06:00:00Z").out

    (ours,), (theirs,) = read(printed, "case").data, yaml.load(printed, Loader=yaml.BaseLoader)
    assert [entry["at"] for entry in ours["given"]] == [entry["at"] for entry in theirs["given"]]
