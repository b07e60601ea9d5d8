"""Reports of how far work has come."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

Progress = Callable[[int, int], object]
"""Called with how many are done, and of how many (0 where that is not known)."""


def nobody(_done: int, _of: int) -> None:
    """Ignore how far the work has come."""


Thing = TypeVar("Thing")


def counted(things: Iterable[Thing], tell: Progress, of: int = 0) -> Iterator[Thing]:
    """Yield things, telling each time how many were taken."""
    for number, thing in enumerate(things, 1):
        tell(number, of)
        yield thing
