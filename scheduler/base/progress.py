"""Who watches long work."""

from collections.abc import Callable

Progress = Callable[[int, int], object]
"""Is told how many are done, of how many; 0 where that is not known."""


def nobody(_done: int, _of: int) -> None:
    """Watches no progress."""
