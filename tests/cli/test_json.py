"""What the commands print for programs: the shapes that are promised, to which keys may be added, and exit statuses."""

import json
from typing import Any

import pytest

from tests.homes import Bench

Shape = Any
INSTANT = "an instant"
MAYBE = "an instant or null"


def fits(value: Any, shape: Shape) -> bool:
    """Whether a value has at least the shape: types, instants, lists of a shape, mappings with these keys."""
    if shape == INSTANT:
        return isinstance(value, str) and "T" in value and value[-6] in "+-"
    if shape == MAYBE:
        return value is None or fits(value, INSTANT)
    if isinstance(shape, set):
        return value in shape
    if isinstance(shape, list):
        return isinstance(value, list) and all(fits(one, shape[0]) for one in value)
    if isinstance(shape, dict):
        return isinstance(value, dict) and all(key in value and fits(value[key], part) for key, part in shape.items())
    return isinstance(value, shape)


URGENCY = {"now", "today", "this_week", "whenever"}
DUE = {
    "at": INSTANT,
    "open": [
        {
            "rule": str,
            "item": str,
            "urgency": URGENCY,
            "title": str,
            "do": str,
            "opened_at": INSTANT,
            "caution": str,
        }
    ],
    "unknown": [{"rule": str, "item": str, "missing": [str]}],
}
EXPLAIN = [
    {
        "rule": str,
        "item": str,
        "verdict": {"yes", "no", "unknown"},
        "since": MAYBE,
        "next_change": MAYBE,
        "because": {"verdict": {"yes", "no", "unknown"}},
    }
]
REHEARSE = {
    "from": INSTANT,
    "to": INSTANT,
    "reminders": [
        {
            "rule": str,
            "item": str,
            "opened_at": INSTANT,
            "settled_at": MAYBE,
            "messages": [
                {"at": INSTANT, "kind": {"first", "again", "rise", "digest", "settled", "summary"}, "channel": str}
            ],
        }
    ],
}


def asked(bench: Bench, *words: str) -> Any:
    """The answer of a question, read as JSON."""
    answer = bench(*words, "--json")
    assert answer.err == ""
    return json.loads(answer.out)


@pytest.fixture
def full(bench: Bench) -> Bench:
    """Pack B was left full, the certificate is not known, propellers are due."""
    bench.log("charged", "B", "--at", "2026-04-05T10:00:00Z", "--id", "full")
    bench.log("flown", "heron", "A", "301", "--at", "2026-04-06T10:00:00Z")
    return bench


def test_due(full: Bench) -> None:
    board = asked(full, "due")

    assert fits(board, DUE)
    assert board["at"] == "2026-04-10T13:00:00+01:00"
    assert [(entry["rule"], entry["item"], entry["urgency"]) for entry in board["open"]] == [
        ("left-full", "B", "today"),
        ("look-due", "heron-props", "this_week"),
    ]
    assert board["open"][0]["opened_at"] == "2026-04-06T11:00:00+01:00"
    assert board["open"][0]["do"] == "Drain pack B: 100 % for 5 d 2 h."
    assert {"rule": "paper-due", "item": "certificate", "missing": ["days_to_expiry"]} in board["unknown"]


def test_explain(full: Bench) -> None:
    told = asked(full, "explain")

    assert fits(told, EXPLAIN)
    pairs = {(entry["rule"], entry["item"]) for entry in told}
    assert len(pairs) == len(told) == 3 * 3 + 1 + 1
    (one,) = asked(full, "explain", "left-full", "B")
    assert (one["verdict"], one["since"], one["open"]["opened_at"]) == ("yes", *["2026-04-06T11:00:00+01:00"] * 2)
    assert one["because"]["all"][0]["events"] == [{"id": "full", "at": "2026-04-05T11:00:00+01:00", "what": "charged"}]


def test_rehearse(full: Bench) -> None:
    told = asked(full, "rehearse", "--from", "2026-04-05", "--to", "2026-04-10T12:00:00Z")

    assert fits(told, REHEARSE)
    assert (told["from"], told["to"]) == ("2026-04-05T00:00:00+01:00", "2026-04-10T13:00:00+01:00")
    assert [(r["rule"], r["item"], r["settled_at"]) for r in told["reminders"]] == [
        ("left-full", "B", None),
        ("look-due", "heron-props", None),
    ]
    rung = [(m["at"], m["kind"], m["channel"]) for m in told["reminders"][0]["messages"]]
    assert rung == [
        (at, kind, channel)
        for at, kind in [
            ("2026-04-06T11:00:00+01:00", "first"),
            ("2026-04-07T11:00:00+01:00", "again"),
            ("2026-04-09T11:00:00+01:00", "again"),
        ]
        for channel in ("phone", "mail")
    ]
    assert {m["channel"] for m in told["reminders"][1]["messages"]} == {"mail"}


def test_a_reminder_is_rehearsed_as_settled_only_if_it_was_before_the_end(full: Bench) -> None:
    full.log("drained", "B", "58", "--at", "2026-04-08T10:00:00Z")

    def settled(to: str) -> list[str | None]:
        told = asked(full, "rehearse", "--from", "2026-04-05", "--to", to)
        return [r["settled_at"] for r in told["reminders"] if r["item"] == "B"]

    assert settled("2026-04-08T09:59:59Z") == [None]
    assert settled("2026-04-08T10:00:00Z") == [None]
    assert settled("2026-04-08T10:00:01Z") == ["2026-04-08T11:00:00+01:00"]


def test_history_and_check(full: Bench) -> None:
    full.watch_all()
    full.log("struck", "full", "--id", "strike")

    told = asked(full, "history", "B")
    assert told[0] == {
        "at": "2026-04-05T11:00:00+01:00",
        "recorded_at": "2026-04-10T12:00:00Z",
        "id": "full",
        "what": "charged",
        "item": "B",
        "via": "log",
        "taken_back_by": "strike",
    }
    assert asked(full, "check") == []


def test_findings_for_programs(bench: Bench) -> None:
    bench.write("fleet.yaml", "packs:\n  - {id: A, cells: 40}\n")
    bench.write("rules/own.yaml", "rules: []\n")

    assert asked(bench, "check") == [
        {"file": "fleet.yaml", "line": 2, "column": 20, "text": "40 is too large: at most 24 is allowed"}
    ]


def test_exit_statuses(bench: Bench) -> None:
    """0 fine, 1 something open or found, 2 bad usage or bad input."""
    assert bench("due").status == 0
    assert bench("due", "--json").status == 0
    bench.log("noticed", "B", "swollen")
    assert bench("due").status == 1
    assert bench("due", "--json").status == 1
    assert bench("explain", "swollen", "B").status == 0
    assert bench("history").status == 0
    bench.watch_all()
    assert bench("check").status == 0
    assert bench("log", "charged", "Z").status == 2
    bench.write("rules/own.yaml", "rules: [\n")
    assert bench("check").status == 1
    assert bench("due").status == 2


def test_a_question_about_another_instant_knows_all_that_is_known_now(bench: Bench) -> None:
    bench.log("charged", "B", "--at", "2026-04-05T10:00:00Z")

    assert asked(bench, "due", "--at", "2026-04-06T09:59:59Z")["open"] == []
    assert [entry["item"] for entry in asked(bench, "due", "--at", "2026-04-06T10:00:00Z")["open"]] == ["B"]
    assert asked(bench, "due", "--at", "2026-04-05")["at"] == "2026-04-06T00:00:00+01:00"
