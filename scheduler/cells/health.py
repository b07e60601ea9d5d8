"""The capacity left in a pack, from flights and tests, and when it gets too small."""

from collections.abc import Sequence

from scheduler.cells.estimate import Estimate, median
from scheduler.cells.trend import median_interval, theil_sen

GAUGE_ERROR = 2.0
"""Percentage points that a gauge may be off at either end of a flight. Estimate; no source."""
TEST_ERROR = 0.02
"""Relative error of a capacity test: meter, temperature, where it stopped. Estimate; no source."""
LEAST_SPAN = 30.0
"""Percentage points that a flight must have used to tell the capacity."""
LEAST_READINGS = 8
"""The number of capacities needed for a trend."""
REACH = 3.0
"""A trend is extrapolated at most this many times the span of its readings."""
LAST_TESTS, LAST_FLIGHTS = 3, 9
"""How many of the latest capacity tests and flights count."""
TEST_VOTES = 5
"""How many flights one test counts for. Nine flights with a gauge that always errs the same way, or that repeats the
label, are worth less than one full discharge; but a single test may be a slip. So two tests outvote the flights, one
does not. A choice, no source."""


def capacity_from_flight(
    used_mah: float, percent_from: float, percent_to: float, least_span: float = LEAST_SPAN
) -> Estimate | None:
    """Return the capacity in mAh, used / span x 100; None below `least_span` points.

    It is only as good as the gauge's two readings, each assumed right within 2 points. Percents from the voltage tables
    are useless here: on the record of ACCURACY.md they make the capacity wrong by a factor of up to two. A gauge that
    calculates its percent from the label's capacity returns the label.
    """
    span = percent_from - percent_to
    if span < least_span or used_mah <= 0:
        return None
    low, high = (100 * used_mah / (span + error) for error in (2 * GAUGE_ERROR, -2 * GAUGE_ERROR))
    basis = f"used over {span:g} %; range: gauge right within {GAUGE_ERROR:g} points"
    return Estimate(100 * used_mah / span, low, high, basis)


def capacity_from_test(measured_mah: float) -> Estimate:
    """Return the capacity in mAh that a full discharge measured, with its range."""
    low, high = measured_mah * (1 - TEST_ERROR), measured_mah * (1 + TEST_ERROR)
    return Estimate(measured_mah, low, high, "capacity test; range: right within 2 %")


def middle(tests_mah: Sequence[float], flights_mah: Sequence[float], least: int = 3) -> float | None:
    """Return the median of capacities, mAh, a test counting as `TEST_VOTES` flights.

    None if these are below `least`. One wild reading among many moves it by a rank, a wild test by two or three.
    """
    votes = [*tests_mah] * TEST_VOTES + [*flights_mah]
    return median(votes) if len(votes) >= least else None


def health(flights_mah: Sequence[float], rated_mah: float, tests_mah: Sequence[float] = ()) -> Estimate | None:
    """Return the percent of rated capacity now: `middle` of the last readings.

    Give the oldest flights and tests first. None with too few. Range: the sign test's over the readings, 95 % from six
    on; with a test also its error of 2 %. It does not cover a gauge that errs the same way on every flight. A median of
    nine lags four readings behind a fading pack, which is little compared with their scatter.
    """
    tests, flights = tests_mah[-LAST_TESTS:], flights_mah[-LAST_FLIGHTS:]
    mah = middle(tests, flights)
    if mah is None:
        return None
    spread = median_interval([*tests, *flights])
    error = TEST_ERROR * mah if tests else 0.0
    counted = " and ".join(_count(of, name) for of, name in ((tests, "capacity test"), (flights, "flight")) if of)
    low, high = min(spread.low, mah - error), max(spread.high, mah + error)
    value, low, high = (100 * each / rated_mah for each in (mah, low, high))
    return Estimate(value, low, high, f"middle of the last {counted}")


def _count(of: Sequence[float], name: str) -> str:
    return f"{len(of)} {name}s" if len(of) > 1 else name


def reaches(
    xs: Sequence[float], ys: Sequence[float], line: float = 80.0, least: int = LEAST_READINGS
) -> Estimate | None:
    """Return where a falling trend of ys (health in percent) crosses the line.

    On the axis of xs: days, or cycles. Theil-Sen line. Range: all lines whose slope lies in Sen's 95 % interval and
    whose level lies in the sign test's 95 % interval for that slope. None with too few readings, a slope not certainly
    below zero, or a crossing further ahead than three times the span of the readings. Not for lines under 80: fade is
    nearly linear down to there and may be faster below (an industry encyclopedia, read in a copy).
    """
    found = _crossing(xs, ys, line, least)
    return found if isinstance(found, Estimate) else None


def why_no_crossing(
    xs: Sequence[float], ys: Sequence[float], line: float = 80.0, least: int = LEAST_READINGS
) -> str | None:
    """Return why `reaches` returns None for these; None if it returns an estimate."""
    found = _crossing(xs, ys, line, least)
    return found if isinstance(found, str) else None


def _crossing(xs: Sequence[float], ys: Sequence[float], line: float, least: int) -> Estimate | str:
    """Return the crossing of `reaches`, or why there is none."""
    if len(xs) < least:
        verb = "is" if len(xs) == 1 else "are"
        return f"a trend takes {least} readings, and there {verb} {len(xs) or 'none'}"
    fit = theil_sen(xs, ys)
    if fit is None or fit.slope.high >= 0:
        return "its readings do not surely fall"
    value = (line - fit.intercept) / fit.slope.value
    if value > max(xs) + REACH * (max(xs) - min(xs)):
        return f"it lies further ahead than {REACH:g} times what its readings span"
    ends = [value]
    for slope in fit.slope.low, fit.slope.high:
        levels = median_interval([y - slope * x for x, y in zip(xs, ys, strict=True)])
        ends += [(line - level) / slope for level in levels]
    basis = f"line through {len(xs)} capacities; range: 95 % intervals of slope and level"
    return Estimate(value, min(ends), max(ends), basis)
