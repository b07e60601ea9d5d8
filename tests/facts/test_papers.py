"""Papers and spares."""

import pytest

from scheduler.base.instants import DAY, HOUR
from scheduler.facts.timeline import Timeline
from tests.support import Fields, book_of, event, fact, moment, reasons


def expiry(plate: Fields, *renewals: Fields, zone: str = "UTC") -> Timeline:
    store = book_of({"papers": [{"id": "paper"} | plate]}, *renewals, zone=zone)
    return fact(store, "paper", "days_to_expiry")


def renewed(at: str, **fields: object) -> Fields:
    return event(at, "renewed", item="paper", **fields)


def lapses(timeline: Timeline) -> int:
    """The instant at which the paper, by its last renewal, is no longer good."""
    last = timeline.segments[-1]
    return last.start + int(last.value)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("valid_for", "issued", "last_day_over"),
    [
        # 14 CFR 107.65: 24 calendar months run to the end of the month.
        ("24 calendar months", "2024-01-31", "2026-02-01"),
        ("24 calendar months", "2025-03-01", "2027-04-01"),
        # CARs 901.56: 24 months to the day. The boundary day itself is good: this project's choice.
        ("24 months", "2024-03-15", "2026-03-16"),
        # 14 CFR 48.100(c): three years.
        ("3 y", "2024-06-15", "2027-06-16"),
        ("1 y", "2024-02-29", "2025-03-01"),
        ("90 d", "2026-08-20", "2026-11-19"),
        ("99999 y", "2026-03-01", "9999-12-31 24:00"),
        ("999999999 weeks", "2026-03-01", "9999-12-31 24:00"),
    ],
)
def test_a_paper_is_good_to_the_end_of_its_last_day(valid_for: str, issued: str, last_day_over: str) -> None:
    found = expiry({"valid_for": valid_for}, renewed("2026-04-01", issued=issued))
    end = moment("9999-12-31") + DAY if last_day_over.endswith("24:00") else moment(last_day_over)
    assert lapses(found) == end


@pytest.mark.parametrize("issued", ["2026-10-20", "2026-03-20"])
def test_days_are_counted_on_the_calendar_over_a_change_of_the_clock(issued: str) -> None:
    """Ten days after 20 October is 30 October, though one of the days has 25 hours."""
    found = expiry({"valid_for": "10 d"}, renewed("2026-11-01", issued=issued), zone="Europe/Lisbon")
    last = {"2026-10-20": "2026-10-31 00:00", "2026-03-20": "2026-03-30 23:00"}[issued]
    assert lapses(found) == moment(last)


def test_papers_run_in_the_operator_s_zone() -> None:
    found = expiry({}, renewed("2026-01-01", expires="2026-06-30"), zone="America/New_York")
    assert lapses(found) == moment("2026-07-01 04:00")


def test_a_paper_without_end_is_handled() -> None:
    assert lapses(expiry({}, renewed("2026-01-01", expires="2199-12-31"))) == moment("2199-12-31") + DAY


def test_a_renewal_without_a_date_is_issued_on_its_own_day() -> None:
    found = expiry({"valid_for": "1 y"}, renewed("2026-06-30 23:30"), zone="Europe/Lisbon")  # 1 July there
    assert lapses(found) == moment("2027-07-01 23:00")


def test_expires_outranks_valid_for() -> None:
    found = expiry({"valid_for": "1 y"}, renewed("2026-01-01", expires="2026-06-30"))
    assert lapses(found) == moment("2026-07-01")


def test_time_to_expiry_falls_below_0() -> None:
    found = expiry({}, renewed("2026-01-01", expires="2026-06-30"))
    assert found.at(moment("2025-12-31")) is None
    assert found.at(moment("2026-06-30")) == DAY
    assert found.at(moment("2026-07-02")) == -DAY
    assert found.compare("less_than", 30 * DAY).next_change(moment("2026-01-02")) == moment("2026-06-01") + 1


RENEWALS = [renewed("2024-06-15", issued="2024-06-15"), renewed("2027-01-10")]


def test_a_renewal_counts_from_the_old_expiry_where_the_law_has_it_so() -> None:
    """14 CFR 48.100(c): renewed 2027-01-10, before 2027-06-15, so good to 2030-06-15."""
    assert lapses(expiry({"valid_for": "3 y", "renew_from": "expiry"}, *RENEWALS)) == moment("2030-06-16")
    assert lapses(expiry({"valid_for": "3 y"}, *RENEWALS)) == moment("2030-01-11")


@pytest.mark.parametrize(
    ("issued", "over"),
    [("2027-06-15", "2030-06-16"), ("2027-06-16", "2030-06-17")],  # on the last good day; a day too late
)
def test_a_renewal_after_the_lapse_counts_from_its_own_day(issued: str, over: str) -> None:
    plate = {"valid_for": "3 y", "renew_from": "expiry"}
    assert lapses(expiry(plate, RENEWALS[0], renewed("2027-07-01", issued=issued))) == moment(over)


def test_a_paper_whose_end_neither_event_nor_nameplate_tells_is_unknown() -> None:
    assert expiry({}, renewed("2026-01-01", issued="2026-01-01")).at(moment("2026-06-01")) is None


# --- spares ---------------------------------------------------------------------------------------------------------


def spares(*entries: Fields) -> Timeline:
    fleet = {"spares": [{"id": "spare-props"}], "propellers": [{"id": "props"}]}
    return fact(book_of(fleet, *entries), "spare-props", "count")


def stock(at: str, what: str, count: int) -> Fields:
    return event(at, what, item="spare-props", count=count)


def test_spares_are_unknown_before_the_first_count() -> None:
    found = spares(stock("2026-04-01", "used", 1), stock("2026-04-02", "counted", 4))
    assert [found.at(moment(f"2026-04-{day:02}")) for day in (1, 2)] == [None, 4]


def test_spares_are_counted_used_restocked_and_taken_for_a_replacement() -> None:
    found = spares(
        stock("2026-04-01", "counted", 4),
        stock("2026-04-02", "used", 2),
        event("2026-04-03", "replaced", item="props", from_spares="spare-props"),
        event("2026-04-04", "replaced", item="props"),
        stock("2026-04-05", "restocked", 8),
        stock("2026-04-06", "counted", 7),
        stock("2026-04-07", "used", 9),
    )
    assert [found.at(moment(f"2026-04-{day:02}")) for day in range(1, 8)] == [4, 2, 1, 1, 9, 7, 0]
    assert reasons(found, moment("2026-04-03")) == ["e1", "e2", "e3"]


def test_half_an_hour_before_its_end_a_paper_has_half_an_hour() -> None:
    found = expiry({}, renewed("2026-01-01", expires="2026-06-30"))
    assert found.at(moment("2026-06-30 23:30")) == HOUR // 2


def test_spares_are_below_what_to_keep_only_if_fewer_are_in_the_house() -> None:
    fleet = {"spares": [{"id": "spare-props", "keep": 4}]}
    entries = [stock("2026-04-02", "counted", 4), stock("2026-04-03", "used", 1), stock("2026-04-04", "restocked", 1)]
    found = fact(book_of(fleet, *entries), "spare-props", "below_keep")
    assert [found.at(moment(f"2026-04-0{day}")) for day in range(1, 5)] == [None, "no", "yes", "no"]
