"""The outlook: by the calendar, by use with ranges, and as a calendar file read back by another library (vobject).

The dates by use are checked against sums done by hand; the range against the quantiles of a simulation.
"""

import json
import random
from datetime import date, timedelta
from itertools import product
from math import sqrt
from pathlib import Path
from statistics import NormalDist

import pytest
import vobject

from scheduler.base.instants import DAY, HOUR, MINUTE, WEEK
from scheduler.events.source import Source
from scheduler.reminders.outlook import WEEKS, SupposedFlights, Use, Z, reaches, supposed_flights
from tests.homes import RULES, Bench, golden
from tests.support import Fields, MemoryLog, event, moment, rfc

NOW = moment("2026-04-10 12:00")
GOLDEN = Path(__file__).parent / "golden"
RFC5545_LINE = 75
"""RFC 5545 section 3.1: no line longer than 75 octets, its end apart; lines end with CR LF."""


def weekly_flights(weeks: int, minutes: list[float]) -> list[Fields]:
    """A flight a week up to two days ago, of these minutes in turn."""
    found = []
    for week in range(weeks):
        at = rfc_of(NOW - 2 * DAY - week * WEEK)
        found.append({
            "at": at, "what": "flown", "aircraft": "heron", "packs": ["A"], "minutes": minutes[week % len(minutes)],
            "percent_from": 100, "percent_to": 40, "id": f"f{week}",
        })  # fmt: skip
    return found


def rfc_of(instant: int) -> str:
    from scheduler.base.instants import rfc3339

    return rfc3339(instant)


def take_in(bench: Bench, *entries: Fields) -> None:
    path = bench.path / "entries.jsonl"
    path.write_text(
        "\n".join(json.dumps({"recorded_at": fields["at"]} | fields) for fields in entries), encoding="utf-8"
    )
    answer = bench("intake", str(path))
    assert answer.status == 0, answer.err


@pytest.fixture
def flying(bench: Bench) -> Bench:
    """The small home, a pilot's thirteen weeks of flying, a look at the propellers, a paper that runs out."""
    take_in(
        bench,
        *weekly_flights(WEEKS, [40, 60, 80]),
        event("2026-03-12 12:00", "inspected", item="heron-props", result="pass", id="look"),
        event("2026-03-01 12:00", "renewed", item="certificate", expires="2026-06-30", id="paper"),
        event("2026-04-09 12:00", "measured", item="B", percent=60, id="read"),
    )
    return bench


def due(bench: Bench, *words: str) -> dict[tuple[str, str], dict]:
    """What is due, by rule and item."""
    found = json.loads(bench("outlook", "--json", *words).out)["due"]
    return {(one["rule"], one["item"]): one for one in found}


def test_the_words(flying: Bench) -> None:
    golden(GOLDEN / "outlook.txt", flying("outlook").out)


def test_the_words_where_nothing_is_logged(bench: Bench) -> None:
    golden(GOLDEN / "outlook-empty.txt", bench("outlook").out)


def test_by_the_calendar_it_is_what_a_rehearsal_of_that_time_opens(flying: Bench) -> None:
    """One computation: the plain part is the rehearsal of the same days."""
    rehearsed = json.loads(flying("rehearse", "--from", "now", "--to", "+90d", "--json").out)["reminders"]
    opened = {(r["rule"], r["item"], r["opened_at"]) for r in rehearsed if r["opened_at"] > rfc("2026-04-10 13:00")}

    found = json.loads(flying("outlook", "--json").out)["due"]

    assert {(d["rule"], d["item"], d["at"]) for d in found if d["by"] == "calendar"} <= opened
    assert {(rule, item) for rule, item, _ in opened} <= {(d["rule"], d["item"]) for d in found}


def test_use_brings_a_look_forward_and_the_middle_is_what_the_mean_gives(flying: Bench) -> None:
    """Since the look 40 + 60 + 80 + 40 min are flown; what is left of 5 h goes at 60 min a week on average."""
    flown = sum([40, 60, 80, 40])
    total = sum([40, 60, 80, 40, 60, 80, 40, 60, 80, 40, 60, 80, 40])
    left = (300 - flown) / (total / WEEKS)

    found = due(flying)["look-due", "heron-props"]

    middle = (date.fromisoformat(found["at"][:10]) - date(2026, 4, 10)).days / 7
    assert found["by"] == "use"
    assert found["earliest"] < found["at"] < found["latest"]
    assert left <= middle <= left + total / WEEKS / 60 + 0.2


def test_without_a_flight_of_late_there_is_only_the_calendar(bench: Bench) -> None:
    take_in(bench, event("2025-06-01 12:00", "flown", aircraft="heron", packs=["A"], minutes=280, percent_to=30))

    answer = bench("outlook").out

    assert "Nothing flew in the last 13 weeks." in answer
    assert json.loads(bench("outlook", "--json").out)["use"] == []


def test_of_a_young_home_use_is_not_reckoned_and_what_is_not_known_is_counted(bench: Bench) -> None:
    take_in(bench, event("2026-04-08 12:00", "flown", aircraft="heron", packs=["A"], minutes=20, percent_to=30))

    lines = bench("outlook").out.splitlines()

    assert lines[0].endswith(". Open already: 0; too little is logged to judge 2 more (`shelfbell due` lists them).")
    assert lines[-3:] == [
        "  not known", "", "heron: first flight on 8 Apr 2026; I can estimate its use after 4 weeks.",
    ]  # fmt: skip
    assert json.loads(bench("outlook", "--json").out)["use"] == []


def test_a_log_of_five_weeks_tells_of_use_by_these_alone(bench: Bench) -> None:
    take_in(bench, *weekly_flights(5, [60]))

    (use,) = json.loads(bench("outlook", "--json").out)["use"]

    assert (use["weeks"], use["flights"], use["hours_a_week"]) == (5, 5, 1.0)
    assert "heron: 5 flights in 5 weeks, 1 h a week, give or take 0 s." in bench("outlook").out


IDLE = """
  - id: idle
    about: aircraft
    title: Long idle
    when: {fact: idle, at_least: 60 d}
    urgency: whenever
    do: "Fly {item}."
    why: Skill fades.
    basis: {kind: common practice}
"""


def test_what_flying_would_put_off_says_so(bench: Bench) -> None:
    bench.write("rules/own.yaml", RULES + IDLE)
    take_in(bench, *weekly_flights(WEEKS, [10]))

    found = due(bench)["idle", "heron"]

    assert (found["by"], found["unless_used"]) == ("calendar", True)
    assert "Long idle: heron  (flying as of late would put it off)" in bench("outlook").out


IDLE_OR_WORN = """
  - id: idle-or-worn
    about: aircraft
    title: Idle for some days, or flown much
    when:
      any:
        - all: [{fact: idle, at_least: 3 d}, {not: {fact: idle, at_least: 4 d}}]
        - all: [{fact: idle, at_least: 30 d}, {not: {fact: idle, at_least: 31 d}}]
        - {fact: airtime, at_least: 14 h}
    urgency: whenever
    do: "See to {item}."
    why: It matters.
    basis: {kind: common practice}
"""


def test_use_that_comes_after_the_calendar_takes_the_place_of_nothing(bench: Bench) -> None:
    """Idle for 3 d a day from now, and for 30 d four weeks from now; flown for 14 h between."""
    bench.write("rules/own.yaml", RULES + IDLE_OR_WORN)
    take_in(bench, *weekly_flights(WEEKS, [60]))

    found = json.loads(bench("outlook", "--json").out)["due"]

    told = [(one["by"], one["at"][:10]) for one in found if one["rule"] == "idle-or-worn"]
    assert told == [("calendar", "2026-04-11"), ("calendar", "2026-05-08")]


def test_an_outlook_from_the_past_knows_nothing_of_what_came_after(flying: Bench) -> None:
    before = flying("outlook", "--at", "2026-04-10T12:00:00Z", "--json").out
    flying.set_clock("2026-04-20 12:00")
    take_in(flying, event("2026-04-15 12:00", "inspected", item="heron-props", result="pass", id="later"))

    assert flying("outlook", "--at", "2026-04-10T12:00:00Z", "--json").out == before


@pytest.mark.parametrize("days", ["0", "-1", "99999"])
def test_a_number_of_days_without_sense_is_refused(bench: Bench, days: str) -> None:
    assert bench("outlook", f"--days={days}").status == 2


WEEKLY = Use("heron", 13, 13, HOUR, 0.5 * HOUR, 10 * MINUTE, {("A",): 3, ("B",): 1}, 60.0)  # type: ignore[arg-type]


@pytest.mark.parametrize("z", [-Z, 0.0, Z])
def test_a_path_of_use_is_at_its_sum_when_it_says_so(z: float) -> None:
    for airtime in (0.2 * HOUR, HOUR, 7 * HOUR, 40 * HOUR):
        weeks = reaches(WEEKLY, airtime, z)
        assert WEEKLY.weekly * weeks + z * WEEKLY.spread * sqrt(weeks) == pytest.approx(airtime)


def test_the_range_holds_eight_in_ten_of_simulated_seasons() -> None:
    """Weeks drawn at random (normal, own seed): the sum after 12 weeks lies within the paths' sums 80 % of the time."""
    draw = random.Random(7)
    normal = NormalDist(WEEKLY.weekly, WEEKLY.spread)
    sums = [sum(normal.inv_cdf(draw.random()) for _ in range(12)) for _ in range(4000)]
    low, high = (WEEKLY.weekly * 12 + z * WEEKLY.spread * sqrt(12) for z in (-Z, Z))

    inside = sum(low <= total <= high for total in sums) / len(sums)

    assert inside == pytest.approx(0.8, abs=0.025)
    assert NormalDist().inv_cdf(0.9) == pytest.approx(Z, abs=5e-5)


def test_supposed_flights_share_the_packs_as_they_were_shared() -> None:
    flights = supposed_flights(WEEKLY, NOW, NOW + 8 * WEEK + HOUR, 0.0)

    packs = [flight["packs"] for flight in flights]
    assert len(flights) == 48
    assert packs.count(["A"]) == 36
    assert all(flight["flights"] == 1 for flight in flights)


@pytest.mark.parametrize("now", ["2026-04-01", "2026-04-03 06:00", "2026-05-01"])
def test_what_was_and_what_is_supposed_are_told_alike_however_they_are_asked_for(now: str) -> None:
    start = moment(now)
    flown = [
        event(f"2026-04-0{day} 12:00", "flown", aircraft="heron", packs=["A"], minutes=9, percent_to=40)
        for day in range(1, 7)
    ]
    log = MemoryLog([*flown, event("2026-04-02 15:00", "inspected", item="heron", result="pass")])
    source = SupposedFlights(log, start, start + 2 * WEEK + HOUR, [WEEKLY], 0.0).afresh()

    entries = source.of("heron")

    assert entries == sorted(entries)
    assert [entry for entry in entries if entry.at <= start] == [
        entry for entry in log.of("heron") if entry.at <= start
    ]
    assert sum(entry.at > start for entry in entries) == 12
    assert source.instants(["heron"]) == Source.instants(source, ["heron"])
    for name, what in product(("heron", "A", "B", "me"), ("flown", "inspected")):
        assert source.all_but(name, what) == Source.all_but(source, name, what)
        assert source.first_at(name, what) == Source.first_at(source, name, what)
        for hours in (-900, -36, 0, 12, 36, 900):
            since = start + hours * HOUR
            assert source.latest_and_after(name, what, since) == Source.latest_and_after(source, name, what, since)


def calendar(bench: Bench, *words: str) -> tuple[bytes, dict[str, vobject.base.Component]]:
    """The file, and its entries by UID as vobject reads them."""
    path = bench.path / "due.ics"
    assert bench("outlook", "--ics", str(path), *words).status == 0
    written = path.read_bytes()
    read = vobject.readOne(written.decode("utf-8"))
    return written, {entry.uid.value: entry for entry in read.vevent_list}


def test_the_calendar_file_is_read_back_by_another_library(flying: Bench) -> None:
    _, entries = calendar(flying)

    told = json.loads(flying("outlook", "--json").out)["due"]
    assert len(entries) == len(told)
    assert sorted(entry.dtstart.value for entry in entries.values()) == [
        date.fromisoformat(d["earliest"][:10]) for d in told
    ]
    for entry in entries.values():
        assert entry.dtend.value - entry.dtstart.value == timedelta(days=1)
    assert any("Look over heron-props" in entry.description.value for entry in entries.values())


def test_the_calendar_file_keeps_the_rules_of_rfc_5545(flying: Bench) -> None:
    """Sections 3.1 (lines), 3.6 and 3.6.1 (what must stand there), 3.8.4.7 (UID)."""
    written, _ = calendar(flying)

    lines = written.split(b"\r\n")
    assert lines.pop() == b""
    assert all(len(line) <= RFC5545_LINE and b"\n" not in line for line in lines)
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert {b"VERSION:2.0", b"CALSCALE:GREGORIAN"} <= set(lines)
    assert b"X-MADE-BY:shelfbell outlook --days 90 --ics FILE" in lines
    entries = written.split(b"BEGIN:VEVENT")[1:]
    for name in (b"UID:", b"DTSTAMP:", b"DTSTART;VALUE=DATE:", b"SUMMARY:"):
        assert all(entry.count(b"\r\n" + name) == 1 for entry in entries)


def test_a_calendar_is_updated_and_not_doubled(flying: Bench) -> None:
    """A day later, after another flight, dates have moved, UIDs have not, the sequence has grown (RFC 5546, 2.1.4)."""
    _, before = calendar(flying)
    flying.set_clock("2026-04-11 12:00")
    flying.log("flown", "heron", "A", "35", "40")

    _, after = calendar(flying)

    assert before.keys() == after.keys()
    moved = [uid for uid in before if before[uid].dtstart.value != after[uid].dtstart.value]
    assert moved
    assert all(int(after[uid].sequence.value) > int(before[uid].sequence.value) for uid in before)


def test_another_rule_set_with_the_same_names_keeps_the_uids(flying: Bench) -> None:
    _, before = calendar(flying)
    flying.write("rules/own.yaml", RULES.replace("due: 5 h", "due: 6 h"))

    assert before.keys() == calendar(flying)[1].keys()
