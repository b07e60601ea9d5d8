"""Aircraft and the parts they carry: use, looks, journeys, warnings, and what was fitted when."""

import pytest

from scheduler.base.instants import DAY, HOUR, MAX_INSTANT, MIN_INSTANT, MINUTE
from scheduler.facts.fitting import fittings
from scheduler.facts.timeline import Timeline
from tests.support import Fields, book_of, event, fact, moment, reasons

FLEET = {
    "aircraft": [{"id": "heron", "in_service": "2026-01-01"}, {"id": "wagtail", "in_service": "2026-01-01"}],
    "packs": [{"id": "B"}],
    "propellers": [
        {"id": "heron-props", "fits": ["heron"], "in_service": "2026-02-01"},
        {"id": "spare-set", "fits": ["heron", "wagtail"]},
        {"id": "third-set"},
    ],
    "gimbals": [{"id": "heron-gimbal", "fits": ["heron"]}],
}


def on(at: str, what: str, item: str = "heron", **fields: object) -> Fields:
    return event(at, what, item=item, **fields)


def flown(at: str, minutes: float = 20, aircraft: str = "heron", **fields: object) -> Fields:
    return event(at, "flown", aircraft=aircraft, packs=["B"], minutes=minutes, **fields)


def of(name: str, *entries: Fields, item: str = "heron", variant: str | None = None) -> Timeline:
    return fact(book_of(FLEET, *entries), item, name, variant)


def days(timeline: Timeline, *numbers: int) -> list[object]:
    """The values at noon of some days of April."""
    return [timeline.at(moment(f"2026-04-{number:02} 12:00")) for number in numbers]


# --- use ------------------------------------------------------------------------------------------------------------


def test_airtime_and_flights_are_counted_at_each_landing() -> None:
    entries = [flown("2026-04-01 12:00", 17.5), flown("2026-04-02 12:00", 20), flown("2026-04-03 12:00", 90, flights=4)]
    assert days(of("airtime", *entries), 0 + 1, 2, 3) == [17.5 * MINUTE, 37.5 * MINUTE, 127.5 * MINUTE]
    assert days(of("flights", *entries), 1, 2, 3) == [1, 2, 6]
    assert of("airtime", *entries).at(moment("2026-04-01 11:59")) == 0


def test_a_total_that_the_aircraft_shows_replaces_the_sum() -> None:
    found = of("airtime", flown("2026-04-01 12:00", 20), on("2026-04-02 12:00", "measured", airtime_total=600),
               flown("2026-04-03 12:00", 30))  # fmt: skip
    assert days(found, 1, 2, 3) == [20 * MINUTE, 10 * HOUR, 10 * HOUR + 30 * MINUTE]
    assert reasons(found, moment("2026-04-03 12:00")) == ["e2", "e3"]


def test_counts_begin_with_the_first_event_where_the_nameplate_tells_no_day() -> None:
    store = book_of({"aircraft": [{"id": "heron"}]}, on("2026-03-20", "received"), flown("2026-04-01 12:00"))
    assert [fact(store, "heron", "flights").at(moment(t)) for t in ("2026-03-19", "2026-03-20", "2026-04-02")] == [
        None, 0, 1,
    ]  # fmt: skip
    assert fact(store, "heron", "age").at(moment("2026-03-21")) == DAY


def test_in_service_begins_with_the_local_day() -> None:
    store = book_of({"aircraft": [{"id": "heron", "in_service": "2026-07-01"}]}, zone="Europe/Lisbon")
    assert fact(store, "heron", "age").at(moment("2026-06-30 23:00")) == 0
    assert fact(store, "heron", "age").at(moment("2026-06-30 22:59")) is None


def test_idle_rises_from_the_last_landing_or_from_coming_into_use() -> None:
    found = of("idle", flown("2026-04-01 12:00"))
    assert found.at(moment("2026-01-05")) == 4 * DAY
    assert days(found, 1, 3) == [0, 2 * DAY]


def test_counts_since_a_look_restart_at_each_look_whatever_its_result() -> None:
    entries = [
        flown("2026-04-01 12:00", 20),
        flown("2026-04-02 12:00", 10),
        on("2026-04-03 10:00", "inspected", result="doubtful"),
        flown("2026-04-04 12:00", 5),
    ]
    assert days(of("airtime_since_inspected", *entries), 2, 3, 4) == [30 * MINUTE, 0, 5 * MINUTE]
    assert days(of("flights_since_inspected", *entries), 2, 3, 4) == [2, 0, 1]
    assert days(of("since_inspected", *entries), 3, 4) == [2 * HOUR, 26 * HOUR]
    assert reasons(of("flights_since_inspected", *entries), moment("2026-04-04 12:00")) == ["e3", "e4"]


# --- looks, repairs, warnings ---------------------------------------------------------------------------------------


def test_a_mishap_is_open_until_a_look_that_passed() -> None:
    found = of(
        "mishap_since_inspected",
        on("2026-04-02 10:00", "mishap", severity="hard_landing"),
        on("2026-04-03 10:00", "inspected", result="doubtful"),
        on("2026-04-04 10:00", "inspected", result="pass"),
    )
    assert days(found, 1, 2, 3, 4) == ["no", "yes", "yes", "no"]


@pytest.mark.parametrize("result", ["doubtful", "fail"])
@pytest.mark.parametrize("cure", [{"what": "inspected", "result": "pass"}, {"what": "repaired"}])
def test_doubtful_grounds_like_fail_until_a_pass_or_a_repair(result: str, cure: Fields) -> None:
    found = of("found_unfit", on("2026-04-02 10:00", "inspected", result=result), on("2026-04-04 10:00", **cure))  # type: ignore[arg-type]
    assert days(found, 1, 2, 3, 4) == ["no", "yes", "yes", "no"]


def test_a_repair_or_an_update_makes_a_test_flight_due() -> None:
    found = of(
        "test_flight_due",
        on("2026-04-02 10:00", "repaired"),
        flown("2026-04-03 10:00", purpose="job"),
        flown("2026-04-04 10:00", purpose="test"),
        on("2026-04-05 10:00", "updated", version="1.2"),
    )
    assert days(found, 1, 2, 3, 4, 5) == ["no", "yes", "yes", "no", "yes"]


def test_a_warning_is_open_until_a_look_that_passed() -> None:
    found = of("warning_open", on("2026-04-02 10:00", "warned", of="motor"),
               on("2026-04-03 10:00", "inspected", result="fail"),
               on("2026-04-04 10:00", "inspected", result="pass"))  # fmt: skip
    assert days(found, 1, 2, 3, 4) == ["no", "yes", "yes", "no"]


def test_each_kind_of_calibration_counts_on_its_own_and_the_first_is_the_default() -> None:
    entries = [
        on("2026-04-01 10:00", "calibrated", what_of="imu"),
        on("2026-04-02 10:00", "moved", how="freight"),
        on("2026-04-03 10:00", "calibrated", what_of="compass"),
        on("2026-04-04 10:00", "calibrated", what_of="imu"),
    ]
    assert days(of("calibrated", *entries, variant="imu"), 1) == ["yes"]
    assert days(of("calibrated", *entries, variant="compass"), 1, 3) == ["no", "yes"]
    assert days(of("moved_since_calibrated", *entries, variant="imu"), 1, 2, 3, 4) == ["no", "yes", "yes", "no"]
    assert days(of("moved_since_calibrated", *entries, variant="compass"), 2, 3) == ["yes", "no"]
    assert days(of("moved_since_calibrated", *entries), 3) == ["yes"]


@pytest.mark.parametrize(
    ("how", "counts"), [("airline", "yes"), ("freight", "yes"), ("driven", "no"), ("carried", "no")]
)
@pytest.mark.parametrize("what", ["moved", "received"])
def test_only_shipping_asks_for_calibration(what: str, how: str, counts: str) -> None:
    assert days(of("moved_since_calibrated", on("2026-04-02 10:00", what, how=how)), 2) == [counts]


def test_two_journeys_in_a_row_are_both_the_reason() -> None:
    found = of(
        "moved_since_calibrated", on("2026-04-02", "moved", how="freight"), on("2026-04-03", "moved", how="airline")
    )
    assert reasons(found, moment("2026-04-04")) == ["e1", "e2"]


@pytest.mark.parametrize("finding", ["nicked", "cracked", "bent", "loose", "missing"])
def test_a_damaged_blade_is_replaced_not_mended(finding: str) -> None:
    entries = [
        on("2026-04-02 10:00", "noticed", "heron-props", findings=[finding]),
        on("2026-04-03 10:00", "repaired", "heron-props"),
        on("2026-04-04 10:00", "inspected", "heron-props", result="pass"),
        on("2026-04-05 10:00", "replaced", "heron-props"),
    ]
    assert days(of("damaged", *entries, item="heron-props"), 1, 2, 3, 4, 5) == ["no", "yes", "yes", "yes", "no"]


# --- parts ----------------------------------------------------------------------------------------------------------


def fitted_on(part: str, *entries: Fields) -> list[tuple[int, int, str]]:
    store = book_of(FLEET, *entries)
    return fittings(store, store.fleet[part])


def test_a_part_that_fits_one_aircraft_only_is_on_it_from_in_service() -> None:
    assert fitted_on("heron-props") == [(moment("2026-02-01"), MAX_INSTANT, "heron")]
    assert fitted_on("heron-gimbal") == [(MIN_INSTANT, MAX_INSTANT, "heron")]


def test_a_part_that_fits_several_is_on_none_until_fitted() -> None:
    assert fitted_on("spare-set") == fitted_on("third-set") == []


def test_a_part_is_on_an_aircraft_from_fitted_to_removed_or_to_fitted_elsewhere() -> None:
    assert fitted_on(
        "spare-set",
        on("2026-03-01", "fitted", "spare-set", aircraft="heron"),
        on("2026-03-05", "removed", "spare-set"),
        on("2026-03-08", "fitted", "spare-set", aircraft="heron"),
        on("2026-03-10", "fitted", "spare-set", aircraft="wagtail"),
        on("2026-03-20", "retired", "spare-set"),
    ) == [
        (moment("2026-03-01"), moment("2026-03-05"), "heron"),
        (moment("2026-03-08"), moment("2026-03-10"), "heron"),
        (moment("2026-03-10"), moment("2026-03-20"), "wagtail"),
    ]


def test_fitting_a_part_takes_off_the_one_of_its_kind_and_no_other() -> None:
    entries = [on("2026-03-01", "fitted", "spare-set", aircraft="heron")]
    assert fitted_on("heron-props", *entries) == [(moment("2026-02-01"), moment("2026-03-01"), "heron")]
    assert fitted_on("heron-gimbal", *entries) == [(MIN_INSTANT, MAX_INSTANT, "heron")]


def test_a_replaced_part_stays_fitted() -> None:
    entries = [on("2026-03-01", "replaced", "heron-props"), flown("2026-04-01 12:00")]
    assert fitted_on("heron-props", *entries) == [(moment("2026-02-01"), MAX_INSTANT, "heron")]
    assert days(of("flights", *entries, item="heron-props"), 1) == [1]


def test_a_part_counts_the_flights_of_its_aircraft_while_it_is_on_it() -> None:
    entries = [
        flown("2026-03-15 12:00", 10),  # before it was fitted
        on("2026-04-01", "fitted", "spare-set", aircraft="heron"),
        flown("2026-04-01 12:00", 20),
        flown("2026-04-01 12:30", 20, aircraft="wagtail"),
        on("2026-04-02", "fitted", "spare-set", aircraft="wagtail"),
        flown("2026-04-02 11:00", 30, aircraft="wagtail"),
        on("2026-04-03", "removed", "spare-set"),
        flown("2026-04-03 12:00", 40),
    ]
    assert days(of("airtime", *entries, item="spare-set"), 1, 2, 4) == [20 * MINUTE, 50 * MINUTE, 50 * MINUTE]
    assert days(of("flights", *entries, item="heron-gimbal"), 4) == [3]


def test_a_flight_counts_for_the_parts_on_the_aircraft_at_take_off() -> None:
    """Fitted, as logged, while it flew: that flight was made without it."""
    entries = [on("2026-04-01 11:50", "fitted", "spare-set", aircraft="heron"), flown("2026-04-01 12:00", 20)]
    assert days(of("flights", *entries, item="spare-set"), 1) == [0]
    assert days(of("flights", *entries, item="heron-props"), 1) == [1]


def test_a_mishap_of_the_aircraft_counts_for_what_was_on_it() -> None:
    entries = [
        on("2026-03-01", "fitted", "spare-set", aircraft="wagtail"),
        on("2026-04-01", "mishap", severity="strike"),
    ]
    named = {part: days(of("mishap_since_inspected", *entries, item=part), 2) for part in ("heron-props", "spare-set")}
    assert named == {"heron-props": ["yes"], "spare-set": ["no"]}


def test_a_look_at_the_part_settles_the_mishap_for_the_part_alone() -> None:
    entries = [
        on("2026-04-01", "mishap", severity="strike"),
        on("2026-04-02", "inspected", "heron-props", result="pass"),
    ]
    assert days(of("mishap_since_inspected", *entries, item="heron-props"), 2) == ["no"]
    assert days(of("mishap_since_inspected", *entries), 2) == ["yes"]


def test_what_shook_it_last_is_known_until_it_is_calibrated() -> None:
    shaken = of(
        "shaken_since_calibrated",
        on("2026-04-01 10:00", "moved", how="driven"),
        on("2026-04-02 10:00", "moved", how="freight"),
        on("2026-04-03 10:00", "mishap", severity="hard_landing"),
        on("2026-04-04 10:00", "calibrated", what_of="compass"),
        on("2026-04-05 10:00", "calibrated", what_of="imu"),
        on("2026-04-06 10:00", "mishap", severity="strike"),
        on("2026-04-07 10:00", "received", how="airline"),
    )
    assert days(shaken, 1, 2, 3, 4, 5, 6, 7) == [
        "nothing shook it", "it was shipped", "it landed hard", "it landed hard", "nothing shook it",
        "it hit something", "it flew by airline",
    ]  # fmt: skip
