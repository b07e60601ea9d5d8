"""One shape for every number that is not known exactly."""

from typing import NamedTuple


class Estimate(NamedTuple):
    """A value, the range it may lie in, and what both rest on.

    `low <= value <= high`, all in the unit that the function returning it names; `high` may be infinite.
    `basis` is a phrase for the user: the source of the value and of its range.
    """

    value: float
    low: float
    high: float
    basis: str

    def times(self, factor: float) -> "Estimate":
        """The same estimate in another unit; `factor` is not negative."""
        return Estimate(self.value * factor, self.low * factor, self.high * factor, self.basis)
