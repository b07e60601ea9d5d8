"""Instants, durations and the calendar.

An instant is an `int`: microseconds since 1970-01-01T00:00:00Z. A duration is an `int`: microseconds.
Integers keep every comparison and every crossing exact. A calendar span (months, years) is not a duration:
its length depends on the date it is added to, so it is a type of its own.
"""

import re
from datetime import MAXYEAR, UTC, date, datetime, timedelta
from datetime import time as clock
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR
WEEK = 7 * DAY
MIN_INSTANT = -(2**62)
"""Before every instant."""
MAX_INSTANT = 2**62
"""After every instant."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_FIRST = (datetime(1, 1, 8, tzinfo=UTC) - _EPOCH) // _MICROSECOND
_LAST = (datetime(MAXYEAR, 12, 24, tzinfo=UTC) - _EPOCH) // _MICROSECOND
_RFC3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]([01]\d|2[0-3]):[0-5]\d)\Z", re.ASCII).match
_DATE = re.compile(r"\d{4}-\d\d-\d\d\Z", re.ASCII)
_AMOUNT = r"(\d{1,9}(?:\.\d{1,9})?)\s*"
_SPAN = re.compile(rf"{_AMOUNT}([a-z]+(?: months)?)\Z", re.ASCII)
_TERM = rf"(?a:{_AMOUNT}([a-z]+))"
_UNITS = {
    **dict.fromkeys(("s", "second", "seconds"), SECOND),
    **dict.fromkeys(("min", "minute", "minutes"), MINUTE),
    **dict.fromkeys(("h", "hour", "hours"), HOUR),
    **dict.fromkeys(("d", "day", "days"), DAY),
    **dict.fromkeys(("week", "weeks"), WEEK),
}
_MONTHS = {"month": 1, "months": 1, "y": 12, "year": 12, "years": 12}


class CalendarSpan(NamedTuple):
    """Whole months.

    `to_month_end`: the span ends with the last day of the month it reaches ("calendar months").
    """

    months: int
    to_month_end: bool = False


def from_datetime(moment: datetime) -> int:
    """Return the instant of an aware datetime, exactly."""
    return (moment - _EPOCH) // _MICROSECOND


def to_datetime(instant: int, zone: ZoneInfo | None = None) -> datetime:
    """Return the instant as an aware datetime in `zone`, by default UTC.

    Instants are clamped to a week inside the years 1 to 9999.
    """
    bounded = min(max(instant, _FIRST), _LAST)
    return (_EPOCH + timedelta(microseconds=bounded)).astimezone(zone or UTC)


def moment(instant: int, zone: ZoneInfo, year: bool = False) -> str:
    """Return a local time as a person writes it: "Thu 2 Apr 18:10"."""
    when = to_datetime(instant, zone)
    return when.strftime(f"%a {when.day} %b {f'{when.year} ' if year else ''}%H:%M")


def moment_near(instant: int, now: int, zone: ZoneInfo) -> str:
    """Return a local time, with the year where it is not this one."""
    return moment(instant, zone, year=to_datetime(instant, zone).year != to_datetime(now, zone).year)


@lru_cache(maxsize=4096)  # one line of the log is asked up to four times: its check, its row, equal times
def parse_rfc3339(text: str) -> int:
    """Return the instant of an RFC 3339 date-time with offset (RFC 3339 section 5.6).

    A leap second (23:59:60 UTC) is read as the second after it. Raises ValueError.
    """
    if _RFC3339(text) is None:
        raise ValueError(f"{text!r} is not a time with offset such as 2026-04-01T18:40:00+02:00")
    leap = text[17:19] == "60"
    try:
        moment = datetime.fromisoformat((f"{text[:17]}59{text[19:]}" if leap else text).upper())
        instant = (moment - _EPOCH) // _MICROSECOND
    except (ValueError, OverflowError):
        raise ValueError(f"{text!r} is no date and time of the calendar") from None
    if not leap:
        return instant
    if to_datetime(instant).strftime("%H:%M") != "23:59":
        raise ValueError(f"{text!r}: a leap second falls only at 23:59:60 UTC")
    return instant + SECOND


def rfc3339(instant: int, zone: ZoneInfo | None = None) -> str:
    """Return RFC 3339 text with the offset of `zone`, microseconds only if needed."""
    text = to_datetime(instant, zone).isoformat()
    return text[:-6] + "Z" if zone is None else text


def parse_date(text: str) -> date:
    """Return an RFC 3339 full-date. Raises ValueError."""
    if _DATE.match(text) is None:
        raise ValueError(f"{text!r} is not a date such as 2026-04-01")
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no date of the calendar") from None


def parse_clock(text: str) -> clock:
    """Return a time of day, "HH:MM". Raises ValueError."""
    if not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", text, re.ASCII):
        raise ValueError(f"{text!r} is not a time of day such as 07:00")
    hour, minute = text.split(":")
    return clock(int(hour), int(minute))


def parse_span(text: str) -> int | CalendarSpan:
    """Read a duration or a calendar span.

    "90 s", "24 h", "10 d", "2 weeks"; "24 calendar months", "6 months", "3 y". Several durations add up: "2 h 30 min".
    Raises ValueError.
    """
    match = _SPAN.match(text)
    if match is None:
        return _parse_sum(text)
    amount, unit = match[1], match[2]
    if unit in _UNITS:
        return round(float(amount) * _UNITS[unit])
    calendar = unit.removeprefix("calendar ")
    if calendar not in _MONTHS or "." in amount:
        raise _no_span(text)
    return CalendarSpan(int(amount) * _MONTHS[calendar], to_month_end=unit != calendar)


def _parse_sum(text: str) -> int:
    parts = re.findall(_TERM, text)
    if not parts or re.sub(_TERM, "", text).strip() or any(unit not in _UNITS for _, unit in parts):
        raise _no_span(text)
    return sum(round(float(amount) * _UNITS[unit]) for amount, unit in parts)


def _no_span(text: str) -> ValueError:
    return ValueError(f"{text!r} is not a span such as 90 min, 24 h, 10 d, 2 weeks, 6 months, 24 calendar months, 3 y")


def add_months(day: date, span: CalendarSpan) -> date:
    """Return the day `span` after `day`, or the end of that month if the span says so.

    A day that the month lacks becomes its last one (29 Feb + 1 y = 28 Feb); a year beyond the calendar, its last day.
    """
    years, month = divmod(day.month - 1 + span.months, 12)
    year = day.year + years
    if year >= MAXYEAR:
        return date.max
    last = _month_length(year, month + 1)
    return date(year, month + 1, last if span.to_month_end else min(day.day, last))


def _month_length(year: int, month: int) -> int:
    after = date(year + month // 12, month % 12 + 1, 1)
    return (after - timedelta(days=1)).day


@lru_cache(maxsize=4096)  # the hours of a day are asked for again and again while that day is lived through
def at_local(day: date, time: clock, zone: ZoneInfo) -> int:
    """Return the instant of a local time.

    If the clock skips it, that is the first instant after the gap; if it repeats it, the first of the two.
    """
    wall = datetime.combine(day, time, tzinfo=zone)
    before, after = wall.utcoffset(), wall.replace(fold=1).utcoffset()
    instant = from_datetime(wall)
    if before is None or after is None or after <= before:
        return instant
    return _first_after_gap(instant - round((after - before) / _MICROSECOND), instant, zone)


def _first_after_gap(low: int, high: int, zone: ZoneInfo) -> int:
    """Return the transition in (low, high], where the offset changes once."""
    old = to_datetime(low, zone).utcoffset()
    low, high = low // SECOND, high // SECOND
    while high - low > 1:
        middle = (low + high) // 2
        if to_datetime(middle * SECOND, zone).utcoffset() == old:
            low = middle
        else:
            high = middle
    return high * SECOND


def local_date(instant: int, zone: ZoneInfo) -> date:
    """Return the calendar day of `instant` in `zone`."""
    return to_datetime(instant, zone).date()


def start_of_day(day: date, zone: ZoneInfo) -> int:
    """Return the first instant of a local day."""
    return at_local(day, clock(0), zone)


def end_of_day(day: date, zone: ZoneInfo) -> int:
    """Return the first instant after a local day."""
    return start_of_day(day, zone) + DAY if day == date.max else start_of_day(day + timedelta(days=1), zone)


def add_span(instant: int, span: int | CalendarSpan, zone: ZoneInfo) -> int:
    """Return `instant` plus a duration, or a calendar span at the same local time."""
    if isinstance(span, int):
        return instant + span
    moment = to_datetime(instant, zone)
    if span.to_month_end:
        return end_of_day(add_months(moment.date(), span), zone)
    return at_local(add_months(moment.date(), span), moment.time(), zone)


def next_local(instant: int, time: clock, zone: ZoneInfo) -> int:
    """Return when, from `instant` on, the local clock first shows `time`."""
    moment = to_datetime(instant, zone)
    day = moment.date()
    if moment.hour < 3:  # a gap at midnight may have put off yesterday's time until now
        day -= timedelta(days=1)
    while (found := at_local(day, time, zone)) < instant:
        day += timedelta(days=1)
    return found
