"""The median. That of the standard library costs 8 ms to load, which logging an event should not pay."""

from collections.abc import Iterable


def median(values: Iterable[float]) -> float:
    """The middle value, or the mean of the middle two; raises IndexError on none."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return (ordered[half] + ordered[~half]) / 2
