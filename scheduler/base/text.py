"""Text for people: word lists, indented lines, counts, outside text made safe."""

import re

_CONTROL = "[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b\u2028-\u202e\u2066-\u2069\ud800-\udfff]"


def clean(text: str) -> str:
    """Return text from outside with control and direction characters as '?'.

    Shown raw, they could steer the terminal.
    """
    if text.isascii() and text.isprintable():
        return text
    return re.sub(_CONTROL, "?", text)


def is_blank(text: str) -> bool:
    """Return whether a text shows nothing: only blanks and characters without shape."""
    return not text.strip() or not re.sub(_CONTROL, "", text).strip()


def listed(words: list[str]) -> str:
    """Return "B", "B and C" or "B, C and D"; each word once."""
    words = list(dict.fromkeys(words))
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def set_in(text: str, by: int) -> str:
    """Return a text with so many blanks before each line but the first."""
    return text.replace("\n", "\n" + " " * by)


def numbered(count: int, noun: str, plural: str = "") -> str:
    """Return "1 finding" or "2 findings"; "2 entries" if the plural is given."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"
