"""Who watches long work."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

Progress = Callable[[int, int], object]
"""Is told how many are done, of how many; 0 where that is not known."""


def nobody(_done: int, _of: int) -> None:
    """Watches no progress."""


Thing = TypeVar("Thing")


def counted(things: Iterable[Thing], tell: Progress, of: int = 0) -> Iterator[Thing]:
    """The same things, telling how many have been taken."""
    for number, thing in enumerate(things, 1):
        tell(number, of)
        yield thing
