"""`log`: fields by name and by position, several items at once, all or nothing; what it answers."""

import json
from typing import Any

import pytest

from tests.homes import FLEET, Bench
from tests.support import event

MORE = FLEET.replace(
    "propellers:",
    """\
  - {id: pack-8, fits: [heron], in_service: 2026-01-01}
  - {id: pack-9, fits: [heron], in_service: 2026-01-01}
  - {id: pack-10, fits: [heron], in_service: 2026-01-01}
  - {id: A-C, fits: [heron], in_service: 2026-01-01}
  - {id: "01", fits: [heron], in_service: 2026-01-01}
  - {id: "02", fits: [heron], in_service: 2026-01-01}
propellers:""",
)
"""The fleet with packs whose names end in numbers, and one whose name looks like a range."""


def events(bench: Bench) -> list[dict[str, Any]]:
    """The whole log, without what the store adds."""
    lines = [json.loads(line) for line in bench.exported().splitlines()]
    return [{k: v for k, v in line.items() if k not in ("at", "recorded_at", "id")} for line in lines]


TYPED: dict[str, tuple[str, dict[str, object]]] = {
    "one field by position": ("charged A 95", {"what": "charged", "item": "A", "percent": 95}),
    "the same by name": ("charged A --percent 95", {"what": "charged", "item": "A", "percent": 95}),
    "the same with an equals sign": ("charged A --percent=95", {"what": "charged", "item": "A", "percent": 95}),
    "the same with its sign": ("charged A 95%", {"what": "charged", "item": "A", "percent": 95}),
    "the item by name": ("charged --item A", {"what": "charged", "item": "A"}),
    "what is left goes to what is free": (
        "drained --percent 58 A", {"what": "drained", "item": "A", "percent": 58},
    ),
    "several by position": (
        "flown heron B 17.5 31",
        {"what": "flown", "aircraft": "heron", "packs": ["B"], "minutes": 17.5, "percent_to": 31},
    ),
    "dashes for underscores": (
        "flown heron B 17.5 --percent-from 100",
        {"what": "flown", "aircraft": "heron", "packs": ["B"], "minutes": 17.5, "percent_from": 100},
    ),
    "a list of packs that flew together": (
        "flown heron A,C 5", {"what": "flown", "aircraft": "heron", "packs": ["A", "C"], "minutes": 5},
    ),
    "a range of packs that flew together": (
        "flown heron A-B,C 5", {"what": "flown", "aircraft": "heron", "packs": ["A", "B", "C"], "minutes": 5},
    ),
    "findings by comma": (
        "noticed A swollen,hot", {"what": "noticed", "item": "A", "findings": ["swollen", "hot"]},
    ),
    "cell voltages by comma": (
        "measured A --cell_volts 3.81,3.81,3.8,3.79",
        {"what": "measured", "item": "A", "cell_volts": [3.81, 3.81, 3.8, 3.79]},
    ),
    "yes and no": (
        "flown heron A 5 --looked_before yes",
        {"what": "flown", "aircraft": "heron", "packs": ["A"], "minutes": 5, "looked_before": True},
    ),
    "a note": ("charged A --note", {"what": "charged", "item": "A", "note": "in the garage"}),
    "a time within": (
        "booked vineyard 2026-04-20T10:00:00+01:00",
        {"what": "booked", "job": "vineyard", "starts": "2026-04-20T10:00:00+01:00"},
    ),
    "a day in words": (
        "renewed certificate --issued today", {"what": "renewed", "item": "certificate", "issued": "2026-04-10"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("told", TYPED)
def test_fields_by_position_and_by_name(told: str, bench: Bench) -> None:
    words, expected = TYPED[told]

    bench.log(*words.split(), *(["in the garage"] if words.endswith("--note") else []))

    assert events(bench) == [expected | {"via": "log"}]


SEVERAL: dict[str, tuple[str, list[str]]] = {
    "a list": ("A,C", ["A", "C"]),
    "a range of letters": ("A-B", ["A", "B"]),
    "an exact id wins over a range": ("A-C", ["A-C"]),
    "a range of numbers": ("pack-8-pack-10", ["pack-8", "pack-9", "pack-10"]),
    "numbers written with noughts": ("01-02", ["01", "02"]),
    "a range and a list": ("A-B,pack-9", ["A", "B", "pack-9"]),
    "named twice, taken once": ("A,A-B", ["A", "B"]),
}


@pytest.mark.parametrize("told", SEVERAL)
def test_several_items_at_once(told: str, bench: Bench) -> None:
    words, expected = SEVERAL[told]
    bench.write("fleet.yaml", MORE)

    bench.log("charged", words)

    assert [event["item"] for event in events(bench)] == expected


@pytest.mark.parametrize("words", ["A,Z", "A-D", "B-A", "A-pack-9", "A-", "-A", "pack-8-pack-11", "A,", ",A"])
def test_of_several_items_all_are_taken_or_none(words: str, bench: Bench) -> None:
    bench.write("fleet.yaml", MORE)

    answer = bench("log", "charged", words)

    assert answer.status == 2
    assert answer.err.count("\n") == 1
    assert events(bench) == []


def test_several_items_with_one_id_are_refused(bench: Bench) -> None:
    """Each event has an id of its own: one for several is a slip."""
    answer = bench("log", "charged", "A,B", "--id", "one")

    assert answer.status == 2
    assert events(bench) == []


def test_a_comment_that_the_shell_handed_on_is_passed_over(bench: Bench) -> None:
    words = ("log", "charged", "B", "60", "#", "counts", "from", "Thu", "on")

    assert bench(*words).out.startswith("Logged: charged B to 60 %")


def test_the_same_entry_under_its_id_is_taken_once(bench: Bench) -> None:
    first = bench.log("charged", "A", "--id", "one", "--at", "2026-04-10T09:00:00Z")
    assert first.startswith("Logged: charged A")

    assert bench.log("charged", "A", "--id", "one", "--at", "2026-04-10T09:00:00Z") == "Already logged.\n"
    assert bench("log", "charged", "B", "--id", "one", "--at", "2026-04-10T09:00:00Z").status == 2
    assert len(events(bench)) == 1


def test_a_correction_takes_the_place_of_what_it_corrects(bench: Bench) -> None:
    bench.log("charged", "A", "10", "--id", "slip", "--at", "2026-04-10T09:00:00Z")
    answered = bench.log("charged", "A", "100", "--instead_of", "slip", "--id", "right", "--at", "2026-04-10T09:00:00Z")
    again = bench("log", "charged", "A", "90", "--instead_of", "slip")

    assert "Next for A: I would ring Sat 11 Apr 10:00" in answered
    assert (again.status, again.err) == (2, "event slip was replaced already, by right: use that id\n")


def test_a_correction_may_be_of_another_item(bench: Bench) -> None:
    bench.log("charged", "B", "--id", "slip", "--at", "2026-04-10T09:00:00Z")
    bench.log("charged", "A", "--instead_of", "slip")

    assert json.loads(bench("pack", "A", "--json").out)["charge"]["percent"] == pytest.approx(100, abs=0.1)
    assert json.loads(bench("pack", "B", "--json").out)["charge"]["percent"] is None


OTHER_KINDS: dict[str, tuple[list[str], str, str]] = {
    "a mishap in the place of a charge": (
        ["charged B 95 --id slip --at 2026-04-10T09:00:00Z"],
        "mishap heron strike",
        "slip is of another kind: charged B to 95 % (Fri 10 Apr 10:00). `shelfbell history` shows the ids. "
        "If it is to go: `shelfbell log struck slip`, then log mishap without --instead_of (--at gives its time)\n",
    ),
    "a reading in the place of a charge of the same pack": (
        ["charged B 95 --id slip --at 2026-04-10T09:00:00Z"],
        "measured B 60",
        "slip is of another kind: charged B to 95 % (Fri 10 Apr 10:00). ",
    ),
    "a flight in the place of a snooze": (
        ["noticed A swollen", "snoozed A swollen --id slip"],
        "flown heron B 17",
        "slip is of another kind: snoozed A, swollen (Fri 10 Apr 13:00). ",
    ),
    "a charge in the place of a strike": (
        ["charged A --id one", "struck one --id slip"],
        "charged A",
        "slip is of another kind: struck one (Fri 10 Apr 13:00). `shelfbell history` shows the ids. "
        "A strike is for all time: log charged without --instead_of (--at gives its time)\n",
    ),
}  # fmt: skip


@pytest.mark.parametrize("told", OTHER_KINDS)
def test_an_entry_of_another_kind_is_not_replaced(told: str, bench: Bench) -> None:
    before, words, expected = OTHER_KINDS[told]
    for entry in before:
        bench.log(*entry.split())
    held = bench.exported()

    answer = bench("log", *words.split(), "--instead_of", "slip")

    assert answer.err.startswith(expected)
    assert (answer.status, answer.out) == (2, "")
    assert bench.exported() == held


def test_a_log_in_which_another_kind_took_the_place_is_taken_in_as_it_was_exported(bench: Bench) -> None:
    """Earlier programs took such lines, and what was logged stands."""
    slip = event("2026-04-08", "charged", item="B", id="slip", recorded_at="2026-04-08 10:00")
    right = event("2026-04-08", "measured", item="B", percent=60, id="right", instead_of="slip")
    lines = [json.dumps(fields) for fields in (slip, right | {"recorded_at": "2026-04-09T10:00:00Z"})]
    (bench.path / "exported.jsonl").write_text("\n".join(lines), encoding="utf-8")

    assert bench("intake", str(bench.path / "exported.jsonl")).out == "2 events taken in.\n"
    assert bench.exported().splitlines() == lines


def test_what_is_struck_counts_no_more_and_logged_again_it_does(bench: Bench) -> None:
    bench.log("noticed", "A", "swollen", "--id", "slip")
    assert "Withdrawn: pack may be swollen (A)." in bench.log("struck", "slip")
    assert "Open: Take pack A out of use." in bench.log("noticed", "A", "swollen")


ANSWERS: dict[str, tuple[list[str], str, list[str]]] = {
    "when it will ring, with the caution": (
        [],
        "charged B",
        [
            "Logged: charged B (Fri 10 Apr 13:00).",
            "Next for B: I would ring Sat 11 Apr 13:00 unless something is logged before: pack left full.",
            "  Caution: Drain attended, away from anything that burns.",
        ],
    ),
    "what it opened": (
        [],
        "noticed B swollen",
        [
            "Logged: noticed B, swollen (Fri 10 Apr 13:00).",
            "Open: Take pack B out of use.",
            "  Then: shelfbell log set_aside B",
            "  I would ring at once.",
            "Next for B: I would ring Fri 1 May 07:00 unless something is logged before: pack not looked at for long.",
        ],
    ),
    "what it settled": (
        ["noticed B swollen"],
        "set_aside B",
        [
            "Logged: set_aside B (Fri 10 Apr 13:00).",
            "Settled: pack may be swollen (B).",
            "Next for B: I would ring Fri 1 May 07:00 unless something is logged before: pack not looked at for long.",
        ],
    ),
    "what takes the place of another": (
        ["charged B --at 2026-04-08T08:00:00Z"],
        "noticed B swollen",
        [
            "Logged: noticed B, swollen (Fri 10 Apr 13:00).",
            "Open: Take pack B out of use.",
            "  Then: shelfbell log set_aside B",
            "  I would ring at once.",
            "Gave way to pack may be swollen: pack left full (B).",
        ],
    ),
    "a late entry opens at once": (
        [],
        "charged B --at 2026-04-08T08:00:00Z",
        [
            "Logged: charged B (Wed 8 Apr 09:00).",
            "Open: Drain pack B: 100 % for 52 h.",
            "  Caution: Drain attended, away from anything that burns.",
            "  Then: shelfbell log drained B 58",
            "  I would ring at once.",
            "Next for B: I would ring Fri 7 Aug 07:00 unless something is logged before: pack not looked at for long.",
        ],
    ),
    "of many, one sentence": (
        [],
        "charged A-C --at 2026-04-08T08:00:00Z",
        [
            "Logged: charged A, B and C (Wed 8 Apr 09:00).",
            "Open: Drain packs A, B and C: 100 % for 52 h.",
            "  Caution: Drain attended, away from anything that burns.",
            "  Then: shelfbell log drained A,B,C 58",
            "  I would ring at once.",
            "Next for A, B and C: I would ring Fri 7 Aug 07:00 unless something is logged before: "
            "pack not looked at for long.",
        ],
    ),
    "a job that needs it postpones the bell": (
        ["charged B"],
        "booked vineyard 2026-04-11T10:00:00Z --ends 2026-04-11T12:00:00Z",
        [
            "Logged: booked vineyard, Sat 11 Apr 11:00 to 13:00 (Fri 10 Apr 13:00).",
            "Next for B: I would ring Sat 11 Apr 13:00 unless something is logged before: pack left full.",
            "  Caution: Drain attended, away from anything that burns.",
        ],
    ),
    "nothing to do": (
        [],
        "moved heron-props driven",
        [
            "Logged: moved heron-props, driven (Fri 10 Apr 13:00).",
            "Nothing to do; no date ahead for heron-props.",
        ],
    ),
    "a part's look is due by a flight of its aircraft": (
        [],
        "flown heron B 301 60 --flights 20",
        [
            "Logged: flown heron with B, 301 min, down to 60 %, 20 flights (Fri 10 Apr 13:00).",
            "Open: Look over heron-props: 5 h 1 min in the air since the last look.",
            "  Then: shelfbell log inspected heron-props pass",
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("told", ANSWERS)
def test_it_answers(told: str, bench: Bench) -> None:
    before, words, expected = ANSWERS[told]
    for line in before:
        bench.log(*line.split())

    assert bench.log(*words.split()).splitlines()[: len(expected)] == expected


def test_times_as_typed_are_kept_with_the_offset_of_the_operator(bench: Bench) -> None:
    bench.log("charged", "A", "--at", "yesterday 21:00")
    bench.log("charged", "B", "--at", "-2h")
    bench.log("charged", "C", "--at", "2026-04-01")

    told = [json.loads(line)["at"] for line in bench.exported().splitlines()]
    assert told == ["2026-04-09T21:00:00+01:00", "2026-04-10T11:00:00+01:00", "2026-04-01T12:00:00+01:00"]


def test_seen_and_snooze_bind_to_what_is_open(bench: Bench) -> None:
    bench.log("noticed", "B", "swollen")

    seen = bench("seen", "swollen", "B")
    snoozed = bench("snooze", "swollen", "B", "--until", "tomorrow 09:00")

    assert (seen.status, snoozed.status) == (0, 0)
    assert "swollen B: no repeats, unless it becomes more urgent." in seen.out
    assert "swollen B: quiet until Sat 11 Apr 09:00, unless it becomes more urgent." in snoozed.out
    assert events(bench)[1:] == [
        {"what": "seen", "item": "B", "rule": "swollen", "via": "log"},
        {"what": "snoozed", "item": "B", "rule": "swollen", "until": "2026-04-11T09:00:00+01:00", "via": "log"},
    ]
    assert bench("snooze", "swollen", "B", "--until", "-1h").status == 2


@pytest.mark.parametrize(
    ("words", "days"),
    [("booked harbour sat", '"sat"'), ("away fri mon", '"fri" and "mon"'), ("charged A --at yesterday", '"yesterday"')],
)
def test_a_day_without_a_time_is_said_to_be_taken_as_noon(words: str, days: str, bench: Bench) -> None:
    told = bench.log(*words.split())

    (entry,) = map(json.loads, bench.exported().splitlines())
    assert f"No time given with {days}: noon is taken." in told
    assert f"--instead_of {entry['id']}" in told


def test_of_a_time_that_was_given_nothing_is_said(bench: Bench) -> None:
    assert "No time given" not in bench.log("booked", "harbour", "sat 09:00")
    assert "No time given" not in bench.log("renewed", "certificate", "--issued", "today")
