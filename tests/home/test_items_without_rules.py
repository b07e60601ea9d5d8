"""What no rule in force is about: each command that could leave one in the belief that it is watched says so."""

import json
import re

import pytest

from scheduler.base.shipped import folder
from scheduler.cli.init import starters
from tests.homes import RULES, SETTINGS, Bench

PAPERS = "papers-ca, papers-eu, papers-uk, papers-us"
ADD = f"add one of {PAPERS} to `practice` in shelfbell.yaml"
FLEET = """\
aircraft:
  - {id: heron}
guards:
  - {id: heron-guards, fits: [heron]}
papers:
  - {id: certificate, valid_for: 24 calendar months}
  - {id: insurance, valid_for: 1 y}
"""


@pytest.fixture
def unwatched(bench: Bench) -> Bench:
    """A home with papers, and the practice of a new home."""
    bench.write("fleet.yaml", FLEET)
    bench.write("rules/own.yaml", "rules: []\n")
    practise(bench, "aircraft")
    return bench


def practise(bench: Bench, *names: str) -> None:
    """Let these shipped rule files be on."""
    bench.write("shelfbell.yaml", SETTINGS.replace("practice: []", f"practice: [{', '.join(names)}]"))


def test_a_new_home_names_every_shipped_rule_file() -> None:
    named = set(re.findall(r"[\w-]+", starters()["shelfbell.yaml"]))

    assert {path.stem for path in folder("rules").glob("*.yaml")} <= named


def test_check_names_each_item_with_what_would_watch_it(unwatched: Bench) -> None:
    answer = unwatched("check")

    assert answer.out.splitlines() == [
        f"fleet.yaml:6:10: no rule watches certificate: {ADD}",
        f"fleet.yaml:7:10: no rule watches insurance: {ADD}",
        "2 findings.",
    ]
    assert answer.status == 1


def test_what_is_switched_on_watches(unwatched: Bench) -> None:
    practise(unwatched, "aircraft", "papers-eu")

    checked = unwatched("check")

    assert re.fullmatch(r"All well: \d+ rules, \d+ cases\.\n", checked.out)
    assert unwatched("explain", "insurance").status == 0
    assert "Next for insurance: I would ring" in unwatched.log("renewed", "insurance", "--expires", "2027-06-30")


def test_an_own_rule_watches_too(bench: Bench) -> None:
    assert "no rule watches certificate" not in bench("check").out


def test_doctor_names_what_is_unwatched(unwatched: Bench) -> None:
    looks = {look["about"]: look for look in json.loads(unwatched("doctor", "--json").out)}

    assert looks["rules"]["said"] == f"no rule watches certificate and insurance: {ADD}"
    assert looks["rules"]["fine"] is False


def test_a_renewal_that_nothing_watches_is_answered_with_what_would(unwatched: Bench) -> None:
    told = unwatched.log("renewed", "insurance", "--expires", "2027-06-30")

    assert told.splitlines()[1:] == [f"No rule watches insurance: {ADD}."]


def test_an_explanation_of_what_is_unwatched_says_what_would_watch_it(unwatched: Bench) -> None:
    answer = unwatched("explain", "insurance")

    assert (answer.status, answer.out) == (2, "")
    assert answer.err == f"no rule watches insurance: {ADD}\n"


def test_of_what_no_shipped_rule_is_about_nothing_is_asked(unwatched: Bench) -> None:
    practise(unwatched, "aircraft", "papers-us")

    assert unwatched("check").status == 0
    assert unwatched("explain", "heron-guards").err == "heron-guards: no rule that is on applies\n"
    assert "Nothing to do" in unwatched.log("fitted", "heron-guards", "heron")


def test_a_single_rule_file_is_named_alone(bench: Bench) -> None:
    assert bench("explain", "me").err == "no rule watches me: add jobs to `practice` in shelfbell.yaml\n"


OFF = (
    RULES
    + """
adjust:
  paper-due: {off: true, because: TEXT}
  left-full: {off: true, only: [A], because: TEXT}
  swollen: {off: true, only: [A, B], because: TEXT}
  unread: {off: true, only: [A], because: TEXT}
""".replace("TEXT", "tried out")
)


def test_an_item_for_which_every_rule_is_off_is_named_too(bench: Bench) -> None:
    bench.write("rules/own.yaml", OFF)
    off = "no rule watches {}: every rule is off for {} by `adjust` in rules/"

    checked = bench("check").out.splitlines()
    looks = {look["about"]: look for look in json.loads(bench("doctor", "--json").out)}

    assert f"fleet.yaml:4:10: {off.format('A', 'it')}" in checked
    assert not [line for line in checked if "watches B" in line]
    assert off.format("A and certificate", "them") in looks["rules"]["said"]
    assert bench("explain", "A").err == f"{off.format('A', 'it')}\n"
    assert f"N{off.format('A', 'it')[1:]}." in bench.log("charged", "A")
