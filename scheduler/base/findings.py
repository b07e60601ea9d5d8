"""Findings: what is wrong with a user's input, and where. Refusals list them."""

from collections.abc import Iterable
from typing import NamedTuple


class Finding(NamedTuple):
    """One thing that is wrong: what is there and what would be right.

    `line` and `column` count from 1 and are 0 where unknown; `file` is "" for input from the command line.
    """

    file: str
    line: int
    column: int
    text: str

    def __str__(self) -> str:
        place = [str(part) for part in (self.file, self.line, self.column) if part]
        said = ": ".join([":".join(place), self.text] if place else [self.text])
        return said if said.isprintable() else "".join(c if c.isprintable() or c == "\n" else "?" for c in said)


class Refused(Exception):
    """Input is refused; `findings` says why, in the order to show them."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = list(findings)
        super().__init__(self.findings)

    def __str__(self) -> str:
        return "\n".join(map(str, self.findings))

    @classmethod
    def because(cls, text: str) -> "Refused":
        """Return a refusal with a single reason that has no place in a file."""
        return cls([Finding("", 0, 0, text)])


class FilesRefused(Refused):
    """The files of a home failed validation."""


_TELLING = 3
"""Letters of a beginning that are enough to tell which name is meant."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known name that `word` begins, else the one most like it.

    Upper and lower case do not matter. None where nothing is alike.
    """
    import difflib

    by_lower = {name.lower(): name for name in known}
    begun = [name for name in by_lower if len(word) >= _TELLING and name.startswith(word.lower())]
    if begun:
        return by_lower[min(begun)]
    alike = difflib.get_close_matches(word.lower(), by_lower, n=1)
    return by_lower[alike[0]] if alike else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ", did you mean 'name'?" to end a refusal of `word`; "" if none is alike."""
    name = nearest(word, known)
    return "" if name is None else f", did you mean {name!r}?"


def and_then(near: str, rest: str) -> str:
    """Return the rest of a refusal after `near`, the result of `did_you_mean`.

    After a question it is a sentence of its own.
    """
    return f"{near} {rest[:1].upper()}{rest[1:]}" if near else f"; {rest}"
