"""Times as a person types them."""

import re
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import (
    at_local,
    end_of_day,
    local_date,
    next_local,
    parse_clock,
    parse_date,
    parse_rfc3339,
    parse_span,
    to_datetime,
)

_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAYS = {"yesterday": -1, "today": 0, "tomorrow": 1}
_ADVICE = (
    "a time is 18:40, 9am, 'yesterday 21:00', 'tomorrow 09:00', 'sat 09:00', '1 Dec 09:00', 2026-04-01, "
    "2026-04-01T18:40:00+02:00, -30min, -2h, '8 min ago', 'in 2 weeks' or 'now'"
)
_REWRITTEN = (
    (r"\b([0-9]{1,2})(?::([0-9][0-9]))?\s*([ap])\.?m\b\.?", lambda m: _half_day(m[1], m[2], m[3])),
    (r"^in\s+(?=[0-9])", lambda _: "+"),
    (r"^([0-9].*?)\s+ago$", lambda m: f"-{m[1]}"),
    (r"^last night\s+(?=1[2-9]:|2[0-9]:)", lambda _: "yesterday "),
    (r"^last night\s+(?=0?[0-9]:)", lambda _: "today "),
    (r"^([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})\b", lambda m: f"{m[3]}-{m[2]:0>2}-{m[1]:0>2}"),
)
"""Other ways to write the same, each with the plain one."""
_SHORT_UNITS = (
    (r"(?<=[0-9])\s*(?:m|mins)\b", " min"),
    (r"(?<=[0-9])\s*(?:hrs?)\b", " h"),
    (r"(?<=[0-9])\s*w\b", " weeks"),
)
_DAY_OF_MONTH = (
    r"(?:[a-z]{3,9},? )?(?:([0-9]{1,2}) ([a-z]{3,9})|([a-z]{3,9}) ([0-9]{1,2})),?(?: ([0-9]{4}))?(?: (\S+))?\Z"
)
"""Groups: day and month, or month and day; year; time of day. A weekday before them is passed over."""


def parse_time(text: str, now: int, zone: ZoneInfo, ahead: bool = False, day_ends: bool = False) -> int:
    """Return the instant that a typed time means.

    RFC 3339; a date (12:00 local, or the end of that day where `day_ends`); a clock time, a weekday or a day of a month
    with one (the last one, or the next where `ahead`); "yesterday 21:00", "tomorrow 09:00"; "-2h", "in 3 d"; "now".
    Raises Refused saying what would be right.
    """
    text = text.strip()
    try:
        return _parse(text, now, zone, ahead, day_ends)
    except (ValueError, OverflowError):
        near = did_you_mean(text.lower().split()[0], (*_DAYS, *_WEEKDAYS)) if text[:1].isalpha() else ""
        raise Refused.because(f"{text!r} is not a time{near or ':'} {_ADVICE}") from None


def parse_day(text: str, now: int, zone: ZoneInfo) -> str:
    """Return a typed date as RFC 3339 writes it; anything else as it is.

    "today", "yesterday", "tomorrow", "20.12.2027" or "20 Dec 2027".
    """
    plain = _plain(text)
    if plain in _DAYS:
        return (local_date(now, zone) + timedelta(days=_DAYS[plain])).isoformat()
    match = re.match(_DAY_OF_MONTH, plain)
    if match is not None and match[5] and not match[6]:
        try:
            return _named_day(match, local_date(now, zone), ahead=False).isoformat()
        except ValueError:
            return text
    return plain if is_bare_date(plain) else text


def is_bare_date(text: str) -> bool:
    """Return True for a date without a time of day."""
    return re.fullmatch(r"\d{4}-\d\d-\d\d", text.strip()) is not None


def is_bare_day(text: str) -> bool:
    """Return True for a day without a time of day; `parse_time` takes its noon or end."""
    plain = _plain(text)
    if match := re.match(_DAY_OF_MONTH, plain):
        return not match[6]
    return is_bare_date(plain) or plain in _DAYS or any(day.startswith(plain) for day in _WEEKDAYS)


def is_span(text: str) -> bool:
    """Return True for a span alone: "2d", "30 min"."""
    try:
        _span(_plain(text))
    except ValueError:
        return False
    return True


def is_recurring(text: str) -> bool:
    """Return True for a clock time or a weekday, which may count from another instant."""
    words = _plain(text).split()
    return bool(words) and (":" in words[0] and len(words) == 1 or any(day.startswith(words[0]) for day in _WEEKDAYS))


def _plain(text: str) -> str:
    """Return the text in the plain spelling."""
    text = " ".join(text.lower().split())
    for other, plain in _REWRITTEN:
        text = re.sub(other, plain, text)
    return text


def _half_day(hour: str, minute: str | None, half: str) -> str:
    """Return 21:00 for "9", None, "p"; an hour that no 12-hour clock has stays wrong."""
    if not 1 <= int(hour) <= 12:
        return f"{hour}{half}m"
    return f"{int(hour) % 12 + (12 if half == 'p' else 0):02d}:{minute or '00'}"


def _parse(text: str, now: int, zone: ZoneInfo, ahead: bool, day_ends: bool) -> int:
    if "T" in text.upper()[10:11]:
        return parse_rfc3339(text)
    text = _plain(text)
    if text == "now":
        return now
    if text[:1] in ("-", "+"):
        span = _span(text[1:].strip())
        return now - span if text[0] == "-" else now + span
    if re.match(r"\d{4}-", text):
        return _on_date(text, zone, day_ends)
    if (match := re.match(_DAY_OF_MONTH, text)) and (match[2] or match[3])[:3] in _MONTHS:
        day = _named_day(match, local_date(now, zone), ahead)
        return _on_date(f"{day.isoformat()} {match[6] or ''}".strip(), zone, day_ends)
    return _by_words(text.split(), now, zone, ahead, day_ends)


def _span(text: str) -> int:
    for short, plain in _SHORT_UNITS:
        text = re.sub(short, plain, text)
    span = parse_span(text)
    if not isinstance(span, int):
        raise ValueError
    return span


def _on_date(text: str, zone: ZoneInfo, day_ends: bool) -> int:
    day, _, time = text.partition(" ")
    if time:
        return at_local(parse_date(day), parse_clock(time), zone)
    return end_of_day(parse_date(day), zone) if day_ends else at_local(parse_date(day), parse_clock("12:00"), zone)


def _named_day(match: re.Match[str], today: date, ahead: bool) -> date:
    """Return the day of "1 dec" or "dec 1 2026". Raises ValueError.

    Without a year it is the last one, or the next if `ahead`.
    """
    name = match[2] or match[3]
    month, number = _MONTHS.index(name[:3]) + 1, int(match[1] or match[4])
    if match[5]:
        return date(int(match[5]), month, number)
    day = date(today.year, month, number)
    if ahead:
        return day if day >= today else day.replace(year=today.year + 1)
    return day if day <= today else day.replace(year=today.year - 1)


def _by_words(words: list[str], now: int, zone: ZoneInfo, ahead: bool, day_ends: bool) -> int:
    if not words or len(words) > 2:
        raise ValueError
    if len(words) == 1 and ":" in words[0]:
        return _clock_alone(words[0], now, zone, ahead)
    name, day = words[0], local_date(now, zone)
    if name in _DAYS:
        day += timedelta(days=_DAYS[name])
    else:
        day += timedelta(days=_to_weekday(_weekday(name), words, now, zone, ahead))
    if len(words) == 1:
        return end_of_day(day, zone) if day_ends else at_local(day, parse_clock("12:00"), zone)
    return at_local(day, parse_clock(words[1]), zone)


def _weekday(name: str) -> int:
    """Return 0 for "mon", "monday" and what lies between. Raises ValueError."""
    found = [index for index, weekday in enumerate(_WEEKDAYS) if weekday.startswith(name)]
    if len(name) < 3 or not found:
        raise ValueError
    return found[0]


def _clock_alone(text: str, now: int, zone: ZoneInfo, ahead: bool) -> int:
    time = parse_clock(text)
    if ahead:
        return next_local(now, time, zone)
    today = local_date(now, zone)
    found = at_local(today, time, zone)
    return found if found <= now else at_local(today - timedelta(days=1), time, zone)


def _to_weekday(wanted: int, words: list[str], now: int, zone: ZoneInfo, ahead: bool) -> int:
    """Return days from today to the weekday: back to the last one, or on to the next."""
    today = to_datetime(now, zone)
    days = (wanted - today.weekday()) % 7
    time = parse_clock(words[1]) if len(words) == 2 else parse_clock("12:00")
    gone = days == 0 and today.time() > time
    if ahead:
        return 7 if gone else days
    return days if days == 0 and not gone and today.time() == time else (0 if gone else days - 7)
