"""Seen and snoozed from the command line: until when, what is answered, and what `explain` and `rehearse` then say."""

import json

import pytest

from tests.homes import RULES, SETTINGS, Bench


@pytest.fixture
def open_one(bench: Bench) -> Bench:
    """A home in which pack A was left full, and is known to be, since two days ago."""
    bench.set_clock("2026-04-08 09:00")
    bench.log("charged", "A")
    bench.set_clock("2026-04-10 12:00")
    return bench


def last(bench: Bench) -> dict[str, object]:
    """The entry logged last."""
    return json.loads(bench.exported().splitlines()[-1])


@pytest.mark.parametrize(
    ("words", "fields", "answer"),
    [
        ("seen left-full A", {}, "no repeats"),
        (
            "seen left-full A --until 2026-04-20T09:00:00Z",
            {"until": "2026-04-20T10:00:00+01:00"},
            "quiet until Mon 20 Apr 10:00",
        ),
        ("snooze left-full A", {"until": "2026-04-11T13:00:00+01:00"}, "quiet until Sat 11 Apr 13:00"),
        ("snooze left-full A --until sat", {"until": "2026-04-11T12:00:00+01:00"},
         "quiet until Sat 11 Apr 12:00 (no time given: noon)"),
        ("snooze left-full A 2d", {"until": "2026-04-12T13:00:00+01:00"}, "quiet until Sun 12 Apr 13:00"),
        ("snooze left-full A 14:00", {"until": "2026-04-10T14:00:00+01:00"}, "quiet until Fri 10 Apr 14:00"),
        ("seen left-full A --until 30min", {"until": "2026-04-10T13:30:00+01:00"}, "quiet until Fri 10 Apr 13:30"),
        ("snooze left-full A flown", {"until_next": "flown"}, "quiet until A is flown next"),
        ("snooze left-full A --until flown", {"until_next": "flown"}, "quiet until A is flown next"),
    ],
)  # fmt: skip
def test_until_when_is_logged_and_answered(open_one: Bench, words: str, fields: dict[str, str], answer: str) -> None:
    out = open_one(*words.split())

    assert (out.status, out.err) == (0, "")
    assert out.out.startswith(f"left-full A: {answer}, unless it becomes more urgent.")
    assert {name: last(open_one)[name] for name in ("until", "until_next") if name in last(open_one)} == fields


@pytest.mark.parametrize("until", ["swum", "2026-04-01", "yesterday 09:00"])
def test_an_end_that_is_none_is_refused(open_one: Bench, until: str) -> None:
    before = open_one.exported()

    assert open_one("snooze", "left-full", "A", "--until", until).status == 2
    assert open_one.exported() == before


def test_two_ends_are_refused(open_one: Bench) -> None:
    answer = open_one("snooze", "left-full", "A", "2d", "--until", "sat")

    assert (answer.status, answer.err) == (2, "'2d' and --until 'sat': one of them is enough\n")


PAPER = ["renewed certificate --expires 2026-04-20"]
NEVER: dict[str, tuple[list[str], str, str]] = {
    "a paper that never flies": (
        PAPER,
        "paper-due certificate flown",
        "flown is logged of aircraft, pack, pilot, not of certificate (paper): "
        "give a time such as 2d or 'sat 09:00', or wait for renewed\n",
    ),
    "propellers that are never charged": (
        ["flown heron B 600"],
        "look-due heron-props charged",
        "charged is logged of pack, controller, charger, not of heron-props (propellers): "
        "give a time such as 2d or 'sat 09:00', or wait for moved, inspected, repaired, received\n",
    ),
    "a job, of which nothing is logged that could be awaited": (
        ["booked harbour 2026-04-11T09:00:00Z"],
        "job-near harbour flown",
        "flown is logged of aircraft, pack, pilot, not of harbour (job): give a time such as 2d or 'sat 09:00'\n",
    ),
    "a flight that the rule forbids": (
        ["noticed heron noise"],
        "noisy heron flown",
        "do not wait until heron is flown, because noisy grounds it: give a time such as 2d or 'sat 09:00'\n",
    ),
    "a charge of a pack that the rule grounds": (
        ["flown heron C 20 --percent_from 100 --percent_to 4"],
        "emptied C charged",
        "do not wait until C is charged, because emptied grounds it: give a time such as 2d or 'sat 09:00'\n",
    ),
    "a charge of a pack that is out of use": (
        ["noticed B swollen"],
        "swollen B charged",
        "do not wait until B is charged, because it is out of use: give a time such as 2d or 'sat 09:00'\n",
    ),
}  # fmt: skip
MORE_RULES = """
  - {id: noisy, about: aircraft, title: Noisy, grounds: true, when: {fact: noise_open, is: yes}, urgency: today,
     do: "Do not fly {item}.", why: It breaks., basis: {kind: common practice}}
  - {id: emptied, about: pack, title: Emptied, grounds: true, when: {fact: charge, at_most: 5 %}, urgency: today,
     do: "Look at {item}.", why: It breaks., basis: {kind: common practice}}
  - {id: job-near, about: job, title: Job near, when: {fact: starts_in, at_most: 3 d}, urgency: today,
     do: "Get ready for {item}.", why: It is near., basis: {kind: common practice}}
"""


@pytest.mark.parametrize("how", ["snooze {rule} {item} {kind}", "log snoozed {item} {rule} --until_next {kind}"])
@pytest.mark.parametrize("told", NEVER)
def test_what_cannot_come_is_not_waited_for(bench: Bench, told: str, how: str) -> None:
    before, words, expected = NEVER[told]
    bench.write("rules/own.yaml", RULES + MORE_RULES)
    for entry in before:
        bench.log(*entry.split())
    held = bench.exported()

    rule, item, kind = words.split()
    answer = bench(*how.format(rule=rule, item=item, kind=kind).split())

    assert (answer.status, answer.out, answer.err) == (2, "", expected)
    assert bench.exported() == held


@pytest.mark.parametrize("kind", ["inspected", "repaired"])
def test_what_is_grounded_may_wait_for_what_is_not_its_use(bench: Bench, kind: str) -> None:
    bench.write("rules/own.yaml", RULES + MORE_RULES)
    bench.log("noticed", "heron", "noise")

    assert bench("snooze", "noisy", "heron", kind).status == 0
    assert f"quiet until heron is {kind}" in bench("due").out


def test_an_unknown_kind_to_wait_for_is_refused_by_intake_too(open_one: Bench) -> None:
    entry = {"at": "2026-04-10T11:00:00Z", "what": "snoozed", "item": "A", "rule": "left-full", "until_next": "swum"}
    (open_one.path / "one.jsonl").write_text(json.dumps(entry))

    answer = open_one("intake", str(open_one.path / "one.jsonl"))

    assert answer.status == 2
    assert "until_next: 'swum' is not one of charged, drained" in answer.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("snooze left-full A --until flown", "quiet until A is flown"),
        ("seen left-full A", "no repeats, unless it becomes more urgent"),
        ("seen left-full A --until 2026-04-20T09:00:00Z", "quiet until Mon 20 Apr 10:00"),
    ],
)
def test_explain_tells_what_keeps_it_quiet(open_one: Bench, words: str, said: str) -> None:
    open_one(*words.split())

    assert said in open_one("explain", "left-full", "A").out


def test_rehearse_names_the_further_channel_where_it_is_reached(bench: Bench) -> None:
    bench.write("shelfbell.yaml", SETTINGS.replace("  mail:", "  loud: {url: $LOUD, after: 90 min}\n  mail:"))
    bench.write("rules/own.yaml", RULES)
    bench.log("noticed", "C", "swollen", "--at", "2026-04-10T09:00:00Z")

    told = json.loads(bench("rehearse", "--from", "2026-04-10", "--to", "2026-04-11", "--json").out)
    (reminder,) = [r for r in told["reminders"] if r["rule"] == "swollen"]
    messages = [(m["at"][11:16], m["kind"], m["channel"]) for m in reminder["messages"]][:7]

    assert messages == [
        ("10:00", "first", "phone"), ("10:00", "first", "mail"), ("11:30", "again", "loud"),
        ("14:00", "again", "phone"), ("14:00", "again", "loud"), ("14:00", "again", "mail"),
        ("18:00", "again", "phone"),
    ]  # fmt: skip


def test_what_is_as_urgent_as_can_be_is_kept_quiet_with_a_word(bench: Bench) -> None:
    bench.log("noticed", "C", "swollen")

    lines = bench("snooze", "swollen", "C", "2d").out.splitlines()

    assert lines[0].startswith("swollen C: quiet until Sun 12 Apr 13:00")
    assert lines[1:] == ["It is as urgent as can be: keeping it quiet settles nothing."]
