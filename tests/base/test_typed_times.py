"""Times as a person types them. What a word means is our own choice (common practice, no source)."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.findings import Refused
from scheduler.base.instants import DAY, HOUR, parse_rfc3339, rfc3339, to_datetime
from scheduler.base.typed_times import is_bare_day, is_span, parse_day, parse_time

LISBON = ZoneInfo("Europe/Lisbon")
NOW = parse_rfc3339("2026-04-15T14:30:00+01:00")
"""A Wednesday in summer time."""


def meant(text: str, now: int = NOW, zone: ZoneInfo = LISBON, **how: bool) -> str:
    """What the text means, as local time with offset."""
    return rfc3339(parse_time(text, now, zone, **how), zone)


PAST = {
    "now": "2026-04-15T14:30:00+01:00",
    "2026-04-01T18:40:00+02:00": "2026-04-01T17:40:00+01:00",
    "2026-04-01t18:40:00z": "2026-04-01T19:40:00+01:00",
    "2026-04-01": "2026-04-01T12:00:00+01:00",
    "2026-04-01 18:40": "2026-04-01T18:40:00+01:00",
    "14:30": "2026-04-15T14:30:00+01:00",
    "14:29": "2026-04-15T14:29:00+01:00",
    "14:31": "2026-04-14T14:31:00+01:00",
    "7:05": "2026-04-15T07:05:00+01:00",
    "yesterday": "2026-04-14T12:00:00+01:00",
    "yesterday 21:00": "2026-04-14T21:00:00+01:00",
    "today 09:00": "2026-04-15T09:00:00+01:00",
    "tomorrow 09:00": "2026-04-16T09:00:00+01:00",
    "Tomorrow 09:00": "2026-04-16T09:00:00+01:00",
    "sat 09:00": "2026-04-11T09:00:00+01:00",
    "saturday 09:00": "2026-04-11T09:00:00+01:00",
    "thu 09:00": "2026-04-09T09:00:00+01:00",
    "wed 09:00": "2026-04-15T09:00:00+01:00",
    "wed 14:30": "2026-04-15T14:30:00+01:00",
    "wed 20:00": "2026-04-08T20:00:00+01:00",
    "mon": "2026-04-13T12:00:00+01:00",
    "-2h": "2026-04-15T12:30:00+01:00",
    "-2 h": "2026-04-15T12:30:00+01:00",
    "-90min": "2026-04-15T13:00:00+01:00",
    "-2 h 30 min": "2026-04-15T12:00:00+01:00",
    "+3 d": "2026-04-18T14:30:00+01:00",
    "thurs 09:00": "2026-04-09T09:00:00+01:00",
    "2026-04-01 ": "2026-04-01T12:00:00+01:00",
    "  -1d  ": "2026-04-14T14:30:00+01:00",
    "-30m": "2026-04-15T14:00:00+01:00",
    "-2 hrs": "2026-04-15T12:30:00+01:00",
    "8 min ago": "2026-04-15T14:22:00+01:00",
    "9am": "2026-04-15T09:00:00+01:00",
    "yesterday 9:30 pm": "2026-04-14T21:30:00+01:00",
    "12am": "2026-04-15T00:00:00+01:00",
    "last night 22:00": "2026-04-14T22:00:00+01:00",
    "last night 01:30": "2026-04-15T01:30:00+01:00",
    "1 Dec 09:00": "2025-12-01T09:00:00+00:00",
    "Wed 1 Apr 18:40": "2026-04-01T18:40:00+01:00",
    "apr 1": "2026-04-01T12:00:00+01:00",
    "1.4.2026 18:40": "2026-04-01T18:40:00+01:00",
}
AHEAD = {
    "14:31": "2026-04-15T14:31:00+01:00",
    "14:29": "2026-04-16T14:29:00+01:00",
    "sat 09:00": "2026-04-18T09:00:00+01:00",
    "wed 09:00": "2026-04-22T09:00:00+01:00",
    "wed 20:00": "2026-04-15T20:00:00+01:00",
    "thu": "2026-04-16T12:00:00+01:00",
    "1 Dec 09:00": "2026-12-01T09:00:00+00:00",
    "1 Mar": "2027-03-01T12:00:00+00:00",
    "in 2 weeks": "2026-04-29T14:30:00+01:00",
    "20.12.2027": "2027-12-20T12:00:00+00:00",
    "9am": "2026-04-16T09:00:00+01:00",
}
DAYS_END = {
    "2026-04-01": "2026-04-02T00:00:00+01:00",
    "yesterday": "2026-04-15T00:00:00+01:00",
    "today": "2026-04-16T00:00:00+01:00",
    "2026-03-29": "2026-03-30T00:00:00+01:00",
    "2026-04-01 18:40": "2026-04-01T18:40:00+01:00",
}


@pytest.mark.parametrize("text", PAST)
def test_a_time_of_what_happened(text: str) -> None:
    assert meant(text) == PAST[text]


@pytest.mark.parametrize("text", AHEAD)
def test_a_time_ahead(text: str) -> None:
    assert meant(text, ahead=True) == AHEAD[text]


@pytest.mark.parametrize("text", DAYS_END)
def test_a_day_in_a_question_means_its_end(text: str) -> None:
    assert meant(text, day_ends=True) == DAYS_END[text]


# The nights on which the clock changes: IANA time zone database, Europe/Lisbon, 2026-03-29 and 2026-10-25 at 01:00 UTC;
# Australia/Sydney, 2026-04-04 and 2026-10-03 at 16:00 UTC. Skipped times happen after the gap, repeated ones first.
NIGHTS = [
    ("Europe/Lisbon", "2026-03-29 01:30", "2026-03-29T01:00:00Z"),
    ("Europe/Lisbon", "2026-10-25 01:30", "2026-10-25T00:30:00Z"),
    ("Australia/Sydney", "2026-10-04 02:30", "2026-10-03T16:00:00Z"),
    ("Australia/Sydney", "2026-04-05 02:30", "2026-04-04T15:30:00Z"),
]


@pytest.mark.parametrize(("zone", "text", "instant"), NIGHTS)
def test_times_that_the_clock_skips_or_repeats(zone: str, text: str, instant: str) -> None:
    assert parse_time(text, NOW, ZoneInfo(zone)) == parse_rfc3339(instant)


def test_hours_back_are_hours_over_a_night_on_which_the_clock_changes() -> None:
    morning = parse_rfc3339("2026-03-29T09:00:00+01:00")
    assert meant("-24h", morning) == "2026-03-28T08:00:00+00:00"
    assert meant("yesterday 09:00", morning) == "2026-03-28T09:00:00+00:00"


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "noon", "25:00", "12:60", "1230", "2026-02-30", "2026-13-01", "2026-4-1", "2026-04-01T18:40:00",
        "2026-04-01T18:40", "sat sun", "sat 9", "yesterday at nine", "-", "-h", "-2", "-2 moons", "-2 months", "--2h",
        "-99999999999 d", "١٢:٣٠", "wedding 09:00", "mo 09:00", "t 09:00",
    ],
)  # fmt: skip
def test_what_is_no_time_is_refused_with_what_would_be(text: str) -> None:
    with pytest.raises(Refused) as refused:
        meant(text)
    assert str(refused.value).startswith(f"{text.strip()!r} is not a time")
    assert "a time is 18:40, 9am, 'yesterday 21:00', 'tomorrow 09:00'" in str(refused.value)


@pytest.mark.parametrize(("slip", "meant_word"), [("tomorow", "tomorrow"), ("yestrday 21:00", "yesterday")])
def test_a_slip_in_a_day_is_answered_with_the_day(slip: str, meant_word: str) -> None:
    with pytest.raises(Refused) as refused:
        meant(slip)
    assert f"{slip!r} is not a time, did you mean {meant_word!r}? a time is" in str(refused.value)


DATES = {"today": "2026-04-15", "tomorrow": "2026-04-16", "20.12.2027": "2027-12-20", "1 Dec 2027": "2027-12-01",
         "2027-12-01": "2027-12-01", "31 Feb 2027": "31 Feb 2027", "soon": "soon"}  # fmt: skip


@pytest.mark.parametrize("text", DATES)
def test_a_day_as_typed(text: str) -> None:
    assert parse_day(text, NOW, LISBON) == DATES[text]


zones = st.sampled_from(["Europe/Lisbon", "Australia/Sydney", "UTC", "Asia/Kolkata", "America/St_Johns"]).map(ZoneInfo)
instants = st.integers(parse_rfc3339("2026-01-01T00:00:00Z"), parse_rfc3339("2027-01-01T00:00:00Z"))


@settings(deadline=None)
@given(instants, zones, st.integers(0, 23), st.integers(0, 59))
def test_a_clock_time_is_within_the_day_before_or_after(now: int, zone: ZoneInfo, hour: int, minute: int) -> None:
    text = f"{hour:02}:{minute:02}"
    last, following = parse_time(text, now, zone), parse_time(text, now, zone, ahead=True)

    assert now - DAY - HOUR <= last <= now <= following <= now + DAY + HOUR
    for found in (last, following):
        shown = to_datetime(found, zone)
        assert (shown.hour, shown.minute) == (hour, minute) or _just_after_a_gap(found, zone)


@settings(deadline=None)
@given(instants, zones, st.sampled_from(["mon", "tue", "wed", "thu", "fri", "sat", "sun"]), st.booleans())
def test_a_weekday_is_within_a_week(now: int, zone: ZoneInfo, day: str, ahead: bool) -> None:
    found = to_datetime(parse_time(f"{day} 12:00", now, zone, ahead=ahead), zone)

    assert f"{found:%a}".lower() == day
    apart = found - to_datetime(now, zone)
    assert timedelta(0) <= (apart if ahead else -apart) <= timedelta(days=7, hours=1)


@settings(deadline=None)
@given(instants, zones)
def test_a_time_with_offset_is_read_exactly(instant: int, zone: ZoneInfo) -> None:
    assert parse_time(rfc3339(instant, zone), NOW, LISBON) == instant


@settings(deadline=None)
@given(st.text("0123456789-+:T Zhd ayestrdnowmu", max_size=24), instants)
def test_whatever_is_typed_it_is_a_time_or_refused(text: str, now: int) -> None:
    try:
        assert isinstance(parse_time(text, now, LISBON), int)
    except Refused as refused:
        assert str(refused).startswith(f"{text.strip()!r} is not a time")


def _just_after_a_gap(instant: int, zone: ZoneInfo) -> bool:
    return to_datetime(instant, zone).utcoffset() != to_datetime(instant - 1, zone).utcoffset()


@pytest.mark.parametrize(
    "text", ["sat", "Saturday", "today", "tomorrow", "2026-04-01", "1 Dec", "sat, 1 Dec 2026", "1.12.2026"]
)
def test_a_bare_day_is_told_by_its_noon(text: str) -> None:
    assert is_bare_day(text)
    assert meant(text, ahead=True)[11:16] == "12:00"


@pytest.mark.parametrize(
    "text", ["sat 09:00", "today 9am", "2026-04-01 08:00", "1 Dec 12:00", "-2h", "in 2 d", "09:00", "now"]
)
def test_a_time_of_day_makes_no_bare_day(text: str) -> None:
    assert not is_bare_day(text)


def test_a_span_alone_is_none_of_the_other_times() -> None:
    assert all(map(is_span, ("2d", "30 min", "1h 30m", "2 weeks")))
    assert not any(map(is_span, ("20:00", "9am", "1 Dec", "2026-04-01", "-2h", "in 2 d", "2 months", "")))
