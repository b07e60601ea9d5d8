"""The types an event's field can have.

Each type is declared once, here: the check that `log` and `intake` run, the published JSON Schema and the reading of
a word typed on the command line all come from it.
"""

import json
import re
from collections.abc import Callable
from typing import NamedTuple

from scheduler.base.instants import parse_date, parse_rfc3339

Check = Callable[[object], str | None]
_UNSEEN = r"\x7f-\x9f\u200b\u2028-\u202e\u2066-\u2069\ud800-\udfff"
"""Control characters, and those that turn or hide the text around them: a name in a terminal is what it seems to be."""
_NAME = rf"[^\x00-\x20{_UNSEEN}](?:[^\x00-\x1f{_UNSEEN}]{{0,78}}[^\x00-\x20{_UNSEEN}])?"
_LARGEST = 1e9
_HALF = "[\ud800-\udfff]"
"""Half a character: no text to be kept."""
_LIGHTS = r"[0-9] of [1-9]"


class Type(NamedTuple):
    """A field type: `check` gives None for a good value, else what would be right; `read` reads typed text."""

    check: Check
    schema: dict[str, object]
    read: Callable[[str], object]
    names: str = ""
    """The item kind, or kinds by comma, that the value names; "" when it names none."""


def _is_number(value: object) -> bool:
    return type(value) in (int, float)


def _read_number(text: str) -> object:
    try:
        return json.loads(text.rstrip("%"))
    except ValueError:
        return text


def number(low: float | None = None, high: float = _LARGEST, above: float | None = None) -> Type:
    """A number within [low, high], or more than `above`."""
    bounds = {"minimum": low, "maximum": high, "exclusiveMinimum": above}
    wanted = _wording("a number", low, high, above)

    def check(value: object) -> str | None:
        good = (
            _is_number(value)
            and (low is None or value >= low)  # type: ignore[operator]
            and value <= high  # type: ignore[operator]
            and (above is None or value > above)  # type: ignore[operator]
        )
        return None if good else wanted

    return Type(check, {"type": "number"} | {k: v for k, v in bounds.items() if v is not None}, _read_number)


def _wording(noun: str, low: float | None, high: float, above: float | None) -> str:
    if above is not None:
        return f"{noun} above {above:g}" + (f" and at most {high:g}" if high < _LARGEST else "")
    return f"{noun} from {low:g} to {high:g}" if high < _LARGEST else f"{noun} of at least {low:g}"


def whole(low: int) -> Type:
    """A whole number of at least `low`; 3.0 is one."""

    def check(value: object) -> str | None:
        good = _is_number(value) and low <= value <= _LARGEST and value == int(value)  # type: ignore[operator, call-overload]
        return None if good else f"a whole number of at least {low}"

    return Type(check, {"type": "integer", "minimum": low, "maximum": _LARGEST}, _read_number)


def pattern(
    regex: str,
    wanted: str,
    names: str = "",
    longest: int = 80,
    plain: Callable[[str], bool] = lambda _: False,
) -> Type:
    """Text that matches the whole of `regex`. `plain`: tells quickly of most that it does."""
    match: Callable[[str], object] | None = None
    good: set[str] = set()  # the same few names come again and again

    def check(value: object) -> str | None:
        nonlocal match
        if not isinstance(value, str):
            return wanted
        if value in good or len(value) <= longest and plain(value):
            return None
        if match is None:  # what one entry does not name is not compiled for it
            match = re.compile(rf"(?:{regex})\Z").match
        if len(value) > longest or not match(value):
            return wanted
        if len(good) < _REMEMBERED:
            good.add(value)
        return None

    # `$` alone would let a final line break pass in Python's reading of a JSON Schema.
    return Type(check, {"type": "string", "pattern": rf"^(?:{regex})(?!\n)$", "maxLength": longest}, str, names)


def text(longest: int) -> Type:
    """Any text of at most `longest` characters."""
    wanted = f"text of at most {longest} whole characters"

    def check(value: object) -> str | None:
        good = isinstance(value, str) and len(value) <= longest and (value.isascii() or not re.search(_HALF, value))
        return None if good else wanted

    return Type(check, {"type": "string", "maxLength": longest, "pattern": r"^[^\ud800-\udfff]*$"}, str)


def choice(*words: str) -> Type:
    """One of some words."""
    known = frozenset(words)
    wanted = f"one of {', '.join(words)}"

    def check(value: object) -> str | None:
        return None if isinstance(value, str) and value in known else wanted

    return Type(check, {"enum": list(words)}, str)


def choices(of: Type) -> list[str]:
    """The words of a type that is one of some words, or a list of such; none of any other."""
    each: dict = of.schema.get("items", of.schema)  # type: ignore[assignment]
    return each.get("enum", [])


def some(of: Type) -> Type:
    """A list of at least one value of a type, none twice."""

    def check(value: object) -> str | None:
        if not isinstance(value, list) or not value:
            return "a list of at least one"
        wrong = [found for found in map(of.check, value) if found]
        if wrong:
            return f"a list, each {wrong[0]}"
        return "a list that names none twice" if len(value) > 1 and len(set(value)) < len(value) else None

    schema = {"type": "array", "minItems": 1, "uniqueItems": True, "items": of.schema}
    return Type(check, schema, lambda typed: [of.read(part) for part in typed.split(",")], of.names)


_REMEMBERED = 20_000
"""So many values that were found good are remembered, for each type."""
_IN_OUR_TIME = r"(?:19[7-9][0-9]|2[01][0-9][0-9])-"
"""Years 1970 to 2199: beyond, a slip of the finger, and no arithmetic with it may run off the calendar."""


def _parsed(parse: Callable[[str], object], wanted: str, format_name: str) -> Type:
    def check(value: object) -> str | None:
        if not isinstance(value, str):
            return wanted
        if not "1970" <= value[:4] <= "2199" and value[:4].isdigit():
            return f"{wanted}, of the years 1970 to 2199"
        try:
            parse(value)
        except ValueError:
            return wanted
        return None

    return Type(check, {"type": "string", "format": format_name, "pattern": f"^{_IN_OUR_TIME}"}, str)


def names(kinds: str) -> Type:
    """The id of an item of one of `kinds` (by comma; "*" for any)."""
    return _name(f"the id of one {kinds.replace(',', ' or ')}" if kinds != "*" else "an id", kinds)


def _name(wanted: str, kinds: str = "") -> Type:
    return pattern(_NAME, wanted, kinds, plain=_is_plain_name)


def _is_plain_name(value: str) -> bool:
    return value.isascii() and value.isprintable() and value.strip() == value != ""


def _flag(value: object) -> str | None:
    return None if isinstance(value, bool) else "true or false"


_FLAG_WORDS = {"yes": True, "true": True, "no": False, "false": False}
PERCENT = number(0, 100)
INSTANT = _parsed(parse_rfc3339, "a time with offset such as 2026-04-01T18:40:00+02:00", "date-time")
DAY = _parsed(parse_date, "a date such as 2026-04-01", "date")
FLAG = Type(_flag, {"type": "boolean"}, lambda typed: _FLAG_WORDS.get(typed.lower(), typed))
LIGHTS = pattern(_LIGHTS, 'the lights that are lit, such as "3 of 4"')
NAME = _name("a name of at most 80 characters on one line")


def volts_each() -> Type:
    """One voltage a cell; equal ones may repeat, so this is a list of its own kind."""
    one = number(0, 5)

    def check(value: object) -> str | None:
        good = isinstance(value, list) and value and not any(map(one.check, value))
        return None if good else "a list of cell voltages, each from 0 to 5"

    schema = {"type": "array", "minItems": 1, "items": one.schema}
    return Type(check, schema, lambda typed: [one.read(part) for part in typed.split(",")])
