"""What a YAML scalar means: YAML 1.2.2, narrowed where it would surprise a person.

Source: the core schema, https://yaml.org/spec/1.2.2/ section 10.3.2, the regular expressions of the tag resolution
table. Narrower here:

- a decimal number with a leading zero (`010`, `007.5`) stays text: YAML 1.1 and 1.2 read it differently, and
  it is mostly a name;
- `.inf` and `.nan` stay text: no quantity of ours is infinite, and JSON has neither.
"""

import re
import sys

Scalar = str | int | float | bool | None

# Beyond this a whole number is not exact in every reader of JSON: RFC 8259, section 6.
MAX_INTEGER = 2**53 - 1

_WORDS: dict[str, bool | None] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL"), None),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}
_KINDS = {"null": type(None), "bool": bool, "int": int, "float": float}
_DECIMAL = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_OCTAL_OR_HEX = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|(0|[1-9][0-9]*)(\.[0-9]*)?)([eE][-+]?[0-9]+)?")


def plain(text: str) -> Scalar:
    """Return the value of an unquoted scalar.

    Raises OverflowError for a whole number beyond +-MAX_INTEGER and for a float beyond the range of a double.
    """
    if text in _WORDS:
        return _WORDS[text]
    if text[0] not in "+-.0123456789":
        return text
    if _OCTAL_OR_HEX.fullmatch(text):
        return _bounded(int(text, 0), MAX_INTEGER)
    if _DECIMAL.fullmatch(text):
        # As a float first: int() refuses thousands of digits with an error of its own.
        _bounded(float(text), MAX_INTEGER)
        return int(text)
    if _FLOAT.fullmatch(text):
        return _bounded(float(text), sys.float_info.max)
    return text


def is_text(text: str) -> bool:
    """Return whether an unquoted scalar is text, not a number, a truth value or null."""
    try:
        return isinstance(plain(text), str)
    except OverflowError:
        return False


def tagged(tag: str, text: str) -> Scalar:
    """Return the value of a scalar with a core tag: "int" for `!!int`.

    Raises ValueError if the text is not of that kind, LookupError for any other tag.
    """
    if tag == "str":
        return text
    value = plain(text)
    if tag == "float" and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if type(value) is not _KINDS[tag]:
        raise ValueError(text)
    return value


def _bounded(number: int | float, limit: int | float) -> int | float:
    if abs(number) > limit:
        raise OverflowError(number)
    return number
