"""Times as a person types them."""

import re
from datetime import timedelta
from zoneinfo import ZoneInfo

from scheduler.findings import Refused
from scheduler.instants import (
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
_DAYS = {"yesterday": -1, "today": 0, "tomorrow": 1}
_ADVICE = "a time is 2026-04-01T18:40:00+02:00, 2026-04-01, 18:40, 'yesterday 21:00', 'sat 09:00', '-2h' or 'now'"


def parse_time(text: str, now: int, zone: ZoneInfo, ahead: bool = False, day_ends: bool = False) -> int:
    """The instant that a typed time means.

    RFC 3339; a date (12:00 local, or the end of that day where `day_ends`); a clock time or a weekday with one (the
    last one, or the next where `ahead`); "yesterday 21:00", "tomorrow 09:00"; "-2h", "+3 d"; "now".
    Raises Refused saying what would be right.
    """
    text = text.strip()
    try:
        return _parse(text, now, zone, ahead, day_ends)
    except (ValueError, OverflowError):
        raise Refused.because(f"{text!r} is not a time: {_ADVICE}") from None


def is_bare_date(text: str) -> bool:
    """True for a date without a time of day."""
    return re.fullmatch(r"\d{4}-\d\d-\d\d", text.strip()) is not None


def _parse(text: str, now: int, zone: ZoneInfo, ahead: bool, day_ends: bool) -> int:
    if text == "now":
        return now
    if text[:1] in ("-", "+"):
        span = parse_span(text[1:].strip())
        if not isinstance(span, int):
            raise ValueError
        return now - span if text[0] == "-" else now + span
    if "T" in text.upper()[10:11]:
        return parse_rfc3339(text)
    if re.match(r"\d{4}-", text):
        return _on_date(text, zone, day_ends)
    return _by_words(text.lower().split(), now, zone, ahead, day_ends)


def _on_date(text: str, zone: ZoneInfo, day_ends: bool) -> int:
    day, _, time = text.partition(" ")
    if time:
        return at_local(parse_date(day), parse_clock(time), zone)
    return end_of_day(parse_date(day), zone) if day_ends else at_local(parse_date(day), parse_clock("12:00"), zone)


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
    """0 for "mon", "monday" and what lies between. Raises ValueError."""
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
    """Days from today to the weekday: back to the last one, or on to the next."""
    today = to_datetime(now, zone)
    days = (wanted - today.weekday()) % 7
    time = parse_clock(words[1]) if len(words) == 2 else parse_clock("12:00")
    gone = days == 0 and today.time() > time
    if ahead:
        return 7 if gone else days
    return days if days == 0 and not gone and today.time() == time else (0 if gone else days - 7)
