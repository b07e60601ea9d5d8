"""Robust lines and medians, with intervals that assume no distribution of scatter."""

from collections.abc import Sequence
from math import comb, sqrt
from typing import NamedTuple

from scheduler.cells.estimate import median

Series = tuple[Sequence[float], Sequence[float]]
"""xs and ys of equal length."""


class Interval(NamedTuple):
    """A value and the bounds of its confidence interval."""

    value: float
    low: float
    high: float


class Line(NamedTuple):
    """y = intercept + slope * x, and the number of points it is fitted to."""

    slope: Interval
    intercept: float
    points: int


def theil_sen(xs: Sequence[float], ys: Sequence[float], confidence: float = 0.95) -> Line | None:
    """Fit the line with the median of all pair slopes; None if all xs are equal.

    Intercept: median(y) - slope * median(x). Interval: Sen's, from the variance of Kendall's S with ties; with fewer
    than five points it cannot reach 95 % and is too narrow. Work grows with the square of the points: a few hundred at
    most. Raises ValueError for xs and ys of unequal length. Sources: Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63,
    1379. Agrees with scipy.stats.theilslopes.
    """
    slope = sen_slope([(xs, ys)], confidence)
    if slope is None:
        return None
    return Line(slope, median(ys) - slope.value * median(xs), len(xs))


def sen_slope(groups: Sequence[Series], confidence: float = 0.95) -> Interval | None:
    """Return Sen's slope over pairs within each group only; None without a pair.

    So groups may differ in level.
    """
    slopes = sorted(s for xs, ys in groups for s in _pair_slopes(xs, ys))
    if not slopes:
        return None
    spread = sqrt(max(sum(_kendall_variance(xs, ys) for xs, ys in groups), 0.0))
    from statistics import NormalDist  # costs 8 ms, which logging an event should not pay

    reach = NormalDist().inv_cdf((1 + confidence) / 2) * spread
    low = max(round((len(slopes) - reach) / 2) - 1, 0)
    high = min(round((len(slopes) + reach) / 2), len(slopes) - 1)
    return Interval(median(slopes), slopes[low], slopes[high])


def _pair_slopes(xs: Sequence[float], ys: Sequence[float]) -> list[float]:
    points = sorted(zip(xs, ys, strict=True))
    return [(y2 - y1) / (x2 - x1) for i, (x1, y1) in enumerate(points) for x2, y2 in points[i + 1 :] if x2 > x1]


def _kendall_variance(xs: Sequence[float], ys: Sequence[float]) -> float:
    """Variance of Kendall's S without a trend, corrected for ties."""

    def term(n: int) -> int:
        return n * (n - 1) * (2 * n + 5)

    ties = sum(term(list(values).count(v)) for values in (xs, ys) for v in set(values))
    return (term(len(xs)) - ties) / 18


def median_interval(values: Sequence[float], confidence: float = 0.95) -> Interval:
    """Return the median and its distribution-free interval; raises without values.

    The interval is made of the sign test's order statistics. With fewer than six values 95 % cannot be reached: it is
    then from the smallest to the greatest, and right with a chance of 1 - 2^(1-n).
    """
    ordered, n = sorted(values), len(values)
    allowed = round((1 - confidence) * 1e6) * 2**n  # in whole numbers: 2^n outgrows a float at n = 1024
    cut, outside = 0, 2
    while (outside + 2 * comb(n, cut + 1)) * 10**6 <= allowed:
        cut += 1
        outside += 2 * comb(n, cut)
    return Interval(median(ordered), ordered[cut], ordered[n - 1 - cut])
