"""What a pack holds, as a function of time, and the cycles taken out of it."""

import pytest

from scheduler.base.instants import DAY, HOUR, MIN_INSTANT, MINUTE
from scheduler.facts.charge import is_calculated
from scheduler.facts.fact_store import FactStore
from scheduler.facts.intervals import Intervals
from scheduler.facts.timeline import Timeline
from tests.support import Fields, book_of, event, fact, moment, reasons

HERON = [{"id": "heron"}]
NOON = "2026-04-01 12:00"


def pack(**plate: object) -> dict[str, list[Fields]]:
    return {"aircraft": HERON, "packs": [{"id": "B", "capacity": "5000 mAh"} | plate]}


def charge(*entries: Fields, **plate: object) -> Timeline:
    return fact(book_of(pack(**plate), *entries), "B", "charge")


def cycles(*entries: Fields, **plate: object) -> Timeline:
    return fact(book_of(pack(**plate), *entries), "B", "cycles")


def charged(at: str, **fields: object) -> Fields:
    return event(at, "charged", item="B", **fields)


def measured(at: str, **fields: object) -> Fields:
    return event(at, "measured", item="B", **fields)


def drained(at: str, percent: float) -> Fields:
    return event(at, "drained", item="B", percent=percent)


def flown(at: str, minutes: float = 20, **fields: object) -> Fields:
    """A flight that lands at `at`."""
    return event(at, "flown", aircraft="heron", packs=["B"], minutes=minutes, **fields)


def values(timeline: Timeline, *times: str) -> list[object]:
    return [timeline.at(moment(time)) for time in times]


# --- what sets it ---------------------------------------------------------------------------------------------------


def test_it_is_unknown_before_the_first_event_that_sets_it() -> None:
    found = charge(event("2026-03-01", "moved", item="B", how="driven"), charged(NOON))
    assert found.at(moment(NOON) - 1) is None
    assert found.at(moment(NOON)) == 100


@pytest.mark.parametrize(
    ("fields", "percent"),
    [
        ({"percent": 62}, 62),
        ({"lights": "4 of 4"}, 87.5),  # the middle of the last quarter
        ({"lights": "1 of 4"}, 12.5),
        ({"lights": "0 of 4"}, 0),
        ({"lights": "5 of 4"}, 100),
        ({"rest_volts": 16.8}, 100),  # 4 x 4.20 V, full lipo
        ({"cell_volts": [4.2, 4.2, 4.2, 4.2]}, 100),
        ({"rest_volts": 16.8, "percent": 97}, 97),  # a percentage read goes before one calculated
    ],
)
def test_a_reading_sets_it(fields: Fields, percent: float) -> None:
    assert charge(measured(NOON, **fields)).at(moment(NOON)) == pytest.approx(percent)


@pytest.mark.parametrize(
    "fields",
    [
        {"resistance_mohm": 12},
        {"rest_volts": 16.0, "rested_minutes": 5},  # not at rest yet
        {"rest_volts": 25.0},  # no lipo of four cells: the nameplate must be wrong
    ],
)
def test_a_reading_without_a_charge_changes_nothing(fields: Fields) -> None:
    found = charge(charged("2026-04-01"), measured(NOON, **fields))
    assert found.at(moment(NOON)) == 100
    assert reasons(found, moment(NOON)) == ["e1"]


def test_volts_at_rest_follow_the_table_of_the_chemistry() -> None:
    """3.7 V a cell is little in a lipo and much more in a li-ion."""
    reading = measured(NOON, rest_volts=14.8, rested_minutes=60)
    lipo, li_ion = (charge(reading, chemistry=name).at(moment(NOON)) for name in ("lipo", "li-ion"))
    assert 0 < lipo < 35 < li_ion < 60


# --- on the shelf ---------------------------------------------------------------------------------------------------


def test_self_discharge_is_a_share_of_capacity_in_thirty_days() -> None:
    found = charge(charged(NOON, percent=90), self_discharge="3 %")
    start = moment(NOON)
    assert [found.at(start + days * DAY) for days in (0, 30, 60)] == pytest.approx([90, 87, 84])
    assert found.compare("at_most", 85).next_change(start) == start + 50 * DAY


def test_self_discharge_ends_at_0() -> None:
    found = charge(charged(NOON, percent=2), self_discharge="3 %")
    empty = moment(NOON) + 20 * DAY
    assert found.at(empty - 1) > 0
    assert found.at(empty) == found.at(empty + 9999 * DAY) == 0


def test_without_self_discharge_it_stays() -> None:
    assert charge(charged(NOON, percent=90)).at(moment("2036-01-01")) == 90


DRAINS = {"self_drain": {"after": "10 d", "to": "60 %", "over": "4 d"}}


def test_a_self_draining_pack_drains_after_its_wait() -> None:
    found, start = charge(charged(NOON), **DRAINS), moment(NOON)
    assert [found.at(start + days * DAY) for days in (10, 12, 14, 40)] == pytest.approx([100, 80, 60, 60])


def test_self_discharge_goes_on_before_and_after_self_draining() -> None:
    found, start = charge(charged(NOON), self_discharge="3 %", **DRAINS), moment(NOON)
    assert [found.at(start + days * DAY) for days in (10, 14, 44)] == pytest.approx([99, 60, 57])


def test_a_pack_below_its_storage_charge_does_not_drain_itself() -> None:
    assert charge(charged(NOON, percent=50), **DRAINS).at(moment("2026-06-01")) == 50


def test_a_charge_restarts_the_wait_and_a_reading_does_not() -> None:
    reading, top_up = measured("2026-04-08 12:00", percent=96), charged("2026-04-08 12:00", percent=96)
    start = moment(NOON)
    assert charge(charged(NOON), reading, **DRAINS).at(start + 12 * DAY) == pytest.approx(78)
    assert charge(charged(NOON), top_up, **DRAINS).at(start + 12 * DAY) == 96


def test_draining_goes_on_from_a_reading_taken_during_it() -> None:
    start = moment(NOON)
    found = charge(charged(NOON), measured("2026-04-13 12:00", percent=90), **DRAINS)  # day 12 of 10 to 14
    assert [found.at(start + days * DAY) for days in (13, 14)] == pytest.approx([75, 60])


@pytest.mark.parametrize("after", ["99999 weeks", "999999999 weeks"])
def test_a_wait_longer_than_all_time_is_handled(after: str) -> None:
    found = charge(charged(NOON), self_drain={"after": after, "to": "60 %", "over": "4 d"})
    assert found.compare("less_than", 100).next_change(moment("2026-12-01")) != moment(NOON)
    assert found.at(moment("2036-01-01")) == 100


# --- in flight ------------------------------------------------------------------------------------------------------


def test_during_a_flight_it_runs_from_take_off_to_landing() -> None:
    found = charge(charged("2026-04-01"), flown(NOON, percent_from=100, percent_to=30))
    assert values(found, "2026-04-01 11:39", "2026-04-01 11:40", "2026-04-01 11:50", NOON, "2026-05-01") == [
        100, 100, pytest.approx(65), 30, 30,
    ]  # fmt: skip
    assert found.compare("less_than", 65).next_change(moment("2026-04-01 11:41")) == moment("2026-04-01 11:50") + 1


def test_a_flight_without_a_start_percent_starts_from_the_value_before() -> None:
    found = charge(charged("2026-03-02 11:40", percent=90), flown(NOON, percent_to=27), self_discharge="3 %")
    assert values(found, "2026-04-01 11:40", "2026-04-01 11:50", NOON) == pytest.approx([87, 57, 27])


def test_the_end_percent_of_a_flight_makes_an_unknown_charge_known() -> None:
    found = charge(flown(NOON, percent_to=30))
    assert values(found, "2026-04-01 11:50", NOON) == [None, 30]


def test_without_its_end_a_flight_takes_what_was_used_from_the_value_before() -> None:
    found = charge(charged("2026-04-01", percent=90), flown(NOON, used_mah=3000))
    assert values(found, "2026-04-01 11:50", NOON) == pytest.approx([60, 30])


def test_the_end_percent_of_a_flight_outranks_its_mah() -> None:
    assert charge(charged("2026-04-01"), flown(NOON, used_mah=3000, percent_to=35)).at(moment(NOON)) == 35


def test_more_used_than_it_held_leaves_0() -> None:
    assert charge(charged("2026-04-01", percent=50), flown(NOON, used_mah=4000)).at(moment(NOON)) == 0


def test_a_flight_without_end_or_use_is_calculated_at_the_pack_s_own_median_rate() -> None:
    """3, 2 and 4 percent a minute so far: the median, 3, times 10 minutes."""
    history = [
        flown("2026-03-01 12:00", 20, percent_from=100, percent_to=40),
        flown("2026-03-02 12:00", 20, percent_from=100, percent_to=60),
        flown("2026-03-03 12:00", 20, percent_from=100, percent_to=20),
    ]
    found = charge(*history, charged("2026-03-31"), flown(NOON, 10))
    assert found.at(moment(NOON)) == pytest.approx(70)


def test_a_calculated_flight_never_changes_the_rate() -> None:
    known = [flown("2026-03-01 12:00", 20, percent_from=100, percent_to=40)]
    calculated = [charged("2026-03-02"), flown("2026-03-02 12:00", 50), charged("2026-03-31"), flown(NOON, 10)]
    assert charge(*known, *calculated).at(moment(NOON)) == pytest.approx(70)


def test_the_rate_uses_only_earlier_flights() -> None:
    later = flown("2026-05-01 12:00", 20, percent_from=100, percent_to=40)
    assert charge(charged("2026-03-31"), flown(NOON, 10), later).at(moment(NOON)) is None


def test_without_end_use_or_rate_it_is_unknown_from_take_off_to_the_next_reading() -> None:
    found = charge(charged("2026-04-01"), flown(NOON), measured("2026-04-02", percent=44))
    assert values(found, "2026-04-01 11:39", "2026-04-01 11:40", "2026-04-01 23:59", "2026-04-02") == [
        100, None, None, 44,
    ]  # fmt: skip
    assert reasons(found, moment(NOON)) == ["e1", "e2"]


def test_an_event_inside_a_flight_takes_effect_at_the_landing() -> None:
    found = charge(charged("2026-04-01"), measured("2026-04-01 11:50", percent=44), flown(NOON, percent_to=30))
    assert values(found, "2026-04-01 11:50", "2026-04-01 11:59", NOON) == pytest.approx([65, 33.5, 44])


def test_an_event_at_the_take_off_comes_before_the_flight_and_one_at_the_landing_after() -> None:
    at_take_off = charge(measured("2026-04-01 11:40", percent=80), flown(NOON, percent_to=30))
    at_landing = charge(charged("2026-04-01"), flown(NOON, percent_to=30), measured(NOON, percent=33))
    assert at_take_off.at(moment("2026-04-01 11:50")) == pytest.approx(55)
    assert at_landing.at(moment(NOON)) == 33


def test_overlapping_flights_are_taken_one_after_the_other() -> None:
    """Contradictory events are taken: the second begins where the first landed."""
    found = charge(charged("2026-04-01"), flown(NOON, 20, percent_to=60), flown("2026-04-01 12:10", 20, percent_to=30))
    assert values(found, "2026-04-01 11:50", NOON, "2026-04-01 12:05", "2026-04-01 12:10") == pytest.approx(
        [80, 60, 45, 30]
    )


def test_a_summary_of_several_flights_does_not_change_the_charge() -> None:
    assert charge(charged("2026-04-01"), flown(NOON, 100, flights=5, percent_to=30)).at(moment(NOON)) == 100


def test_a_fact_uses_only_what_had_happened_except_for_the_ramp_of_a_flight() -> None:
    early = [charged("2026-04-01"), flown(NOON, percent_to=30)]
    late = [drained("2026-04-03", 20), charged("2026-04-04"), flown("2026-04-05 12:00", percent_to=10)]
    before, after = charge(*early), charge(*early, *late)
    times = [moment("2026-04-01") + step * HOUR for step in range(48)]
    assert [before.at(time) for time in times] == [after.at(time) for time in times]


# --- why ------------------------------------------------------------------------------------------------------------


def test_the_evidence_is_the_events_that_the_value_comes_from() -> None:
    entries = [charged("2026-04-01"), flown(NOON, used_mah=1000), flown("2026-04-01 13:00", percent_to=30)]
    found = charge(*entries)
    assert reasons(found, moment(NOON)) == ["e1", "e2"]
    assert reasons(found, moment("2026-04-01 12:50")) == [
        "e1",
        "e2",
        "e3",
    ]  # ramp: from the charge before to the end percent
    assert reasons(found, moment("2026-04-01 13:00")) == ["e3"]


# --- cycles ---------------------------------------------------------------------------------------------------------


def test_cycles_are_percent_taken_out_over_a_hundred_in_flights_and_drains() -> None:
    found = cycles(
        charged("2026-04-01"),
        flown("2026-04-01 12:00", percent_to=30),
        charged("2026-04-01 18:00"),
        drained("2026-04-02", 60),
        drained("2026-04-03", 70),  # a drain takes nothing out of a pack that holds less
        in_service="2026-03-01",
    )
    assert values(found, "2026-03-31", "2026-04-01 11:59", "2026-04-01 12:00", "2026-04-02", "2026-04-04") == [
        0, 0, pytest.approx(0.7), pytest.approx(1.1), pytest.approx(1.1),
    ]  # fmt: skip


SELF_DRAINED = {"self_drain": {"after": "5 d", "to": "60 %", "over": "2 d"}}
SELF_EMPTIED = {"self_discharge": "60 %"}


@pytest.mark.parametrize(
    ("plate", "flight", "take_off", "landed"),
    [
        (SELF_DRAINED, {"percent_to": 25}, 60, 25),
        (SELF_DRAINED, {"used_mah": 1500}, 60, 30),
        (SELF_EMPTIED, {"percent_to": 0}, 0, 0),
        (SELF_EMPTIED, {"used_mah": 500}, 0, 0),
    ],
)
def test_a_pack_takes_off_with_the_charge_left_after_its_time_on_the_shelf(
    plate: Fields, flight: Fields, take_off: float, landed: float
) -> None:
    """Two weeks after its charge of a hundred percent, or two months."""
    entries = charged("2026-02-01" if plate is SELF_EMPTIED else "2026-03-18 12:00"), flown(NOON, **flight)
    store = book_of(pack(**plate), *entries)
    found, start = fact(store, "B", "charge"), moment("2026-04-01 11:40")
    halfway = (take_off + landed) / 2
    assert [found.at(at) for at in (start - 1, start, start + 10 * MINUTE, moment(NOON))] == pytest.approx(
        [take_off, take_off, halfway, landed]
    )
    assert [reasons(found, at) for at in (start - 1, start)] == [["e1"], ["e1", "e2"]]
    assert reasons(found, moment(NOON)) == (["e2"] if "percent_to" in flight else ["e1", "e2"])
    taken = fact(store, "B", "cycles")
    assert values(taken, "2026-04-01 11:59", NOON) == pytest.approx([0, (take_off - landed) / 100])


def test_self_discharge_and_readings_take_no_cycles() -> None:
    found = cycles(charged("2026-04-01"), measured("2026-05-01", percent=50), self_discharge="3 %")
    assert found.at(moment("2026-06-01")) == 0


def test_a_total_that_the_pack_shows_replaces_the_sum() -> None:
    found = cycles(flown(NOON, percent_from=100, percent_to=30), measured("2026-04-02", cycles_total=41),
                   flown("2026-04-03 12:00", percent_from=100, percent_to=50))  # fmt: skip
    assert values(found, NOON, "2026-04-02", "2026-04-03 12:00") == pytest.approx([0.7, 41, 41.5])
    assert reasons(found, moment("2026-04-03 12:00")) == ["e2", "e3"]


@pytest.mark.parametrize(
    ("fields", "total"),
    [
        ({"percent_from": 100, "percent_to": 40}, 3.0),
        ({"percent_to": 40}, 3.0),  # from full without a start percent
        ({"used_mah": 10_000}, 2.0),
        ({}, 5.0),  # no percent: whole cycles, the most it can have been
    ],
)
def test_a_summary_counts_its_flights_for_wear(fields: Fields, total: float) -> None:
    assert cycles(flown(NOON, 100, flights=5, **fields)).at(moment(NOON)) == pytest.approx(total)


@pytest.mark.parametrize(("fields", "total"), [({"used_mah": 2500}, 0.5), ({}, 1.0)])
def test_a_flight_counts_even_where_its_charge_is_unknown(fields: Fields, total: float) -> None:
    """By what was used; without that as a whole cycle, the most it can have been."""
    assert cycles(flown(NOON, **fields)).at(moment(NOON)) == total


def test_cycles_are_also_a_share_of_the_rating() -> None:
    entries = flown(NOON, percent_from=100, percent_to=40), measured("2026-04-02", cycles_total=150)
    found = fact(book_of(pack(rated_cycles=300), *entries), "B", "cycles_of_rating")
    assert values(found, NOON, "2026-04-02") == pytest.approx([0.2, 50])


def test_hours_since_reading_rise_from_the_last_event_that_told_the_charge() -> None:
    found = fact(
        book_of(
            pack(in_service="2026-03-01"),
            charged("2026-04-01"),
            measured("2026-04-02", temperature_c=20),
            flown("2026-04-03 12:00", percent_to=30),
        ),
        "B",
        "hours_since_reading",
    )
    assert values(found, "2026-03-02", "2026-04-01 01:00", "2026-04-02 01:00", "2026-04-03 12:30") == [
        DAY, HOUR, 25 * HOUR, 30 * MINUTE,
    ]  # fmt: skip
    assert found.compare("at_least", DAY) == Intervals.of(
        [(MIN_INSTANT, 1), (moment("2026-03-01"), 0), (moment("2026-03-02"), 2), (moment("2026-04-01"), 0),
         (moment("2026-04-02"), 2), (moment("2026-04-03 12:00"), 0), (moment("2026-04-04 12:00"), 2)]
    )  # fmt: skip


def test_a_fact_store_computes_a_fact_once() -> None:
    store: FactStore = book_of(pack(), charged(NOON))
    assert fact(store, "B", "charge") is fact(store, "B", "charge")


# --- what is read, and what is calculated -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entries", "plate", "calculated"),
    [
        ([charged(NOON)], {}, False),
        ([measured(NOON, percent=62)], {"self_discharge": "3 %"}, False),  # a tenth of a percent in a day
        ([measured("2026-03-01", percent=62)], {"self_discharge": "3 %"}, True),
        ([charged(NOON), flown("2026-04-01 18:00", percent_to=31)], {}, False),
        ([charged(NOON), flown("2026-04-01 18:00", used_mah=2500)], {}, True),
        ([charged("2026-03-01")], DRAINS, True),
        ([], {}, False),
    ],
)
def test_a_charge_that_no_event_gives_is_calculated(
    entries: list[Fields], plate: dict[str, object], calculated: bool
) -> None:
    store = book_of(pack(**plate), *entries)
    now = moment("2026-04-02 12:00")
    assert is_calculated(fact(store, "B", "charge").segment(now), now, store.fleet["B"].plate) is calculated
