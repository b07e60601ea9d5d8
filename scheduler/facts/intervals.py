"""Three-valued intervals of time: the algebra of verdicts.

`Intervals` partitions the whole time axis, MIN_INSTANT to MAX_INSTANT, into half-open intervals [start, end) of NO,
UNKNOWN or YES. The logic is Kleene's: `every` is the minimum, `some` the maximum, `~` swaps NO and YES. Instants are
whole microseconds.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from functools import reduce

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT

NO, UNKNOWN, YES = 0, 1, 2
WORDS = ("no", "unknown", "yes")


class Intervals:
    """A partition of time: `values[i]` lasts from `starts[i]` to `starts[i + 1]`.

    Neighbours differ.
    """

    __slots__ = ("starts", "values")

    def __init__(self, starts: list[int], values: list[int]) -> None:
        self.starts = starts
        self.values = values

    @classmethod
    def of(cls, pairs: list[tuple[int, int]]) -> "Intervals":
        """Build from (start, value) pairs in time order, the first at MIN_INSTANT.

        Of equal starts the last wins.
        """
        starts: list[int] = []
        values: list[int] = []
        for start, value in pairs:
            if starts and starts[-1] == start:
                starts.pop()
                values.pop()
            if not values or values[-1] != value:
                starts.append(start)
                values.append(value)
        return cls(starts, values)

    @classmethod
    def always(cls, value: int) -> "Intervals":
        """Build the partition with one value at every instant."""
        return cls([MIN_INSTANT], [value])

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Intervals) and self.starts == other.starts and self.values == other.values

    def __repr__(self) -> str:
        return f"Intervals({[(start, WORDS[value]) for start, value in zip(self.starts, self.values, strict=True)]})"

    def __invert__(self) -> "Intervals":
        return Intervals(self.starts, [YES - value for value in self.values])

    def __iter__(self) -> Iterator[tuple[int, int, int]]:
        """Yield (start, end, value) of each interval."""
        return zip(self.starts, [*self.starts[1:], MAX_INSTANT], self.values, strict=True)

    def at(self, instant: int) -> int:
        """Return the value at an instant."""
        return self.values[bisect_right(self.starts, instant) - 1]

    def since(self, instant: int) -> int:
        """Return the start of the interval that contains `instant`."""
        return self.starts[bisect_right(self.starts, instant) - 1]

    def next_change(self, instant: int) -> int | None:
        """Return when the value first changes after `instant`; None if it never does."""
        index = bisect_right(self.starts, instant)
        return self.starts[index] if index < len(self.starts) else None

    def clipped(self, start: int, end: int, outside: int = NO) -> "Intervals":
        """Return the same within [start, end), and `outside` elsewhere."""
        if start >= end:
            return Intervals.always(outside)
        inside = [(max(begin, start), value) for begin, stop, value in self if begin < end and stop > start]
        before = [(MIN_INSTANT, outside)] if start > MIN_INSTANT else []
        after = [(end, outside)] if end < MAX_INSTANT else []
        return Intervals.of(before + inside + after)

    def level_before(self, instant: int) -> "Intervals":
        """Return the same from `instant` on, and before it the value it has then."""
        place = bisect_right(self.starts, instant)
        return Intervals([MIN_INSTANT, *self.starts[place:]], self.values[place - 1 :])

    def lasting(self, duration: int) -> "Intervals":
        """Return YES at t where this is YES at every instant of [t - duration, t].

        NO if any part of that interval is NO, else UNKNOWN if any part is UNKNOWN, else YES.
        """
        if duration <= 0:
            return self
        worst = self._reaching(NO, duration)
        return every([worst, self._reaching(UNKNOWN, duration)])

    def _reaching(self, level: int, duration: int) -> "Intervals":
        """Return `level` up to `duration` after this had that value, YES elsewhere."""
        pairs = [(MIN_INSTANT, YES)]
        for start, end, value in self:
            if value == level:
                if start <= pairs[-1][0]:
                    pairs.pop()
                else:
                    pairs.append((start, level))
                if end < MAX_INSTANT:
                    pairs.append((end + duration, YES))
        return Intervals.of(pairs if pairs and pairs[0][0] == MIN_INSTANT else [(MIN_INSTANT, level), *pairs])


_ALL = (NO, NO, NO, NO, UNKNOWN, UNKNOWN, NO, UNKNOWN, YES)
_ANY = (NO, UNKNOWN, YES, UNKNOWN, UNKNOWN, YES, YES, YES, YES)
"""The truth tables, indexed by three times the left value plus the right one."""


def every(parts: Iterable[Intervals]) -> Intervals:
    """Return the conjunction of the parts."""
    return reduce(lambda left, right: _merge(_ALL, NO, left, right), parts)


def some(parts: Iterable[Intervals]) -> Intervals:
    """Return the disjunction of the parts."""
    return reduce(lambda left, right: _merge(_ANY, YES, left, right), parts)


def _merge(table: tuple[int, ...], settles: int, left: Intervals, right: Intervals) -> Intervals:
    """Merge by a truth table.

    While one side has the value `settles`, changes of the other are skipped.
    """
    left_starts, left_values, right_starts, right_values = left.starts, left.values, right.starts, right.values
    i, j, lefts, rights = 0, 0, len(left_starts), len(right_starts)
    starts: list[int] = []
    values: list[int] = []
    before = None
    here = MIN_INSTANT
    while True:
        left_value, right_value = left_values[i], right_values[j]
        value = table[3 * left_value + right_value]
        if value != before:
            starts.append(here)
            values.append(value)
            before = value
        next_left = left_starts[i + 1] if i + 1 < lefts else MAX_INSTANT
        next_right = right_starts[j + 1] if j + 1 < rights else MAX_INSTANT
        if left_value == settles and next_right < next_left:
            here, i, j = next_left, i + 1, bisect_right(right_starts, next_left, j) - 1
        elif right_value == settles and next_left < next_right:
            here, i, j = next_right, bisect_right(left_starts, next_right, i) - 1, j + 1
        else:
            here = min(next_left, next_right)
            i += next_left == here
            j += next_right == here
        if here >= MAX_INSTANT:
            return Intervals(starts, values)
