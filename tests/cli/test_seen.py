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


def test_an_unknown_kind_to_wait_for_is_refused_by_intake_too(open_one: Bench) -> None:
    entry = {"at": "2026-04-10T11:00:00Z", "what": "snoozed", "item": "A", "rule": "left-full", "until_next": "swum"}
    (open_one.path / "one.jsonl").write_text(json.dumps(entry))

    answer = open_one("intake", str(open_one.path / "one.jsonl"))

    assert answer.status == 2
    assert "until_next is 'swum', not one of charged, drained" in answer.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("snooze left-full A --until flown", "quiet until something is flown"),
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
