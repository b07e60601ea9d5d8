"""The types that a field of an event can have.

Each is declared once: the quick check of `log` and `intake`, the published JSON Schema and the reading of a typed word
come from it.
"""

import json
import re
from collections.abc import Callable
from typing import Any, NamedTuple

from scheduler.base.instants import parse_date, parse_rfc3339

_UNSEEN = r"\x7f-\x9f\u200b\u2028-\u202e\u2066-\u2069\ud800-\udfff"
"""Control characters, and those that turn or hide the text around them: a name in a terminal is what it seems to be."""
_NAME = rf"[^\x00-\x20{_UNSEEN}](?:[^\x00-\x1f{_UNSEEN}]{{0,78}}[^\x00-\x20{_UNSEEN}])?"
_LARGEST = 1e9
_HALF = "[\ud800-\udfff]"
"""Half a character: no text to be kept."""
_LIGHTS = r"[0-9] of [1-9]"


class Type(NamedTuple):
    """A field type.

    `fits`: whether a value is good, quickly; the schema says the same, and what would be right (`x-expects`). `read`:
    the value of a typed word, whether good or not. `names`: the item kind, or kinds by comma, that the value names.
    """

    fits: Callable[[object], bool]
    schema: dict[str, Any]
    read: Callable[[str], object]
    names: str = ""


def _is_number(value: object) -> bool:
    return type(value) in (int, float)


def _read_number(text: str) -> object:
    try:
        return json.loads(text.rstrip("%"))
    except ValueError:
        return text


def number(low: float | None = None, high: float = _LARGEST, above: float | None = None, expects: str = "") -> Type:
    """Return the type of numbers within [low, high], or above `above`."""
    bounds = {"minimum": low, "maximum": high, "exclusiveMinimum": above}
    least = low if low is not None else -_LARGEST if above is None else above

    def fits(value: object) -> bool:
        return _is_number(value) and least <= value <= high and value != above  # type: ignore[operator]

    schema = {"type": "number"} | {k: v for k, v in bounds.items() if v is not None}
    return Type(fits, schema | {"x-expects": expects or _range_text(low, high, above)}, _read_number)


def _range_text(low: float | None, high: float, above: float | None) -> str:
    if above is not None:
        return f"a number above {above:g}" + (f" and at most {high:g}" if high < _LARGEST else "")
    return f"a number from {low:g} to {high:g}" if high < _LARGEST else f"a number of at least {low:g}"


def whole(low: int) -> Type:
    """Return the type of whole numbers of at least `low`; 3.0 is one."""

    def fits(value: object) -> bool:
        return _is_number(value) and low <= value <= _LARGEST and value == int(value)  # type: ignore[operator, call-overload]

    expects = {"x-expects": f"a whole number of at least {low}"}
    return Type(fits, {"type": "integer", "minimum": low, "maximum": _LARGEST} | expects, _read_number)


def pattern(
    regex: str,
    expects: str,
    names: str = "",
    longest: int = 80,
    plain: Callable[[str], bool] = lambda _: False,
) -> Type:
    """Return the type of texts that match the whole of `regex`.

    `plain`: says quickly of most good values that they match.
    """
    match: Callable[[str], object] | None = None
    good: set[str] = set()  # the same few names come again and again

    def fits(value: object) -> bool:
        nonlocal match
        if not isinstance(value, str) or len(value) > longest:
            return False
        if value in good or plain(value):
            return True
        if match is None:  # what one entry does not name is not compiled for it
            match = re.compile(rf"(?:{regex})\Z").match
        if not match(value):
            return False
        if len(good) < _REMEMBERED:
            good.add(value)
        return True

    # `$` alone would let a final line break pass in Python's reading of a JSON Schema.
    schema = {"type": "string", "pattern": rf"^(?:{regex})(?!\n)$", "maxLength": longest, "x-expects": expects}
    return Type(fits, schema, str, names)


def text(longest: int) -> Type:
    """Return the type of any text of at most `longest` characters."""

    def fits(value: object) -> bool:
        return isinstance(value, str) and len(value) <= longest and (value.isascii() or not re.search(_HALF, value))

    expects = f"text of at most {longest} whole characters"
    return Type(
        fits, {"type": "string", "maxLength": longest, "pattern": r"^[^\ud800-\udfff]*$", "x-expects": expects}, str
    )


def choice(*words: str, meant: dict[str, str] | None = None) -> Type:
    """Return the type of some words. `meant`: what people write instead, and the word."""
    known = frozenset(words)
    schema = {"enum": list(words), "x-expects": f"one of {', '.join(words)}"} | ({"x-meant": meant} if meant else {})
    return Type(lambda value: isinstance(value, str) and value in known, schema, str)


def choices(of: Type) -> list[str]:
    """Return the words of a type made by `choice`, or of a list of it; else none."""
    each: dict = of.schema.get("items", of.schema)
    return each.get("enum", [])


def some(of: Type, repeats: bool = False) -> Type:
    """Return the type of lists of at least one value; none twice, unless it `repeats`."""

    def fits(value: object) -> bool:
        if not isinstance(value, list) or not value or not all(map(of.fits, value)):
            return False
        return repeats or len(value) == 1 or len(set(value)) == len(value)

    schema = {"type": "array", "minItems": 1, "items": of.schema} | ({} if repeats else {"uniqueItems": True})
    return Type(fits, schema, lambda typed: [of.read(part.strip()) for part in typed.split(",")], of.names)


_REMEMBERED = 20_000
"""Good values remembered for each type."""
_IN_OUR_TIME = r"(?:19[7-9][0-9]|2[01][0-9][0-9])-"
"""Years 1970 to 2199: beyond, a slip of the finger, and no arithmetic with it may run off the calendar."""


def _parsed(parse: Callable[[str], object], expects: str, format_name: str) -> Type:
    def fits(value: object) -> bool:
        if not isinstance(value, str) or not "1970" <= value[:4] <= "2199":
            return False
        try:
            parse(value)
        except ValueError:
            return False
        return True

    schema = {"type": "string", "format": format_name, "pattern": f"^{_IN_OUR_TIME}"}
    return Type(fits, schema | {"x-expects": f"{expects}, of the years 1970 to 2199"}, str)


def names(kinds: str) -> Type:
    """Return the type of ids of an item of one of `kinds` (by comma; "*" for any)."""
    return _name(f"the id of one {kinds.replace(',', ' or ')}" if kinds != "*" else "an id", kinds)


def _name(expects: str, kinds: str = "") -> Type:
    return pattern(_NAME, expects, kinds, plain=_is_plain_name)


def _is_plain_name(value: str) -> bool:
    return value.isascii() and value.isprintable() and value.strip() == value != ""


_FLAG_WORDS = {"yes": True, "true": True, "no": False, "false": False}
PERCENT = number(0, 100)
INSTANT = _parsed(parse_rfc3339, "a time with offset such as 2026-04-01T18:40:00+02:00", "date-time")
DAY = _parsed(parse_date, "a date such as 2026-04-01", "date")
FLAG = Type(
    lambda value: isinstance(value, bool), {"type": "boolean"}, lambda typed: _FLAG_WORDS.get(typed.lower(), typed)
)
LIGHTS = pattern(_LIGHTS, 'the lights that are lit, such as "3 of 4"')
NAME = _name("a name of at most 80 characters on one line")
VOLTS_EACH = some(number(0, 5, expects="a cell voltage from 0 to 5"), repeats=True)
"""One voltage a cell; equal ones may repeat."""
