"""What a pack loses on the shelf, and how fast a given pack does."""

from collections.abc import Sequence
from typing import NamedTuple

from scheduler.cells.curves import interpolate
from scheduler.cells.estimate import Estimate
from scheduler.cells.trend import sen_slope

RATE_DAYS = 30.0
"""A self-discharge rate is percent of capacity in this many days."""


class SelfDrain(NamedTuple):
    """How a pack drains itself: after idle days, down to a percentage, over some days."""

    after_days: float
    to_percent: float
    over_days: float


class Reading(NamedTuple):
    """A resting charge: day on any axis of days, percent of capacity."""

    day: float
    percent: float


def idle(percent: float, rate: float, drain: SelfDrain | None = None) -> list[Reading]:
    """Return the corners of an idle pack's charge, by days from now.

    Linear between them, as a month's self-discharge is small, and constant after the last. Given: percent now, 0 to
    100; rate of self-discharge, percent of capacity in 30 days; the nominal profile of a self-draining pack. Raises
    ValueError for values out of range. Published rates: 5 % in the first day, then 1 to 2 % a month and about 3 % more
    with a protection circuit (Battery University's table, read in a copy).
    """
    if not 0 <= percent <= 100 or not rate >= 0:
        raise ValueError(f"{percent:g} %, rate {rate:g} %: 0 to 100 % and a rate of 0 or more would be right")
    corners = [Reading(0.0, percent)]
    if drain is not None:
        corners += _draining(percent, rate, drain)
    day, left = corners[-1]
    if rate > 0 and (empty := day + left / rate * RATE_DAYS) > day:
        corners.append(Reading(empty, 0.0))
    return corners


def _draining(percent: float, rate: float, drain: SelfDrain) -> list[Reading]:
    if drain.after_days < 0 or drain.over_days <= 0:
        raise ValueError(f"{drain}: `after` of 0 or more and `over` of more than 0 days would be right")
    begins = percent - rate * drain.after_days / RATE_DAYS
    if begins <= drain.to_percent:
        return []
    end = Reading(drain.after_days + drain.over_days, drain.to_percent)
    return [Reading(drain.after_days, begins), end] if drain.after_days else [end]


def percent_on(corners: Sequence[Reading], day: float) -> float:
    """Return the charge on a day, given the corners of `idle`."""
    if len(corners) == 1:
        return corners[0].percent
    return interpolate(day, [c.day for c in corners], [c.percent for c in corners])


def days_until(corners: Sequence[Reading], percent: float) -> float | None:
    """Return the days until the charge is down to this percentage; None if never."""
    if corners[0].percent <= percent:
        return 0.0
    for above, below in zip(corners, corners[1:], strict=False):
        if below.percent <= percent:
            share = (above.percent - percent) / (above.percent - below.percent)
            return above.day + share * (below.day - above.day)
    return None


def fitted_rate(series: Sequence[Sequence[Reading]], least_readings: int = 6) -> Estimate | None:
    """Return a pack's own self-discharge, percent of capacity in 30 days.

    Each series holds resting readings between which nothing was done to the pack, best begun a day after the charge
    (the first day loses more). Robust: the median of the slopes between all pairs of readings of a series, over all
    series; its 95 % interval as in the seasonal Kendall test (Hirsch, Slack and Smith 1982, from memory). None below
    `least_readings`. A rate below 0 counts as 0: a resting pack gains nothing.
    """
    usable = [readings for readings in series if len(readings) > 1]
    count = sum(map(len, usable))
    if count < least_readings:
        return None
    slope = sen_slope([([r.day for r in s], [r.percent for r in s]) for s in usable])
    if slope is None:
        return None
    value, high, low = (max(0.0, -RATE_DAYS * s) for s in slope)
    return Estimate(value, low, high, f"median slope of {count} resting readings, 95 % interval")
