"""Theil-Sen and the sign test's interval, against scipy and against counting."""

import statistics
from itertools import product
from math import comb

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from scheduler.cells.estimate import median
from scheduler.cells.trend import median_interval, sen_slope, theil_sen

POINTS = st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=2, max_size=25)


@pytest.mark.parametrize(
    ("xs", "ys", "slope", "intercept", "low", "high"),
    [
        ([0, 1, 2, 3, 4], [1, 2, 3, 4, 100], 1.0, 1.0, 1.0, 96.0),
        ([0, 1, 2, 3, 4, 5], [20.1, 20.0, 19.8, 19.7, 25.0, 19.4], -0.133333, 20.233333, -0.2, 2.6),
        (
            range(0, 80, 10),
            [10.0, 10.2, 10.1, 10.6, 10.9, 11.5, 11.6, 11.2],
            0.0229167,
            9.947917,
            0.01,
            0.0375,
        ),
    ],
)
def test_worked_lines(
    xs: list[float], ys: list[float], slope: float, intercept: float, low: float, high: float
) -> None:
    """Computed with scipy 1.17.1; least squares gives 20.0, and the wrong sign."""
    line = theil_sen(xs, ys)
    assert line is not None
    assert (*line.slope, line.intercept) == pytest.approx((slope, low, high, intercept), abs=1e-6)


@given(POINTS, st.sampled_from([0.8, 0.95, 0.99]))
def test_the_line_and_its_interval_are_scipys(points: list[tuple[int, int]], confidence: float) -> None:
    """scipy.stats.theilslopes; where ties leave no variance it gives nan for the interval."""
    xs, ys = zip(*points, strict=True)
    assume(len(set(xs)) > 1)
    with np.errstate(invalid="ignore"):
        theirs = stats.theilslopes(ys, xs, alpha=confidence)
    ours = theil_sen(xs, ys, confidence)
    assert ours is not None
    assert (ours.slope.value, ours.intercept) == pytest.approx((theirs.slope, theirs.intercept))
    if theirs.low_slope == theirs.low_slope:
        assert (ours.slope.low, ours.slope.high) == pytest.approx((theirs.low_slope, theirs.high_slope))


@given(POINTS, st.integers(-5, 5), st.integers(-40, 40))
def test_tilting_the_points_tilts_the_line(points: list[tuple[int, int]], tilt: int, lift: int) -> None:
    xs, ys = zip(*points, strict=True)
    assume(len(set(xs)) == len(xs))
    before, after = theil_sen(xs, ys), theil_sen(xs, [y + tilt * x + lift for x, y in points])
    assert before is not None and after is not None
    assert after.slope.value == pytest.approx(before.slope.value + tilt, abs=1e-9)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1))
def test_the_median_is_the_standard_librarys(values: list[float]) -> None:
    assert median(values) == statistics.median(values)


def test_points_all_above_one_another_have_no_slope() -> None:
    assert theil_sen([3, 3, 3], [1, 2, 3]) is None
    assert theil_sen([], []) is None


def test_unequal_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="zip"):
        theil_sen([1, 2], [1])


def test_groups_at_different_levels_share_one_slope() -> None:
    slope = sen_slope([([0, 1, 2], [10, 9, 8]), ([0, 1, 2], [90, 89, 88])])
    assert slope == (-1, -1, -1)


@pytest.mark.parametrize(
    ("n", "cut"), [(1, 0), (5, 0), (6, 0), (8, 0), (9, 1), (12, 2), (20, 5), (40, 13), (2000, 955)]
)
def test_the_interval_is_the_sign_tests_narrowest_of_95_percent(n: int, cut: int) -> None:
    """Against the exact binomial: the ends hold in 95 % or more, one step further in they would not."""
    assert median_interval(range(n)) == ((n - 1) / 2, cut, n - 1 - cut)

    def outside(k: int) -> float:
        return 2 * sum(comb(n, i) for i in range(k + 1)) / 2**n

    assert n < 6 or outside(cut) <= 0.05 < outside(cut + 1)


def test_the_median_interval_holds_in_as_many_cases_as_it_says() -> None:
    """Counted over all 2^9 ways in which nine values can lie above or below the true median."""
    inside = 0
    for signs in product((-1, 1), repeat=9):
        _, low, high = median_interval([sign * (i + 1) for i, sign in enumerate(signs)])
        inside += low <= 0 <= high
    assert inside / 2**9 == pytest.approx(1 - 2 * (1 + 9) / 2**9)


def test_less_confidence_narrows_the_interval_down_to_the_median() -> None:
    values = [1, 2, 3, 4, 5]
    assert [median_interval(values, c) for c in (0.99, 0.5, 0.0)] == [(3, 1, 5), (3, 2, 4), (3, 3, 3)]


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60))
def test_the_median_lies_in_its_interval(values: list[float]) -> None:
    middle, low, high = median_interval(values)
    assert min(values) <= low <= middle <= high <= max(values)
