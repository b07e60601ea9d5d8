"""Texts for people: entries to be typed, spans as they are said."""

import json
import re

import pytest

from scheduler.base.instants import DAY, HOUR, MINUTE
from scheduler.base.units import show_span, show_spans
from scheduler.facts.catalogue import CATALOGUE
from scheduler.reminders.message_text import entry
from tests.homes import SETTINGS, Bench
from tests.rules.library import rules

RECORDS = sorted({fact.record for fact in CATALOGUE.values() if fact.record})


@pytest.mark.parametrize("record", RECORDS)
def test_an_entry_that_lacks_a_reading_is_refused_as_it_is_printed(record: str, bench: Bench) -> None:
    """A made-up value pasted would be taken for a reading."""
    item = {"renewed": "certificate", "counted": "spare-props"}.get(record.split()[2], "A")

    answer = bench(*record.replace("{item}", item).split()[1:])

    assert answer.status == 2
    assert re.search(r"'(PERCENT|MAH|VOLTS|DATE|COUNT|RESULT|AIRCRAFT)' is not|knows no ", answer.err)
    assert bench.exported() == ""


def test_readings_are_not_shared_between_items() -> None:
    record = "shelfbell log measured {item} --capacity_mah MAH"

    assert entry(record, ["A"]) == "shelfbell log measured A --capacity_mah MAH"
    assert entry(record, ["A", "B", "C"]) == "shelfbell log measured A --capacity_mah MAH, and so for B and C"
    one_for_all = "shelfbell log mishap AIRCRAFT water PACK --instead_of ID"
    assert entry(one_for_all, ["A", "B"]) == one_for_all
    assert entry("shelfbell log drained {item} 58", ["A", "B"]) == "shelfbell log drained A,B 58"
    assert entry("shelfbell log cancelled {item}", ["A", "B"], each=True) == "shelfbell log cancelled A, and so for B"
    assert entry(one_for_all, ["A", "B"], each=True) == one_for_all


def test_jobs_not_logged_are_asked_about_in_one_sentence_and_cancelled_one_by_one(bench: Bench) -> None:
    bench.write("shelfbell.yaml", SETTINGS.replace("practice: []", "practice: [log]"))
    for job in ("harbour", "roof"):
        bench.log("booked", job, "2026-04-05T09:00:00Z", "--at", "2026-04-01T09:00:00Z")

    told = bench("due").out

    assert "Were harbour and roof flown?" in told
    assert told.count("I count no airtime for them") == 1
    assert "then: shelfbell log cancelled harbour, and so for roof\n" in told
    assert bench.log("cancelled", "harbour").startswith("Logged: cancelled harbour")


def test_an_item_named_in_capitals_is_no_reading() -> None:
    assert entry("shelfbell log set_aside {item}", ["PACK", "SPARE"]) == "shelfbell log set_aside PACK,SPARE"


def test_no_shipped_rule_guesses_a_reading_or_the_day_of_a_paper() -> None:
    entries = {name: rule.get("log_then", "") for name, rule in rules().items()}
    asking = {name: text for name, text in entries.items() if text.startswith(("renewed", "measured", "restocked"))}
    assert [name for name, text in asking.items() if not re.search(r" [A-Z]{4,}", text) and "MAH" not in text] == []


@pytest.mark.parametrize(
    ("span", "said"),
    [(0, "0 s"), (12_500_000, "under a minute"), (30_000_000, "30 s"), (60_000_000, "1 min")],
)
def test_a_span_below_a_minute_is_told_in_whole_seconds_or_not_at_all(span: int, said: str) -> None:
    assert show_span(span) == said


@pytest.mark.parametrize(
    ("shortest", "longest", "said"),
    [
        (52 * HOUR, 5 * DAY + 4 * HOUR, "2 to 5 d"),
        (40 * MINUTE, 10 * HOUR, "up to 10 h"),
        (25 * HOUR, 26 * HOUR, "25 to 26 h"),
        (5 * DAY, 5 * DAY + 4 * HOUR, "5 d"),
        (2 * MINUTE, 40 * MINUTE, "2 to 40 min"),
        (-4 * DAY, 5 * DAY, "-4 d to 5 d"),
    ],
)
def test_a_range_of_spans_is_told_in_one_unit(shortest: int, longest: int, said: str) -> None:
    assert show_spans(shortest, longest) == said


def test_packs_left_full_for_unlike_spans_are_told_in_one_unit_shortest_first(bench: Bench) -> None:
    bench.log("charged", "A", "--at", "2026-04-05T08:00:00Z")
    bench.log("charged", "B", "--at", "2026-04-08T08:00:00Z")

    assert "% for 2 to 5 d." in bench("due").out


def test_a_pack_below_its_damage_voltage_is_told_by_the_reading_that_found_it(bench: Bench) -> None:
    bench.watch_all()
    bench.log("measured", "A", "--rest_volts", "11.6", "--at", "2026-04-08T08:00:00Z")
    bench.log("measured", "A", "--rest_volts", "14.8", "--at", "2026-04-09T08:00:00Z")

    assert "at rest its lowest cell was at 2.90 V." in bench("due").out


def test_a_paper_that_has_lapsed_is_said_to_have(bench: Bench) -> None:
    bench.log("renewed", "certificate", "--expires", "2025-05-05")

    due = bench("due").out

    assert "Renew certificate: lapsed 339 d ago." in due
    assert "-339 d" not in due


def test_a_pack_under_watch_stays_outdoors_until_a_look_that_counts_and_from_when_is_told(bench: Bench) -> None:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs]\n")
    bench.write("rules/own.yaml", "rules: []\n")
    bench.log("mishap", "A", "dropped", "--at", "2026-04-02T12:00:00Z")
    bench.log("mishap", "B", "dropped", "--at", "2026-04-10T09:00:00Z")

    for pack, counts in (("A", "now"), ("B", "from Sat 11 Apr 09:00 on")):
        told = json.loads(bench("due", "--json").out)["open"]
        (do,) = [line["do"] for line in told if line["item"] == pack]
        assert do.endswith(f"until it passes a look; a look counts {counts}.")
        assert (
            f"shelfbell log inspected {pack} pass  # counts {counts}" in bench("explain", "pack-after-crash", pack).out
        )
    assert "then: shelfbell log inspected A,B pass  # counts now; from Sat 11 Apr 09:00 on" in bench("due").out


def test_a_full_pack_out_of_use_is_named_before_an_absence_until_it_is_handed_in(bench: Bench) -> None:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs, log]\n")
    bench.write("rules/own.yaml", "rules: []\n")
    bench.log("charged", "A,B")
    bench.log("mishap", "A", "dropped")
    bench.log("away", "sun 09:00", "tue 09:00")

    words = "full or low: {}B (100 %). While you are away"
    damaged = "A (100 %, out of use: leave it so, outdoors or by an outer wall), "
    assert words.format(damaged) in bench("due", "--at", "sat 19:00").out
    bench.log("handed_in", "A")
    assert words.format("") in bench("due", "--at", "sat 19:00").out


def test_what_opened_this_instant_was_just_now(bench: Bench) -> None:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs]\n")
    bench.write("rules/own.yaml", "rules: []\n")

    assert "it took a knock just now" in bench.log("mishap", "A", "dropped")
