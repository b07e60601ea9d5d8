"""A reminder that ends because something worse keeps its item from use is not settled: it gives way, and says so."""

import json

import pytest

from scheduler.base.instants import MAX_INSTANT
from scheduler.facts.catalogue import CATALOGUE
from scheduler.reminders.board import Board
from scheduler.reminders.superseded import superseded_by
from scheduler.verdicts.rule import Ruleset
from tests.homes import Bench
from tests.rules.library import rules
from tests.support import Entries, Fields, book_of, event, moment

SHIPPED = Ruleset(list(rules().values()), {}, CATALOGUE)
FLEET: dict[str, Entries] = {
    "aircraft": [{"id": "heron", "in_service": "2026-01-01"}],
    "packs": [{"id": "B", "fits": ["heron"], "in_service": "2026-01-01"}],
}
MISHAP = event("2026-04-02 10:00", "mishap", item="heron", severity="hard_landing", packs=["B"])
FAILED = event("2026-04-03 10:00", "inspected", item="heron", result="fail")
PASSED = event("2026-04-04 10:00", "inspected", item="heron", result="pass")
FULL = event("2026-03-30 10:00", "charged", item="B")
SWOLLEN = event("2026-04-02 12:00", "noticed", item="B", findings=["swollen"])
WET = event("2026-04-02 12:00", "mishap", item="heron", severity="water", packs=["B"])
DEEP = event("2026-04-02 12:00", "measured", item="B", cell_volts=[2.9, 3.4, 3.4, 3.4])
DOUBTFUL = event("2026-04-02 11:00", "inspected", item="B", result="doubtful", findings=["latch_worn"])


@pytest.mark.parametrize(
    ("entries", "over", "other"),
    [
        ([MISHAP, FAILED], "aircraft-after-mishap", "found-and-not-put-right"),
        ([MISHAP, PASSED], "aircraft-after-mishap", None),
        ([MISHAP, FAILED, PASSED], "found-and-not-put-right", None),
        ([FULL, MISHAP], "pack-left-full", "pack-after-crash"),
        ([FULL, SWOLLEN], "pack-left-full", "pack-swollen"),
        ([FULL, event("2026-04-02 10:00", "drained", item="B", percent=58)], "pack-left-full", None),
        ([FULL, event("2026-04-02 10:00", "retired", item="B")], "pack-left-full", None),
        ([MISHAP, SWOLLEN], "pack-after-crash", "pack-swollen"),
        ([MISHAP, WET], "pack-after-crash", "pack-wet"),
        ([MISHAP, DEEP], "pack-after-crash", "pack-too-deep"),
        ([DOUBTFUL, WET], "pack-found-unfit", "pack-wet"),
        ([DOUBTFUL, DEEP], "pack-latch-and-contacts", "pack-too-deep"),
        ([SWOLLEN, event("2026-04-02 13:00", "set_aside", item="B")], "pack-swollen", None),
    ],
)
def test_what_takes_the_place_of_what_is_not_settled(entries: list[Fields], over: str, other: str | None) -> None:
    """After a look that passed a test flight falls due, and yet the fault that it ends is settled."""
    board = Board(book_of(FLEET, *entries), SHIPPED)
    (reminder,) = [each for each in board.reminders if each.key.rule == over]

    found = superseded_by(reminder)

    assert (found.key.rule if found else None) == other


@pytest.mark.parametrize(("found", "rule"), [(SWOLLEN, "pack-swollen"), (WET, "pack-wet"), (DEEP, "pack-too-deep")])
def test_a_pack_that_no_look_makes_sound_is_told_nothing_else(found: Fields, rule: str) -> None:
    """Not to wait for a look, nor to be looked at, charged or drained; and so again where a look takes it back."""
    aside = event("2026-04-02 13:00", "set_aside", item="B")
    passed = event("2026-04-04 13:00", "inspected", item="B", result="pass")
    board = Board(book_of(FLEET, FULL, MISHAP, DOUBTFUL, found, aside, passed), SHIPPED)

    def told(at: str) -> list[str]:
        return [each.key.rule for each in board.open_at(moment(at)) if each.key.item == "B"]

    assert set(told("2026-04-02 11:30")) == {"pack-after-crash", "pack-found-unfit", "pack-latch-and-contacts"}
    assert told("2026-04-02 12:30") == [rule]
    assert told("2026-04-02 13:30") == []
    assert told("2026-04-04 13:30") == [rule]


def test_a_look_that_takes_a_pack_back_within_the_watch_brings_the_watch_back() -> None:
    aside = event("2026-04-02 11:00", "set_aside", item="B")
    passed = event("2026-04-02 12:00", "inspected", item="B", result="pass")
    board = Board(book_of(FLEET, MISHAP, aside, passed), SHIPPED)

    watched = [each.episode for each in board.reminders if each.key == ("pack-after-crash", "B")]

    intervals = [(moment("2026-04-02 10:00"), moment("2026-04-02 11:00")), (moment("2026-04-02 12:00"), MAX_INSTANT)]
    assert [(episode.opened, episode.ended) for episode in watched] == intervals


def test_the_answer_to_a_late_entry_tells_what_took_its_place_since(bench: Bench) -> None:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [aircraft]\n")
    bench.write("rules/own.yaml", "rules: []\n")
    bench.log("inspected", "heron", "fail", "--at", "2026-04-09T08:00:00Z")

    answered = bench.log("noticed", "heron", "noise", "--at", "2026-04-07T08:00:00Z")

    by = "by inspected heron, fail, Thu 9 Apr 08:00"
    assert f"Opened then and gave way to fault not put right (heron) since {by}: odd noise not looked into" in answered


def test_the_digest_tells_what_took_its_place(bench: Bench) -> None:
    bench.log("charged", "B", "--at", "2026-04-07T08:00:00Z")
    bench.log("noticed", "B", "swollen", "--at", "2026-04-09T08:00:00Z")

    said = bench("rehearse", "--from", "2026-04-06", "--to", "2026-04-14", "--messages").out

    assert "No longer open:\n- Pack left full: B: gave way to pack may be swollen Thu 9 Apr 09:00 by noticed (" in said


def test_a_rehearsal_and_an_audit_tell_what_took_its_place(bench: Bench) -> None:
    bench.log("charged", "A", "--at", "2026-04-05T08:00:00Z")
    bench.log("drained", "A", "58", "--at", "2026-04-07T08:00:00Z")
    bench.log("charged", "B", "--at", "2026-04-07T08:00:00Z")
    bench.log("noticed", "B", "swollen", "--at", "2026-04-09T08:00:00Z")
    episode = ("--from", "2026-04-05", "--to", "2026-04-09")

    said = bench("rehearse", *episode).out
    ends = [r["ending"] for r in json.loads(bench("rehearse", *episode, "--json").out)["reminders"]]
    audited = " ".join(bench("audit", *episode).out.split())

    assert "left-full A: settled Tue 7 Apr 09:00; rung 1x" in said
    assert "left-full B: gave way to pack may be swollen Thu 9 Apr 09:00; rung 1x" in said
    assert ends == ["settled", "gave way to pack may be swollen", ""]
    assert "3 reminders opened, 1 of them were settled, half of them within 24 h" in audited
    assert "Another on the same item took the place of 1." in audited
