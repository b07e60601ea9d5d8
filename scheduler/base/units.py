"""Quantities with their units: in rules, on nameplates, and for people."""

import re
from typing import NamedTuple

from scheduler.base.instants import DAY, HOUR, MINUTE, SECOND, CalendarSpan, parse_span

_NUMBER = r"(-?[0-9]{1,15}(?:\.[0-9]{1,15})?)[ \t]*(.*)\Z"


class Unit(NamedTuple):
    """The unit of a fact.

    `kind`: percent, span (a duration in microseconds), count, measure, flag (yes/no) or word.
    `symbol`: what follows the number; `plural` likewise for counts other than one. `digits`: decimals shown.
    """

    kind: str
    symbol: str = ""
    plural: str = ""
    digits: int = 0
    words: tuple[str, ...] = ()

    @property
    def example(self) -> str:
        """A value as a rule would write it."""
        return _EXAMPLES.get(self.kind) or (self.words[0] if self.words else f"3 {self.plural or self.symbol}".strip())


PERCENT = Unit("percent", "%")
SPAN = Unit("span")
FLAG = Unit("flag")
VOLTS = Unit("measure", "V", digits=2)
WATT_HOURS = Unit("measure", "Wh", digits=1)
MILLIAMP_HOURS = Unit("measure", "mAh")
CELSIUS = Unit("measure", "C", digits=0)
RATIO = Unit("measure", "", digits=2)
SHARE = Unit("share", "%")
"""A ratio that people read as percent: 0.47 reads "47 %", and may be written as either."""
_EXAMPLES = {"percent": "85 %", "share": "75 %", "span": "24 h", "flag": "yes"}


def count(one: str, many: str = "", digits: int = 0) -> Unit:
    """Return the unit of counts: `count("cycle")` reads "3 cycles"."""
    return Unit("count", one, many or f"{one}s", digits)


def word(*words: str) -> Unit:
    """Return the unit of values that are one of some words."""
    return Unit("word", words=words)


def parse(text: str | int | float | bool, unit: Unit) -> float | int | str | CalendarSpan:
    """Return the value that `text` writes in `unit`.

    Spans in microseconds, flags as "yes" or "no", words as they are. Only counts and ratios may be bare numbers. Raises
    ValueError saying what would be right.
    """
    if isinstance(text, bool):
        text = "yes" if text else "no"
    if isinstance(text, int | float):
        text = f"{text:.12g}"
    if unit.kind == "span":
        return parse_span(text)
    if unit.kind == "flag":
        return _one_of(text, ("yes", "no"))
    if unit.kind == "word":
        return _one_of(text, unit.words)
    return _parse_number(text, unit)


def _parse_number(text: str, unit: Unit) -> float | int:
    match = re.match(_NUMBER, text)
    written = match[2].strip() if match else ""
    known = {unit.symbol, unit.plural, ""} if unit.kind in ("count", "share") else {unit.symbol}
    if unit.symbol == "C":
        known |= {"°C"}
    if match is None or written not in known:
        raise ValueError(f"{text!r} is not a value such as '{unit.example}'")
    number = float(match[1]) / (100 if unit.kind == "share" and written else 1)
    return int(number) if number.is_integer() else number


def _one_of(text: str, words: tuple[str, ...]) -> str:
    if text not in words:
        from scheduler.base.findings import did_you_mean

        raise ValueError(f"{text!r} is not one of {', '.join(words)}{did_you_mean(text, words)}")
    return text


def show(value: object, unit: Unit) -> str:
    """Return a value for people: "99 %", "3 d 4 h", "2 cycles"; "not known" for None."""
    if value is None:
        return "not known"
    if unit.kind == "span":
        return show_span(value)
    if isinstance(value, str | bool) or not isinstance(value, int | float):
        return str(value)
    number = _rounded(value * 100 if unit.kind == "share" else value, unit.digits)
    symbol = unit.symbol if unit.kind != "count" or number == "1" else unit.plural
    return f"{number} {symbol}".strip()


def _rounded(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text and digits == 1 else text


def show_span(span: object) -> str:
    """Return a span for people: "3 d 4 h" (two largest units), "24 calendar months".

    "under a minute" unless in whole seconds.
    """
    if isinstance(span, CalendarSpan):
        return _show_calendar(span)
    if not isinstance(span, int):
        return "never" if isinstance(span, float) else str(span)
    if span < 0:
        return f"-{show_span(-span)}"
    return _show_duration(span)


def show_spans(shortest: int, longest: int) -> str:
    """Return a range of durations in whole units of the longest: "2 to 5 d".

    "up to 5 d" where the shortest is less than one unit.
    """
    if shortest < 0 or longest < MINUTE:
        return f"{show_span(shortest)} to {show_span(longest)}"
    unit, symbol = (DAY, "d") if longest >= 3 * DAY else (HOUR, "h") if longest >= HOUR else (MINUTE, "min")
    low, high = shortest // unit, longest // unit
    return f"{high} {symbol}" if low == high else f"{low} to {high} {symbol}" if low else f"up to {high} {symbol}"


def _show_calendar(span: CalendarSpan) -> str:
    if span.to_month_end:
        return f"{span.months} calendar months"
    years, months = divmod(span.months, 12)
    return f"{years} y" if years and not months else f"{span.months} months"


def _show_duration(span: int) -> str:
    if span >= 3 * DAY:
        days, rest = divmod(span, DAY)
        hours = rest // HOUR
        return f"{days} d {hours} h" if hours and days < 10 else f"{days} d"
    if span >= HOUR:
        hours, rest = divmod(span, HOUR)
        minutes = rest // MINUTE
        return f"{hours} h {minutes} min" if minutes and hours < 10 else f"{hours} h"
    if span >= MINUTE:
        return f"{span // MINUTE} min"
    return "under a minute" if span % SECOND else f"{span // SECOND} s"
