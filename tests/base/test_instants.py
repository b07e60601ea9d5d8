"""Instants, spans and the calendar against published values.

Zone transitions are those of tzdata 2026f. "From memory" stands where a document was not at hand.
"""

from datetime import UTC, date, datetime, timedelta
from datetime import time as clock
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.base.instants import (
    DAY,
    HOUR,
    MAX_INSTANT,
    MIN_INSTANT,
    MINUTE,
    SECOND,
    WEEK,
    CalendarSpan,
    add_months,
    add_span,
    at_local,
    end_of_day,
    from_datetime,
    local_date,
    next_local,
    parse_clock,
    parse_date,
    parse_rfc3339,
    parse_span,
    rfc3339,
    start_of_day,
    to_datetime,
)

NEW_YORK, BERLIN = ZoneInfo("America/New_York"), ZoneInfo("Europe/Berlin")
ZONES = [NEW_YORK, BERLIN, *map(ZoneInfo, ("Europe/London", "Australia/Sydney", "Australia/Lord_Howe", "UTC"))]
DATES = st.dates(date(1970, 1, 1), date(2200, 1, 1))
CALENDAR_MONTHS_24 = CalendarSpan(24, to_month_end=True)


def utc(text: str) -> int:
    return parse_rfc3339(text)


def day(text: str) -> date:
    return date.fromisoformat(text)


# --- the calendar ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("passed", "last_day"),
    [
        # 14 CFR 107.65: 24 calendar months run to the end of a month. The first, and the early and late renewals of
        # 2018, are the worked examples of FAA AC 107-2, from memory.
        ("2016-09-13", "2018-09-30"),
        ("2018-07-15", "2020-07-31"),
        ("2018-10-05", "2020-10-31"),
        ("2024-01-31", "2026-01-31"),
        ("2024-02-29", "2026-02-28"),
        ("2024-12-01", "2026-12-31"),
        ("2025-03-01", "2027-03-31"),
        ("2026-11-25", "2028-11-30"),
        ("2022-02-01", "2024-02-29"),
    ],
)
def test_calendar_months_end_with_the_last_day_of_a_month(passed: str, last_day: str) -> None:
    assert add_months(day(passed), CALENDAR_MONTHS_24) == day(last_day)


@pytest.mark.parametrize(
    ("start", "months", "reached"),
    [
        # CARs 901.56: within the 24 months preceding the flight, to the day. The boundary day is this project's choice.
        ("2024-03-15", 24, "2026-03-15"),
        # 14 CFR 48.100(c): three years from its date; a renewal runs three years from the previous expiry.
        ("2024-06-15", 36, "2027-06-15"),
        ("2027-06-15", 36, "2030-06-15"),
        # The rule is silent on 29 February; the day before is the cautious reading.
        ("2024-02-29", 36, "2027-02-28"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2024-02-29", 48, "2028-02-29"),
        ("2025-02-28", 12, "2026-02-28"),
        ("2026-01-31", 1, "2026-02-28"),
        ("2026-12-31", 2, "2027-02-28"),
        ("2026-08-31", 0, "2026-08-31"),
    ],
)
def test_plain_months_are_to_the_day_and_clamp_to_a_shorter_month(start: str, months: int, reached: str) -> None:
    assert add_months(day(start), CalendarSpan(months)) == day(reached)


@given(DATES, st.integers(1, 28), st.integers(1, 28), st.integers(0, 120))
def test_two_dates_of_one_month_fall_due_together_under_calendar_months(
    month: date, one: int, two: int, months: int
) -> None:
    span = CalendarSpan(months, to_month_end=True)
    assert add_months(month.replace(day=one), span) == add_months(month.replace(day=two), span)


@given(DATES, st.integers(0, 1200))
def test_plain_months_agree_with_dateutil(start: date, months: int) -> None:
    relativedelta = pytest.importorskip("dateutil.relativedelta").relativedelta
    assert add_months(start, CalendarSpan(months)) == start + relativedelta(months=months)


@given(DATES, st.integers(0, 1200))
def test_calendar_months_agree_with_dateutil(start: date, months: int) -> None:
    relativedelta = pytest.importorskip("dateutil.relativedelta").relativedelta
    expected = start + relativedelta(months=months, day=31)
    assert add_months(start, CalendarSpan(months, to_month_end=True)) == expected


def test_months_past_the_calendar_end_with_its_last_day() -> None:
    """A paper valid for 99999 y never lapses; it must not raise."""
    assert add_months(day("2026-03-01"), CalendarSpan(12 * 99_999)) == date.max
    assert add_months(day("9999-06-01"), CalendarSpan(6, to_month_end=True)) == day("9999-12-31")


def test_the_calendar_s_last_day_has_an_end() -> None:
    assert end_of_day(date.max, ZoneInfo("UTC")) == start_of_day(date.max, ZoneInfo("UTC")) + DAY


# --- local times ----------------------------------------------------------------------------------------------------

SPRING = [
    # zone, local day, hour skipped, first instant after the gap
    ("America/New_York", "2026-03-08", 2, "2026-03-08T07:00:00Z"),
    ("America/New_York", "2027-03-14", 2, "2027-03-14T07:00:00Z"),
    ("America/Los_Angeles", "2026-03-08", 2, "2026-03-08T10:00:00Z"),
    ("Europe/Berlin", "2026-03-29", 2, "2026-03-29T01:00:00Z"),
    ("Europe/Berlin", "2027-03-28", 2, "2027-03-28T01:00:00Z"),
    ("Europe/London", "2026-03-29", 1, "2026-03-29T01:00:00Z"),
    ("Australia/Sydney", "2026-10-04", 2, "2026-10-03T16:00:00Z"),
]
AUTUMN = [
    # zone, local day, hour repeated, the instant at which the clock goes back
    ("America/New_York", "2026-11-01", 1, "2026-11-01T06:00:00Z"),
    ("America/New_York", "2027-11-07", 1, "2027-11-07T06:00:00Z"),
    ("America/Los_Angeles", "2026-11-01", 1, "2026-11-01T09:00:00Z"),
    ("Europe/Berlin", "2026-10-25", 2, "2026-10-25T01:00:00Z"),
    ("Europe/Berlin", "2027-10-31", 2, "2027-10-31T01:00:00Z"),
    ("Europe/London", "2026-10-25", 1, "2026-10-25T01:00:00Z"),
    ("Australia/Sydney", "2026-04-05", 2, "2026-04-04T16:00:00Z"),
]


@pytest.mark.parametrize(("zone", "local", "hour", "after"), SPRING)
@pytest.mark.parametrize("time", [clock(0, 0), clock(0, 30), clock(0, 59, 59, 999_999)], ids=str)
def test_a_time_that_the_clock_skips_happens_at_the_first_instant_after_the_gap(
    zone: str, local: str, hour: int, after: str, time: clock
) -> None:
    """The project's policy. RFC 5545 3.3.5 reads an explicit time with the offset before the gap instead."""
    assert at_local(day(local), time.replace(hour=hour), ZoneInfo(zone)) == utc(after)
    assert at_local(day(local), clock(hour + 1), ZoneInfo(zone)) == utc(after)
    assert at_local(day(local), clock(hour - 1, 59), ZoneInfo(zone)) == utc(after) - MINUTE


@pytest.mark.parametrize(("zone", "local", "hour", "back"), AUTUMN)
def test_a_time_that_the_clock_repeats_happens_the_first_time(zone: str, local: str, hour: int, back: str) -> None:
    """RFC 5545 3.3.5: "the first occurrence of the referenced time"."""
    assert at_local(day(local), clock(hour, 30), ZoneInfo(zone)) == utc(back) - 30 * MINUTE
    assert at_local(day(local), clock(hour), ZoneInfo(zone)) == utc(back) - HOUR
    assert at_local(day(local), clock(hour + 1), ZoneInfo(zone)) == utc(back) + HOUR


def test_the_local_times_of_rfc_5545() -> None:
    """RFC 5545 3.3.5: 2007-11-04 01:30 in New York is 05:30 UTC. Its 2007-03-11 02:30 is read there as 03:30 EDT; here
    as the first instant after the gap, 03:00 EDT."""
    assert at_local(day("2007-11-04"), clock(1, 30), NEW_YORK) == utc("2007-11-04T05:30:00Z")
    assert at_local(day("2007-03-11"), clock(2, 30), NEW_YORK) == utc("2007-03-11T07:00:00Z")


@pytest.mark.parametrize(
    ("zone", "local", "time", "instant"),
    [
        # A gap of half an hour, one at midnight, and one of a whole day (tzdata).
        ("Australia/Lord_Howe", "2026-10-04", clock(2, 15), "2026-10-03T15:30:00Z"),
        ("America/Sao_Paulo", "2018-11-04", clock(0), "2018-11-04T03:00:00Z"),
        ("Pacific/Apia", "2011-12-30", clock(12), "2011-12-30T10:00:00Z"),
    ],
)
def test_odd_gaps(zone: str, local: str, time: clock, instant: str) -> None:
    assert at_local(day(local), time, ZoneInfo(zone)) == utc(instant)


@given(st.sampled_from(ZONES), st.lists(st.datetimes(datetime(1980, 1, 1), datetime(2037, 1, 1)), min_size=2))
def test_local_times_in_order_happen_in_order(zone: ZoneInfo, walls: list[datetime]) -> None:
    """Skipped times collapse on one instant; none overtakes another. A repeated hour counts the first time only."""
    instants = [at_local(wall.date(), wall.time(), zone) for wall in sorted(walls)]
    assert all(one <= two for one, two in pairwise(instants))


@given(st.sampled_from(ZONES), st.datetimes(datetime(1980, 1, 1), datetime(2037, 1, 1)))
def test_a_local_time_that_the_clock_shows_reads_back(zone: ZoneInfo, wall: datetime) -> None:
    shown = to_datetime(at_local(wall.date(), wall.time(), zone), zone).replace(tzinfo=None)
    assert shown >= wall
    assert shown == wall or wall.replace(tzinfo=zone).utcoffset() != wall.replace(tzinfo=zone, fold=1).utcoffset()


@pytest.mark.parametrize(
    ("start", "hours", "reached"),
    [
        # RFC 5545 3.3.6: hours are exact.
        ("2026-03-07T09:00:00-05:00", 24, "2026-03-08T10:00:00-04:00"),
        ("2026-10-31T09:00:00-04:00", 24, "2026-11-01T08:00:00-05:00"),
    ],
)
def test_intervals_in_hours_are_exact(start: str, hours: int, reached: str) -> None:
    assert rfc3339(add_span(utc(start), hours * HOUR, NEW_YORK), NEW_YORK) == reached


@pytest.mark.parametrize(
    ("start", "span", "reached"),
    [
        ("2026-02-15T09:00:00-05:00", CalendarSpan(1), "2026-03-15T09:00:00-04:00"),
        ("2026-02-08T02:30:00-05:00", CalendarSpan(1), "2026-03-08T03:00:00-04:00"),
        ("2026-02-15T09:00:00-05:00", CalendarSpan(1, to_month_end=True), "2026-04-01T00:00:00-04:00"),
    ],
)
def test_months_keep_the_time_of_day_on_the_local_clock(start: str, span: CalendarSpan, reached: str) -> None:
    assert rfc3339(add_span(utc(start), span, NEW_YORK), NEW_YORK) == reached


@pytest.mark.parametrize(
    ("local", "hours"),
    [("2026-03-29", 23), ("2026-10-25", 25), ("2026-07-01", 24)],
)
def test_a_local_day_is_as_long_as_the_clock_makes_it(local: str, hours: int) -> None:
    assert end_of_day(day(local), BERLIN) - start_of_day(day(local), BERLIN) == hours * HOUR


@pytest.mark.parametrize(
    ("instant", "time", "found"),
    [
        ("2026-04-01T04:59:59Z", clock(7), "2026-04-01T05:00:00Z"),
        ("2026-04-01T05:00:00Z", clock(7), "2026-04-01T05:00:00Z"),
        ("2026-04-01T05:00:00.000001Z", clock(7), "2026-04-02T05:00:00Z"),
        ("2026-03-28T23:30:00Z", clock(2, 30), "2026-03-29T01:00:00Z"),  # skipped that night
        ("2026-10-24T23:30:00Z", clock(2, 30), "2026-10-25T00:30:00Z"),  # the first of two
        ("2026-10-25T00:30:00.000001Z", clock(2, 30), "2026-10-26T01:30:00Z"),  # never the second
    ],
)
def test_the_next_local_time_comes_once_a_day(instant: str, time: clock, found: str) -> None:
    assert rfc3339(next_local(utc(instant), time, BERLIN)) == found


# --- RFC 3339 -------------------------------------------------------------------------------------------------------

VALID = [
    # JSON-Schema-Test-Suite, draft2020-12, optional/format/date-time; and RFC 3339 section 5.8, from memory.
    ("1963-06-19T08:30:06.283185Z", datetime(1963, 6, 19, 8, 30, 6, 283_185, UTC)),
    ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870_000, UTC)),
    ("1990-12-31T15:59:50.123-08:00", datetime(1990, 12, 31, 23, 59, 50, 123_000, UTC)),
    ("1998-12-31T23:59:60Z", datetime(1999, 1, 1, tzinfo=UTC)),
    ("1998-12-31T15:59:60.123-08:00", datetime(1999, 1, 1, 0, 0, 0, 123_000, UTC)),
    ("1998-12-31t23:59:60z", datetime(1999, 1, 1, tzinfo=UTC)),
    ("1963-06-19t08:30:06.283185z", datetime(1963, 6, 19, 8, 30, 6, 283_185, UTC)),
    ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC)),
    ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
    ("1990-12-31T23:59:60Z", datetime(1991, 1, 1, tzinfo=UTC)),
    ("2026-04-01 18:40:00+02:00", datetime(2026, 4, 1, 16, 40, tzinfo=UTC)),
    ("2026-04-01T18:40:00.123456789Z", datetime(2026, 4, 1, 18, 40, 0, 123_456, UTC)),
    ("1969-12-31T23:59:59.999999Z", datetime(1969, 12, 31, 23, 59, 59, 999_999, UTC)),
]
INVALID = [
    # The same suite.
    "1998-12-31T23:59:61Z", "1998-12-31T23:58:60Z", "1998-12-31T22:59:60Z", "1990-02-31T15:59:59.123-08:00",
    "1990-12-31T15:59:59-24:00", "1990-12-31T10:00:00+10:60", "2013-350T01:01:01", "1963-6-19T08:30:06.283185Z",
    "06/19/1963 08:30:06 PST", "1963-06-1৪T00:00:00Z", "1963-06-11T0৪:00:00Z", "1963-06-19T24:00:00Z",
    # No offset, and slips of the hand.
    "2026-04-01T18:40:00", "2026-04-01", "2026-04-01T18:40Z", "2026-04-01T18:40:00Z\n", " 2026-04-01T18:40:00Z",
    "2026-04-01T18:40:00,5Z", "2026-04-01T18:60:60Z", "2025-02-29T12:00:00Z", "0000-01-01T00:00:00Z", "",
]  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), VALID)
def test_a_time_with_offset_is_read_to_the_microsecond(text: str, expected: datetime) -> None:
    assert parse_rfc3339(text) == from_datetime(expected)


@pytest.mark.parametrize("text", INVALID)
def test_what_is_no_time_with_offset_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"is (not a time with offset|no date and time)|a leap second falls only"):
        parse_rfc3339(text)


INSTANTS = st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1)).map(lambda d: from_datetime(d.replace(tzinfo=UTC)))
MODERN = st.datetimes(datetime(1980, 1, 1), datetime(2100, 1, 1)).map(lambda d: from_datetime(d.replace(tzinfo=UTC)))


@given(INSTANTS)
def test_an_instant_reads_back_from_its_text(instant: int) -> None:
    assert parse_rfc3339(rfc3339(instant)) == instant


@given(MODERN, st.sampled_from(ZONES))
def test_an_instant_reads_back_from_its_text_in_any_zone(instant: int, zone: ZoneInfo) -> None:
    assert parse_rfc3339(rfc3339(instant, zone)) == instant


@given(INSTANTS, INSTANTS)
def test_texts_in_utc_sort_as_instants_do(one: int, two: int) -> None:
    whole = [rfc3339(instant // SECOND * SECOND) for instant in sorted([one, two])]
    assert whole == sorted(whole)


@pytest.mark.parametrize("instant", [MIN_INSTANT, MAX_INSTANT])
def test_before_and_after_all_time_can_still_be_shown(instant: int) -> None:
    for zone in ZONES:
        assert local_date(instant, zone) - timedelta(days=1)
        assert local_date(-instant, zone)


# --- dates, clock times, spans --------------------------------------------------------------------------------------


def test_a_date_is_read() -> None:
    assert parse_date("2020-02-29") == date(2020, 2, 29)


@pytest.mark.parametrize(
    # JSON-Schema-Test-Suite, draft2020-12, optional/format/date.
    "text",
    ["2021-02-29", "20230328", "2023-W13-2", "1998-1-20", "1963-06-1৪", "2026-13-01", "2026-04-01\n", ""],
)
def test_what_is_no_date_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="date"):
        parse_date(text)


@pytest.mark.parametrize(("text", "time"), [("07:00", clock(7)), ("7:05", clock(7, 5)), ("23:59", clock(23, 59))])
def test_a_time_of_day_is_read(text: str, time: clock) -> None:
    assert parse_clock(text) == time


@pytest.mark.parametrize("text", ["24:00", "7", "07:60", "07:00:00", "٠٧:00", "07:00\n", ""])
def test_what_is_no_time_of_day_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="time of day"):
        parse_clock(text)


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("90 s", 90 * SECOND), ("50 min", 50 * MINUTE), ("24 h", DAY), ("10 d", 10 * DAY), ("2 weeks", 2 * WEEK),
        ("1 week", WEEK), ("1.5 h", 90 * MINUTE), ("24h", DAY), ("2 h 30 min", 150 * MINUTE), ("0 d", 0),
        ("24 calendar months", CalendarSpan(24, to_month_end=True)), ("24 months", CalendarSpan(24)),
        ("1 month", CalendarSpan(1)), ("1 y", CalendarSpan(12)), ("3 years", CalendarSpan(36)),
    ],
)  # fmt: skip
def test_a_span_is_read(text: str, span: int | CalendarSpan) -> None:
    assert parse_span(text) == span


@pytest.mark.parametrize(
    "text",
    ["", "24", "h", "-2 h", "24 hrs", "1.5 months", "0.5 y", "2 h and 30 min", "1 y 6 months", "24 calendar", "1e3 s",
     "P1D", "2 h, 30 min", "٣ h", "9" * 400 + " d", "9" * 400 + " y", f"{'9' * 400} h 30 min"],
)  # fmt: skip
def test_what_is_no_span_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a span such as"):
        parse_span(text)
