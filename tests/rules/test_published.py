"""Published dates and figures, worked through the facts that the rules rest on."""

from datetime import date, timedelta

import pytest

from scheduler.base.instants import DAY, HOUR, local_date, parse_span
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.mishap_reports import USD
from scheduler.verdicts.cases import verdict_of
from tests.rules.library import rules
from tests.support import Entries, Fields, book_of, event, fact, moment

CRAFT: dict[str, Entries] = {"aircraft": [{"id": "aircraft", "in_service": "2020-01-01"}]}


def last_good_day(plate: Fields, *renewals: Fields) -> date:
    """The last good day of a paper after its renewals, in UTC."""
    store = book_of({"papers": [{"id": "paper"} | plate]}, *renewals)
    at = moment(str(renewals[-1]["at"]))
    left = fact(store, "paper", "days_to_expiry").at(at)
    assert isinstance(left, int)
    return local_date(at + left, store.clocks.zone) - timedelta(days=1)


def issued(day: str) -> Fields:
    return event(f"{day} 12:00", "renewed", item="paper", issued=day)


US_RECENCY = [
    ("2016-09-13", "2018-09-30"),
    ("2018-07-15", "2020-07-31"),
    ("2018-10-05", "2020-10-31"),
    ("2024-01-31", "2026-01-31"),
    ("2024-02-29", "2026-02-28"),
    ("2024-12-01", "2026-12-31"),
    ("2025-03-01", "2027-03-31"),
    ("2026-11-25", "2028-11-30"),
]


@pytest.mark.parametrize(("passed", "last"), US_RECENCY)
def test_united_states_recency_runs_to_the_end_of_the_24th_calendar_month(passed: str, last: str) -> None:
    """14 CFR 107.65; the dates of 2016 and 2018 are those of AC 107-2, from memory."""
    assert last_good_day({"valid_for": "24 calendar months"}, issued(passed)).isoformat() == last


def test_canadian_recency_runs_to_the_day() -> None:
    """CARs 901.56, 24 months preceding the flight: an exam of 2024-03-15 serves a flight on 2026-03-14 and none on the
    16th. That the 15th still counts is a choice. By 14 CFR 107.65 the same date would last to 2026-03-31."""
    assert last_good_day({"valid_for": "24 months"}, issued("2024-03-15")) == date(2026, 3, 15)
    assert last_good_day({"valid_for": "24 calendar months"}, issued("2024-03-15")) == date(2026, 3, 31)


REGISTRATION: Fields = {"valid_for": "3 y", "renew_from": "expiry", "sort": "registration"}


def test_a_registration_renewed_in_its_window_counts_from_the_old_expiry() -> None:
    """14 CFR 48.100(c): issued 2024-06-15, renewed 2027-01-10, expires 2030-06-15 and not 2030-01-10."""
    renewed = event("2027-01-10 12:00", "renewed", item="paper")
    assert last_good_day(REGISTRATION, issued("2024-06-15")) == date(2027, 6, 15)
    assert last_good_day(REGISTRATION, issued("2024-06-15"), renewed) == date(2030, 6, 15)


@pytest.mark.parametrize(
    ("expires", "opens"), [("2027-06-15", "2026-12-01"), ("2027-01-31", "2026-07-01"), ("2027-12-01", "2027-06-01")]
)
def test_the_window_opens_with_the_sixth_month_before_the_month_of_expiry(expires: str, opens: str) -> None:
    """14 CFR 48.100(c): within the six months preceding the month of expiry."""
    store = book_of(
        {"papers": [{"id": "paper"} | REGISTRATION]},
        event("2026-01-02 12:00", "renewed", item="paper", expires=expires),
    )
    window = fact(store, "paper", "renewal_window")
    assert (window.at(moment(opens) - 1), window.at(moment(opens))) == ("no", "yes")


@pytest.mark.parametrize(
    ("years", "day", "last"),
    [
        ("5 y", "2022-05-10", "2027-05-10"),  # UAS.OPEN.070, read in a secondary text
        ("5 y", "2024-02-29", "2029-02-28"),  # the text is silent; the careful reading
        ("1 y", "2026-03-10", "2027-03-10"),  # United Kingdom operator ID, read in a secondary text
        ("5 y", "2026-03-10", "2031-03-10"),  # United Kingdom flyer ID, read in a secondary text
        ("3 y", "2024-02-29", "2027-02-28"),  # 14 CFR 48.100(c) is silent on it; the careful reading
    ],
)
def test_papers_of_whole_years_end_on_the_same_day(years: str, day: str, last: str) -> None:
    assert last_good_day({"valid_for": years}, issued(day)).isoformat() == last


@pytest.mark.parametrize(("flown", "last"), [("2026-02-25", "2026-03-07"), ("2026-12-27", "2027-01-06")])
def test_a_report_is_due_by_the_end_of_the_tenth_calendar_day(flown: str, last: str) -> None:
    """14 CFR 107.9: no later than 10 calendar days after the operation."""
    store = book_of(CRAFT, event(f"{flown} 15:20", "mishap", item="aircraft", severity="strike", injury="serious"))
    left = fact(store, "aircraft", "report_due_in", "us")
    assert left.at(moment(last)) == DAY
    assert left.at(moment(last) + DAY) == 0


def test_a_european_report_is_due_in_72_hours() -> None:
    """Regulation (EU) No 376/2014, read in a secondary text only."""
    store = book_of(CRAFT, event("2026-02-25 15:20", "mishap", item="aircraft", severity="crash", injury="fatal"))
    assert fact(store, "aircraft", "report_due_in", "europe").at(moment("2026-02-25 15:20")) == 72 * HOUR


def report_due(**told: object) -> bool:
    """Whether report-due-us opens on a crash told so."""
    case = {"given": [{"at": "2026-02-25T15:20:00Z", "what": "mishap", "severity": "crash"} | told]}
    return bool(verdict_of(rules()["report-due-us"], case, CATALOGUE).episodes)


@pytest.mark.parametrize(
    ("told", "due"),
    [
        ({"others_repair_cost": 500, "others_value": 5000}, False),
        ({"others_repair_cost": 500.01, "others_value": 501}, True),
        ({"others_repair_cost": 900, "others_value": 450}, False),
        ({"others_repair_cost": 900}, True),
        ({"injury": "unconscious"}, True),
        ({"injury": "serious"}, True),
        ({"injury": "minor"}, False),
        ({}, False),
    ],
)
def test_what_must_be_reported_in_the_united_states(told: Fields, due: bool) -> None:
    """14 CFR 107.9: serious injury, any loss of consciousness, or others' property unless repair or value is not over
    500 dollars. A value that was not told is taken to be that of the repair: the careful reading."""
    assert rules()["report-due-us"]["limits"]["damage"] == f"500 {USD.symbol}"
    assert report_due(**told) is due


WATT_HOURS = [
    (4, 5000, "lipo", 74.0),
    (3, 5000, "lipo", 55.5),
    (4, 6750, "lipo", 99.9),
    (6, 4500, "lipo", 99.9),
    (6, 7200, "lipo", 159.84),
    (6, 8000, "lipo", 177.6),
]


@pytest.mark.parametrize(("cells", "capacity", "chemistry", "energy"), WATT_HOURS)
def test_watt_hours_are_ampere_hours_times_nominal_volts(
    cells: int, capacity: int, chemistry: str, energy: float
) -> None:
    """49 CFR 171.8; the nominal 3.7 V a cell is that of the PX4 battery guide. By the full 4.2 V six cells of 4.5 Ah
    would come to 113.4 Wh, wrongly above 100."""
    plate = {"id": "pack", "cells": cells, "capacity": f"{capacity} mAh", "chemistry": chemistry}
    assert fact(book_of({"packs": [plate]}), "pack", "watt_hours").at(0) == pytest.approx(energy, abs=1e-9)


BANDS = [
    (4500, 1, "air-baggage"),
    (4504, 1, "air-baggage"),
    (4505, 1, "air-baggage-approval"),
    (5400, 2, "air-baggage-approval"),
    (5400, 3, "air-baggage-refused"),
    (7207, 2, "air-baggage-approval"),
    (7208, 1, "air-baggage-refused"),
]


@pytest.mark.parametrize(("capacity", "packs", "rule"), BANDS)
def test_each_pack_on_a_flight_falls_into_one_band(capacity: int, packs: int, rule: str) -> None:
    """49 CFR 175.10(a)(18), wording from memory: to 100 Wh free, to 160 Wh at most two with approval, above never. Six
    cells of 4504 mAh are 99.99 Wh, of 4505 mAh 100.01, of 7207 mAh 159.995, of 7208 mAh 160.02."""
    carried = ["pack", "pack-2", "pack-3"][:packs]
    plan = {
        "at": "2026-04-01T10:00:00Z",
        "what": "travel_planned",
        "how": "airline",
        "carries": carried,
        "leaves": "2026-04-10T10:00:00Z",
    }
    case = {"item": {"cells": 6, "capacity": f"{capacity} mAh"}, "given": [plan]}
    rung = [
        name
        for name in rules()
        if name.startswith("air-baggage") and verdict_of(rules()[name], case, CATALOGUE).episodes
    ]
    assert rung == [rule]


FREIGHT = [
    (31, "2026-01-01", ["aircraft", "pack"], True),
    (30, "2026-01-01", ["aircraft", "pack"], False),
    (50, "2025-12-31", ["aircraft", "pack"], False),
    (31, "2025-12-31", ["pack"], True),
    (30, "2025-12-31", ["pack"], False),
]


@pytest.mark.parametrize(("percent", "leaves", "carries", "rings"), FREIGHT)
def test_thirty_percent_binds_packs_alone_since_2019_and_with_equipment_from_2026(
    percent: int, leaves: str, carries: list[str], rings: bool
) -> None:
    """84 FR 8006 (2019-03-06) and 87 FR 77995; IATA Dangerous Goods Regulations 2026, read in a secondary text only."""
    plan = {
        "at": "2025-12-21T10:00:00Z",
        "what": "travel_planned",
        "how": "freight",
        "carries": carries,
        "leaves": f"{leaves}T10:00:00Z",
    }
    case = {"given": [{"at": "2025-12-20T10:00:00Z", "what": "charged", "percent": percent}, plan]}
    assert bool(verdict_of(rules()["air-freight-charge"], case, CATALOGUE).episodes) is rings


@pytest.mark.parametrize(
    ("celsius", "ceiling", "counts"),
    [(-1, 40, True), (0, 40, False), (40, 40, False), (41, 40, True), (41, 45, False), (46, 45, True)],
)
def test_charging_temperatures(celsius: float, ceiling: float, counts: bool) -> None:
    """US Fire Administration: not below 0 C nor above 40 C; cell makers' window to 45 C, read in a secondary text."""
    charged = event("2026-04-01 09:00", "charged", item="pack", temperature_c=celsius)
    store = book_of({"packs": [{"id": "pack", "charge_to": f"{ceiling} C"}]}, charged)
    assert fact(store, "pack", "charges_out_of_range").at(moment("2026-04-01 09:00")) == int(counts)


def test_eighty_percent_is_the_line_and_counts_as_not_below() -> None:
    """Preger et al., doi 10.1115/1.4071224: 80 % of initial capacity, by custom; 4000 of 5000 mAh stay."""
    rule = rules()["pack-health-low"]
    assert (rule["limits"]["floor"], next(iter(rule["when"]["all"]))["less_than"]) == ("80 %", "floor")


def test_the_operators_own_default_stands() -> None:
    """Full for 24 h with no job near rings."""
    limits = rules()["pack-left-full"]["limits"]
    assert [parse_span(limits[name]) for name in ("sit", "soon")] == [24 * HOUR, 24 * HOUR]
