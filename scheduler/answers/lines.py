"""Lines of a file, one at a time."""

from collections.abc import Iterator
from typing import IO

from scheduler.base.findings import Finding, Refused


def lines(source: IO[bytes], name: str) -> Iterator[tuple[int, str]]:
    """Yield the lines of a UTF-8 file with their numbers. Raises Refused."""
    for number, line in enumerate(source, 1):
        try:
            yield number, line.decode("utf-8-sig" if number == 1 else "utf-8")
        except UnicodeDecodeError:
            raise Refused([Finding(name, number, 0, "is not UTF-8")]) from None
