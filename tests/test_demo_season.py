"""The demo operator's season: it is what its script writes, every line is good, the whole story is in it."""

import json
import shutil
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from scheduler.base.instants import HOUR, MINUTE, parse_rfc3339
from scheduler.base.strict_yaml import read
from scheduler.events.log import Log
from scheduler.events.taking import take
from scheduler.events.validation import problems
from scheduler.fleet.fleet import Fleet

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
LINES = (EXAMPLES / "season.jsonl").read_text(encoding="utf-8").splitlines()
EVENTS: list[dict[str, Any]] = [json.loads(line) for line in LINES]
WINTER = parse_rfc3339("2026-11-01T00:00:00Z")


def instant(event: dict[str, Any], name: str = "at") -> int:
    return parse_rfc3339(event[name])


def those(what: str, **fields: object) -> list[dict[str, Any]]:
    """The events of a kind that have these fields, in the order in which they happened."""
    found = [event for event in EVENTS if event["what"] == what and fields.items() <= event.items()]
    return sorted(found, key=instant)


def only(what: str, **fields: object) -> dict[str, Any]:
    (event,) = those(what, **fields)
    return event


def flights(aircraft: str) -> list[dict[str, Any]]:
    """The single flights in force, in the order of their landings."""
    struck = {event["event"] for event in those("struck")}
    return [f for f in those("flown", aircraft=aircraft) if "flights" not in f and f["id"] not in struck]


def overlapping(aircraft: str) -> list[tuple[str, str]]:
    return [
        (first["id"], second["id"])
        for first, second in pairwise(flights(aircraft))
        if instant(second) - second["minutes"] * MINUTE < instant(first)
    ]


def season_script(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(folder / "season.py"), *options]
    return subprocess.run(command, capture_output=True, text=True)


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    document = read((EXAMPLES / "home" / "fleet.yaml").read_bytes(), "fleet.yaml")
    return Fleet(document.data)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    for name in ("season.py", "habits.py", "season.jsonl"):
        shutil.copy(EXAMPLES / name, tmp_path)
    return tmp_path


def test_the_committed_log_is_what_the_script_writes(copy: Path) -> None:
    (copy / "season.jsonl").unlink()

    assert season_script(copy).returncode == 0

    assert (copy / "season.jsonl").read_bytes() == (EXAMPLES / "season.jsonl").read_bytes()
    assert season_script(copy, "--check").returncode == 0


def test_the_script_tells_when_the_log_differs_and_leaves_it_alone(copy: Path) -> None:
    log = copy / "season.jsonl"
    log.write_text("".join(f"{line}\n" for line in LINES[:-1]), encoding="utf-8")

    done = season_script(copy, "--check")

    assert (done.returncode, done.stdout) == (1, "")
    assert "season.jsonl is not what season.py writes" in done.stderr
    assert len(log.read_text(encoding="utf-8").splitlines()) == len(LINES) - 1


def test_every_line_is_a_good_event() -> None:
    assert [(event["id"], found) for event in EVENTS if (found := problems(event))] == []


def test_it_holds_a_thousand_events_over_eight_months() -> None:
    assert len(EVENTS) >= 1000
    assert {event["at"][:7] for event in EVENTS} == {f"2026-{month:02}" for month in range(3, 11)}


def test_events_stand_in_the_order_in_which_they_were_told_each_after_it_happened() -> None:
    told = [instant(event, "recorded_at") for event in EVENTS]

    assert told == sorted(told)
    assert all(instant(event) <= instant(event, "recorded_at") for event in EVENTS)
    assert [event["id"] for event in EVENTS] == [f"s{number:04}" for number in range(1, len(EVENTS) + 1)]


def test_times_carry_the_offset_of_lisbon_and_summer_time_begins_and_ends() -> None:
    """IANA time zone database, Europe/Lisbon: UTC+1 from 2026-03-29 01:00 UTC to 2026-10-25 01:00 UTC."""
    summer = range(parse_rfc3339("2026-03-29T01:00:00Z"), parse_rfc3339("2026-10-25T01:00:00Z"))

    for event in EVENTS:
        for name in ("at", "recorded_at"):
            assert event[name][-6:] == ("+01:00" if instant(event, name) in summer else "+00:00"), event


def test_an_empty_home_takes_the_season_in_and_exports_the_same_bytes(tmp_path: Path, fleet: Fleet) -> None:
    log = Log(tmp_path / "shelfbell.db")

    taken = take(log, enumerate(LINES, 1), fleet, WINTER, "season.jsonl")

    assert (len(taken.ids), taken.known) == (len(LINES), 0)
    assert list(log.lines()) == LINES
    assert take(log, enumerate(LINES, 1), fleet, WINTER).known == len(LINES)
    log.close()


def test_every_item_of_the_fleet_but_the_bench_and_the_pilot_has_its_own_events(fleet: Fleet) -> None:
    own = {event.get("item") or event.get("aircraft") for event in EVENTS}

    assert set(fleet.ids()) - own == {"bench", "me"}


def test_a_flight_takes_out_what_its_minutes_and_the_wear_of_its_pack_allow() -> None:
    """Between 3.5 and 6 percent a minute: an estimate, from the draw and capacity the script gives them."""
    full = [f for f in flights("heron") + flights("wagtail") if {"percent_from", "percent_to"} <= f.keys()]
    rates = [(f["percent_from"] - f["percent_to"]) / f["minutes"] for f in full if f["percent_to"] != 9]

    assert len(full) > 150
    assert all(3.5 < rate < 6 for rate in rates)


@pytest.mark.parametrize("pack", ["A", "B", "D"])
def test_resistance_rises_as_packs_wear(pack: str) -> None:
    shown = [event["resistance_mohm"] for event in those("measured", item=pack) if "resistance_mohm" in event]

    assert sum(shown[-3:]) > sum(shown[:3])


HAPPENED: dict[str, tuple[int, str, dict[str, object]]] = {
    "practice flights": (30, "flown", {"purpose": "practice"}),
    "flights for jobs": (150, "flown", {"purpose": "job"}),
    "packs drained to storage": (10, "drained", {"percent": 58}),
    "packs charged up to storage": (50, "charged", {"percent": 58}),
    "jobs called off": (3, "cancelled", {}),
    "the controller charged": (10, "charged", {"item": "controller"}),
    "a job booked, and put off twice": (3, "booked", {"job": "vineyard-april"}),
    "work near people": (5, "booked", {"near_people": True}),
    "heron out and back by freight": (2, "moved", {"item": "heron", "how": "freight"}),
    "packs nearly emptied for freight": (2, "drained", {"percent": 28}),
    "a journey announced": (1, "travel_planned", {}),
    "a dropped pack": (1, "mishap", {"item": "F", "severity": "dropped"}),
    "a new pack": (1, "received", {"item": "G"}),
    "spares used": (1, "used", {"item": "heron-spare-props"}),
    "spares restocked": (1, "restocked", {"item": "heron-spare-props"}),
    "a gimbal that twitched": (1, "noticed", {"item": "heron-gimbal", "findings": ["twitch"]}),
    "a warning in flight": (1, "warned", {"of": "battery"}),
    "a landing at 9 percent": (1, "flown", {"percent_to": 9}),
    "a certificate good to November": (1, "renewed", {"item": "certificate", "issued": "2024-11-19"}),
    "a waiver renewed": (1, "renewed", {"item": "harbour-waiver", "expires": "2027-09-30"}),
    "a reminder seen": (1, "seen", {"item": "D"}),
    "a reminder snoozed": (1, "snoozed", {"item": "G"}),
    "two absences": (2, "away", {}),
    "four flights in one line": (1, "flown", {"flights": 4}),
    "a charge in the night the clock goes forward": (1, "charged", {"at": "2026-03-29T02:10:00+01:00"}),
    "a charge in the night the clock goes back": (1, "charged", {"at": "2026-10-25T01:10:00+00:00"}),
}


@pytest.mark.parametrize("told", HAPPENED)
def test_the_season_holds(told: str) -> None:
    least, what, fields = HAPPENED[told]
    assert len(those(what, **fields)) >= least


Kind = tuple[str, dict[str, object]]
NICKED: Kind = "inspected", {"findings": ["nicked"]}
RENEWED: Kind = "replaced", {"from_spares": "heron-spare-props"}
TEST_FLIGHT: Kind = "flown", {"purpose": "test"}
WAITED: dict[str, tuple[Kind, Kind, int, int]] = {
    "firmware, then a test flight": (("updated", {}), TEST_FLIGHT, 0, 24),
    "a repair, then a test flight": (("repaired", {}), TEST_FLIGHT, 0, 24),
    "a hard landing, looked at two days later": (
        ("mishap", {"severity": "hard_landing"}), ("inspected", {"item": "heron"}), 44, 56,
    ),
    "a tip-over, looked at a week later": (
        ("mishap", {"severity": "tip_over"}), ("inspected", {"item": "wagtail"}), 144, 192,
    ),
    "back by freight, calibrated days later": (
        ("received", {"item": "heron"}), ("calibrated", {"item": "heron", "what_of": "imu"}), 120, 168,
    ),
    "nicked propellers, renewed from spares": (NICKED, RENEWED, 0, 1),
    "a swollen pack, set aside": (("noticed", {"findings": ["swollen"]}), ("set_aside", {"item": "C"}), 0, 1),
    "set aside, retired": (("set_aside", {}), ("retired", {"item": "C"}), 24, 72),
    "set aside, handed in late": (("set_aside", {}), ("handed_in", {"item": "C"}), 336, 600),
    "guards taken off, put on again": (("removed", {}), ("fitted", {"item": "wagtail-guards"}), 0, 1),
}  # fmt: skip


@pytest.mark.parametrize("told", WAITED)
def test_one_thing_followed_another(told: str) -> None:
    (what, fields), (then, other), least, most = WAITED[told]
    first = instant(only(what, **fields))

    waited = next(instant(event) for event in those(then, **other) if instant(event) > first) - first

    assert least * HOUR <= waited <= most * HOUR


def test_a_slip_was_put_right_and_a_flight_told_twice_was_struck() -> None:
    by_id = {event["id"]: event for event in EVENTS}
    (correction,) = [event for event in EVENTS if "instead_of" in event]
    slip, twice = by_id[correction["instead_of"]], by_id[only("struck")["event"]]

    assert (slip["percent"], correction["percent"]) == (10, 100)
    assert (slip["item"], slip["at"]) == (correction["item"], correction["at"])
    assert twice["what"] == "flown"


def test_field_days_were_told_days_later() -> None:
    late = [event for event in EVENTS if instant(event, "recorded_at") - instant(event) > 48 * HOUR]

    assert {event["at"][:10] for event in late} == {"2026-06-10", "2026-06-11", "2026-06-12"}


def test_in_early_april_no_flight_tells_what_was_left() -> None:
    silent = [f for f in flights("heron") if "2026-04-02" < f["at"] < "2026-04-11"]

    assert len(silent) >= 5
    assert not any("percent_to" in flight for flight in silent)


def test_one_pair_of_flights_overlaps_and_no_other() -> None:
    assert len(overlapping("heron")) == 1
    assert overlapping("wagtail") == []


def test_nothing_was_told_in_three_weeks_of_august_and_four_packs_lay_full() -> None:
    assert [e for e in EVENTS if "2026-08-02" < e["recorded_at"] < "2026-08-25"] == []
    assert {e["item"] for e in those("drained") if e["at"].startswith("2026-08-25")} == {"A", "B", "D", "G"}


def test_pack_c_is_not_used_after_it_swelled() -> None:
    swollen = instant(only("noticed", item="C"))
    its = [event for event in EVENTS if "C" in (event.get("item"), *event.get("packs", ()))]
    later = sorted(event["what"] for event in its if instant(event) > swollen)

    assert later == ["handed_in", "retired", "set_aside"]


def test_the_aircrafts_own_count_of_airtime_is_above_the_sum_of_its_flights() -> None:
    first, second = (e for e in those("measured", item="heron"))
    between = [f for f in flights("heron") if instant(first) < instant(f) < instant(second)]

    assert second["airtime_total"] > first["airtime_total"] + sum(f["minutes"] for f in between)


def test_pack_d_was_tested_on_two_days_and_fell_below_eighty_percent(fleet: Fleet) -> None:
    tests = [event for event in those("measured", item="D") if "capacity_mah" in event]

    assert len({event["at"][:10] for event in tests}) == 2
    assert all(event["capacity_mah"] < 0.8 * fleet["D"].plate["capacity"] for event in tests)  # type: ignore[operator]


@pytest.mark.parametrize("pack", "ABDGEF")
def test_on_the_last_day_every_pack_lies_at_storage(pack: str) -> None:
    last = those("measured", item=pack)[-1]

    assert last["at"].startswith("2026-10-31")
    assert 55 <= last["percent"] <= 60


def test_heron_spares_fell_below_what_is_kept_before_they_were_restocked(fleet: Fleet) -> None:
    """Counted once, then lowered by what was used and by each set taken for a replacement."""
    mine = {"item": "heron-spare-props"}
    restocked = instant(only("restocked", **mine))
    used = sum(event["count"] for event in those("used", **mine))
    fitted = [e for e in those("replaced", from_spares=mine["item"]) if instant(e) < restocked]
    keep = int(fleet[mine["item"]].plate["keep"])  # type: ignore[call-overload]

    assert those("counted", **mine)[0]["count"] - used - len(fitted) < keep
