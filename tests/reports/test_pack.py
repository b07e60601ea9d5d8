"""The page on a pack: its words for the demo operator's packs, its data, its picture. The words lie in golden/."""

import json
import re
import struct
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.base.instants import DAY, rfc3339
from scheduler.cells.ageing import StorageSpell, as_storage_days
from scheduler.cells.estimate import Estimate
from scheduler.events.event import Event
from scheduler.facts.event_cache import Clocks
from scheduler.facts.fact_store import FactStore
from scheduler.fleet.fleet import Fleet
from scheduler.reports.charge_history import EDGES, NAMES, ChargeSpan, band_times, full_storage_cost, moves
from scheduler.reports.chart import Point, bar, chart
from scheduler.reports.pack_report import report_on_pack
from scheduler.reports.pack_text import money, ranged
from tests.homes import Answer, Bench, golden
from tests.support import MemoryLog, event, moment

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
AT = "2026-11-01T12:00:00Z"


@pytest.fixture
def season(bench: Bench) -> Bench:
    """The demo operator's fleet and season under the small home's rules, so that shipped rules may change."""
    bench.write("fleet.yaml", (EXAMPLES / "home" / "fleet.yaml").read_text(encoding="utf-8"))
    bench.set_clock("2026-11-01 12:00")
    assert bench("intake", str(EXAMPLES / "season.jsonl")).status == 0
    return bench


def data(answer: Answer) -> dict[str, Any]:
    assert (answer.status, answer.err) == (0, "")
    found = json.loads(answer.out)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize("pack", ["B", "C", "D", "E", "F"])
def test_the_page_of_a_demo_pack(pack: str, season: Bench) -> None:
    """B is the usual one, C swelled, D is weak, E has much use on record, F empties itself."""
    answer = season("pack", pack, "--at", AT)
    golden(Path(__file__).parent / "golden" / f"pack-{pack}.txt", answer.out)
    assert (answer.status, answer.err) == (0, "")
    assert max(map(len, answer.out.splitlines())) <= 80


def test_the_page_of_a_new_pack_says_what_to_record(bench: Bench) -> None:
    answer = bench("pack", "A", "--at", AT)
    golden(Path(__file__).parent / "golden" / "pack-new.txt", answer.out)
    assert (answer.status, answer.err) == (0, "")


def test_the_data_agree_with_the_facts(season: Bench) -> None:
    page = data(season("pack", "D", "--at", AT, "--json"))
    assert page["pack"] == "D" and page["usable"] == "yes"
    assert page["health"]["percent"] == pytest.approx(page["health"]["estimate"]["value"])
    assert sum(each["share"] for each in page["bands"]) == pytest.approx(1)
    assert page["cost"]["per_flight"] == pytest.approx(139 / page["wear"]["flights"])
    assert [each["test"] for each in page["health"]["readings"]][-2:] == [True, True]
    assert page["watt_hours"] == pytest.approx(5.2 * 4 * 3.7)


def test_what_happened_later_does_not_enter(season: Bench) -> None:
    """Before its first capacity test D was judged by its flights alone, and E had no flight on 1 March."""
    page = data(season("pack", "D", "--at", "2026-09-01T00:00:00Z", "--json"))
    assert not any(each["test"] for each in page["health"]["readings"])
    assert page["health"]["estimate"]["basis"] == "middle of the last 9 flights"
    assert data(season("pack", "E", "--at", "2026-03-02T00:00:00Z", "--json"))["endurance"] == []


def test_a_page_of_a_pack_without_a_price_or_history_is_whole(bench: Bench) -> None:
    page = data(bench("pack", "A", "--at", AT, "--json"))
    assert page["charge"]["percent"] is None and page["health"]["percent"] is None
    assert page["cost"] is None and page["sitting_full"] is None


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["a"], "there is no pack 'a', did you mean 'A'? There is A, B, C"),
        (["heron"], "heron is no pack; there is A, B, C"),
        (["A", "--json", "--html", "a.html"], "--json prints for programs and writes no file"),
        (["A", "--picture", "a.gif"], "a.gif: I can draw .png or .svg only"),
        ([], "the following arguments are required: PACK"),
    ],
)
def test_what_is_asked_wrongly_is_told_in_a_line(words: list[str], told: str, bench: Bench) -> None:
    answer = bench("pack", *words)
    assert (answer.status, answer.out) == (2, "")
    assert told in answer.err and answer.err.count("\n") == 1


def test_a_charge_told_by_a_resting_voltage_comes_with_a_range(bench: Bench) -> None:
    """3.80 V a cell: 52 % on the curve of Ai et al. 2020, 43 to 60 % on the other published ones."""
    bench.log("measured", "A", "--rest_volts", "15.2")
    charge = data(bench("pack", "A", "--json"))["charge"]
    assert charge["told_by"] == "voltage"
    assert [charge[name] for name in ("low", "percent", "high")] == pytest.approx([43.3, 51.9, 60.4], abs=0.1)
    assert "(estimate," in bench("pack", "A").out


def test_a_single_day_is_one(bench: Bench) -> None:
    bench.log("charged", "A", "--at", "2026-04-09T08:00:00Z")

    told = bench("pack", "A").out

    assert "It has been above 85 % for 1 of 1 day: " in told
    assert "1 day above 85 % against" in told
    assert "1 days" not in told
    assert ranged(Estimate(1.2, 0.6, 3.1, ""), "days", one="day") == "1 day (1 to 3)"


def test_money_is_in_cents_where_all_of_it_is_below_one() -> None:
    assert money(Estimate(0.063, 0.0, 0.35, ""), "EUR") == "6 cents (0 to 35)"
    assert money(Estimate(0.88, 0.0, 4.9, ""), "EUR") == "0.88 EUR (0 to 4.9)"
    assert money(Estimate(0.063, 0.0, 0.35, ""), "JPY") == "0.063 JPY (0 to 0.35)"


def test_a_pack_that_was_only_charged_was_never_flown(bench: Bench) -> None:
    bench.log("charged", "A", "--at", "2026-04-09T08:00:00Z")
    bench.log("drained", "A", "30")

    assert "; never flown; " in " ".join(bench("pack", "A").out.split())


def test_a_pack_that_is_gone_says_since_when(bench: Bench) -> None:
    bench("log", "handed_in", "A", "--at", "-2d")
    bench("log", "retired", "A", "--at", "-1d")
    assert bench("pack", "A").out.splitlines()[2] == (
        "Fri 10 Apr 13:00; handed in Wed 8 Apr 13:00; retired Thu 9 Apr 13:00"
    )
    assert bench("pack", "A", "--at", "-36h").out.splitlines()[2].endswith("; handed in Wed 8 Apr 13:00")


def test_cycles_are_told_alike_wherever_they_stand(bench: Bench) -> None:
    for day in range(1, 6):
        bench.log("flown", "heron", "A", "9", "50", "--percent_from", "100", "--at", f"2026-04-0{day}T09:00:00Z")

    told = bench("pack", "A").out

    assert "On record: 2.5 equivalent full cycles in 5 flights" in told
    assert told.count("2.5 equivalent full cycles") == 2


def test_lights_tell_the_charge_to_half_a_light(bench: Bench) -> None:
    bench.log("measured", "A", "--lights", "3 of 4")
    charge = data(bench("pack", "A", "--json"))["charge"]
    assert [charge[name] for name in ("low", "percent", "high")] == [50, 62.5, 75]


def test_a_pack_that_loses_faster_than_its_nameplate_says_so(bench: Bench) -> None:
    """Twelve weekly readings at rest of a pack that loses 9 % in 30 d, its nameplate saying 3."""
    start = moment("2026-01-10 12:00")
    for week in range(12):
        bench.log("measured", "A", "--percent", f"{90 - 2.1 * week:.1f}", "--at", rfc3339(start + 7 * week * DAY))
    own = data(bench("pack", "A", "--json"))["self_discharge"]
    assert own["nameplate"] == 3
    assert own["own"]["low"] > 3 and own["own"]["value"] == pytest.approx(9, abs=0.1)
    assert "write self_discharge: 9.0 %" in " ".join(bench("pack", "A").out.split())


def test_few_capacities_are_listed_and_three_are_drawn(bench: Bench) -> None:
    seen = []
    for day in range(1, 4):
        bench.log("measured", "A", "--capacity_mah", str(4900 - day), "--at", f"2026-03-0{day}T10:00:00Z")
        seen.append(bench("pack", "A").out)
    assert [("capacity test\n" in page, "# capacity test" in page) for page in seen] == [(1, 0), (1, 0), (0, 1)]


def test_of_other_packs_only_those_that_flew_the_same_aircraft_are_read() -> None:
    asked: set[str] = set()

    class Noting(MemoryLog):
        def of(self, name: str, what: str | None = None) -> list[Event]:
            asked.add(name)
            return super().of(name, what)

    flights = [("heron", pack, minutes) for pack, minutes in [("A", 14), ("B", 17), ("C", 18), ("D", 16)]]
    entries = [
        event(f"2026-04-0{day} {hour + 10}:{minute}", what, **fields)
        for day in (1, 2, 3)
        for hour, (aircraft, pack, minutes) in enumerate([*flights, ("wagtail", "E", 9)])
        for minute, what, fields in [
            ("00", "charged", {"item": pack}),
            ("30", "flown", {"aircraft": aircraft, "packs": [pack], "minutes": minutes, "percent_to": 30}),
        ]
    ]
    packs = [{"id": pack, "chemistry": "lipo", "cells": 4, "capacity": "5000 mAh"} for pack in "ABCDE"]
    fleet = Fleet({"aircraft": [{"id": "heron"}, {"id": "wagtail"}], "packs": packs})
    store = FactStore(fleet, Noting(entries), Clocks(ZoneInfo("UTC")))

    (found,) = report_on_pack(store, fleet["A"], moment("2026-04-05")).endurance

    assert found.sisters is not None
    assert found.sisters.value == pytest.approx(14 / 17)
    assert {"A", "B", "C", "D"} <= asked
    assert "E" not in asked


def test_a_picture_is_a_real_png(season: Bench, tmp_path: Path) -> None:
    """Signature, size and end as the PNG specification (W3C, third edition) has them."""
    path = tmp_path / "B.png"
    assert season("pack", "B", "--at", AT, "--picture", str(path)).status == 0
    written = path.read_bytes()
    assert written.startswith(b"\x89PNG\r\n\x1a\n") and written.endswith(b"IEND\xaeB`\x82")
    assert struct.unpack(">II", written[16:24]) == (1020, 574)
    assert len(written) > 20_000


@pytest.mark.parametrize("pack", ["A", "B"])
def test_a_picture_can_be_svg_and_of_a_pack_without_history(pack: str, bench: Bench, tmp_path: Path) -> None:
    path = tmp_path / "pack.svg"
    assert bench("pack", pack, "--picture", str(path)).status == 0
    assert ElementTree.parse(path).getroot().tag.endswith("svg")


def test_without_the_drawing_library_a_line_says_what_to_install(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    answer = bench("pack", "A", "--picture", str(tmp_path / "A.png"))
    assert (answer.status, answer.out) == (2, "")
    assert answer.err == (
        "pictures are drawn with matplotlib, which is not installed: pip install 'shelfbell[pictures]'\n"
    )
    assert bench("pack", "A").status == 0


def test_the_page_can_be_html_and_markdown(season: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page has the drawing, or its chart in characters without the library that draws."""
    page, text = tmp_path / "D.html", tmp_path / "D.md"
    answer = season("pack", "D", "--at", AT, "--html", str(page), "--markdown", str(text))
    assert (answer.status, answer.out) == (0, f"Written: {text}\nWritten: {page}\n")
    assert "## Endurance" in text.read_text() and "     80 % |-----" in text.read_text()
    assert "<svg" in page.read_text() and "<pre>" not in page.read_text()

    monkeypatch.setitem(sys.modules, "matplotlib", None)
    season("pack", "D", "--at", AT, "--html", str(page))

    assert "<svg" not in page.read_text() and "# capacity test" in page.read_text()


percents = st.floats(0, 100)
histories = st.lists(
    st.tuples(st.integers(1, 10 * DAY), st.one_of(st.none(), st.tuples(percents, percents))), min_size=1, max_size=20
)


def history_of(steps: list[tuple[int, tuple[float, float] | None]]) -> list[ChargeSpan]:
    spans, at = [], 0
    for length, ends in steps:
        spans.append(ChargeSpan(at, at + length, *(ends or (None, None))))
        at += length
    return spans


@given(histories)
def test_the_bands_share_out_all_the_time(steps: list[tuple[int, tuple[float, float] | None]]) -> None:
    history = history_of(steps)
    found = band_times(history)
    assert sum(band.time for band in found) == pytest.approx(history[-1].end, abs=len(EDGES))
    for band, low, high in zip(found, EDGES, EDGES[1:], strict=False):
        assert band.mean is None or low - 1e-6 <= band.mean <= high + 1e-6


@given(st.tuples(percents, percents))
def test_a_straight_fall_spends_in_each_band_what_it_crosses_of_it(ends: tuple[float, float]) -> None:
    """Against counting a thousand instants."""
    steps = [ends[0] + (ends[1] - ends[0]) * (i + 0.5) / 1000 for i in range(1000)]
    for band, low, high in zip(band_times([ChargeSpan(0, 1000 * DAY, *ends)]), EDGES, EDGES[1:], strict=False):
        counted = sum(low < step <= high or step == low == 0 for step in steps)
        assert band.time / DAY == pytest.approx(counted, abs=2)


def test_an_edge_counts_below_and_empty_counts_too() -> None:
    found = band_times(
        [ChargeSpan(0, DAY, 85.0, 85.0), ChargeSpan(DAY, 3 * DAY, 0.0, 0.0), ChargeSpan(3 * DAY, 6 * DAY, 100.0, 100.0)]
    )
    assert {band.name: band.time // DAY for band in found if band.time} == {
        "below 20 %": 2, "70 to 85 %": 1, "above 85 %": 3,
    }  # fmt: skip


def test_moves_leave_out_what_stands_still() -> None:
    history = [
        ChargeSpan(0, 1, 100.0, 100.0),
        ChargeSpan(1, 2, 100.0, 30.0),
        ChargeSpan(2, 3, None, None),
        ChargeSpan(3, 4, 58.0, 58.0),
    ]
    assert moves(history) == [100, 30, 58]


def test_sitting_full_is_counted_at_the_mean_of_the_band() -> None:
    found = full_storage_cost(
        band_times([ChargeSpan(0, 6 * DAY, 100.0, 100.0), ChargeSpan(6 * DAY, 9 * DAY, 55.0, 55.0)]), "lipo", 25
    )
    assert found is not None and found.days == 6
    assert found.as_storage_days == as_storage_days(StorageSpell(6, 4.2, 25), 3.8122)
    assert found.capacity_lost.low == 0 < found.capacity_lost.value < found.capacity_lost.high


@pytest.mark.parametrize("top", [None, 84.0])
def test_a_pack_that_never_sat_full_has_no_such_cost(top: float | None) -> None:
    assert full_storage_cost(band_times([ChargeSpan(0, DAY, top, top)]), "lipo", 25) is None


readings = st.builds(Point, st.floats(0, 1000), st.floats(0, 300), st.sampled_from("o#"))


@given(st.lists(readings, min_size=1, max_size=50))
def test_a_chart_holds_every_row_in_eighty_columns(found: list[Point]) -> None:
    rows = chart(found, 80, lambda x: 100 - x / 100)
    assert max(map(len, rows)) <= 77 and len(rows) <= 15
    assert any(re.search(r"^  80 % \|.*-", row) for row in rows)
    assert rows[0].split()[0].isdigit()
    assert any(mark in "".join(rows) for mark in "o#^v")


def test_a_reading_off_the_scale_stands_at_the_edge() -> None:
    rows = chart([Point(0, 20, "o"), Point(5, 90, "o"), Point(9, 300, "o")], 80)
    assert rows[0].startswith(" 120 % |") and rows[0].endswith("^") and rows[-1] == "  50 % |v"


def test_a_bar_shows_what_is_there() -> None:
    assert [bar(0), bar(0.004), bar(0.006), bar(0.5), bar(1)] == ["", "", "#", "#" * 15, "#" * 30]


def test_every_band_has_a_name_and_an_end() -> None:
    assert len(NAMES) == len(EDGES) - 1
