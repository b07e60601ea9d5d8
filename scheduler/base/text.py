"""How words are set: lists, lines that go on further in, and text from outside made safe to show."""

import re

_CONTROL = "[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b\u2028-\u202e\u2066-\u2069\ud800-\udfff]"


def clean(text: str) -> str:
    """Text from outside made safe to show: control and direction characters (terminal escapes) become '?'."""
    if text.isascii() and text.isprintable():
        return text
    return re.sub(_CONTROL, "?", text)


def listed(words: list[str]) -> str:
    """ "B", "B and C", "B, C and D"; each once."""
    words = list(dict.fromkeys(words))
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def set_in(text: str, by: int) -> str:
    """A text of which all lines but the first begin so many blanks further in."""
    return text.replace("\n", "\n" + " " * by)


def numbered(count: int, noun: str, plural: str = "") -> str:
    """ "1 finding", "2 findings"; "2 entries" where the plural is given."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"
