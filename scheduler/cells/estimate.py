"""Numbers that are not known exactly: values with ranges, and their median."""

from collections.abc import Iterable
from typing import NamedTuple


class Estimate(NamedTuple):
    """A value, the range it may lie in, and where both come from.

    `low <= value <= high`, all in the unit that the function returning it names; `high` may be infinite.
    `basis` is a phrase for the user: the source of the value and of its range.
    """

    value: float
    low: float
    high: float
    basis: str

    def times(self, factor: float) -> "Estimate":
        """Return the same estimate in another unit; `factor` is not negative."""
        return Estimate(self.value * factor, self.low * factor, self.high * factor, self.basis)


def median(values: Iterable[float]) -> float:
    """Return the middle value, or the mean of the middle two.

    Raises IndexError without values. `statistics.median` does the same, but takes 8 ms to load, which logging an event
    should not pay.
    """
    ordered = sorted(values)
    half = len(ordered) // 2
    return (ordered[half] + ordered[~half]) / 2
