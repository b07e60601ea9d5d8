"""Whether a pack suddenly lost endurance, and how often chance looks like that."""

from collections.abc import Sequence
from math import erfc, log, pi, sqrt
from typing import NamedTuple

from scheduler.cells.endurance import LEAST_EARLIER, last_over_usual
from scheduler.cells.estimate import Estimate, median
from scheduler.cells.trend import median_interval

LOOK = 0.75
"""Ratio below which a flight is a sudden loss and the pack should be looked at. Common practice, no source."""


class Loss(NamedTuple):
    """A flight compared with the pack's own earlier ones.

    `false_alarm`: how often chance alone goes below the threshold.
    """

    ratio: Estimate
    false_alarm: float
    sudden: bool


def last_ratio(rates: Sequence[float], least_earlier: int = LEAST_EARLIER) -> Estimate | None:
    """Return the last flight over the usual.

    Range: that of the median (sign test; 95 % from six earlier ones on).
    """
    ratio = last_over_usual(rates, least_earlier)
    if ratio is None:
        return None
    earlier, last = rates[:-1], rates[-1]
    usual = median_interval(earlier)
    basis = f"last flight over the median of {len(earlier)} before it"
    return Estimate(ratio, last / usual.high, last / usual.low, basis)


def scatter(rates: Sequence[float]) -> float:
    """Return the spread of flights about their median as a deviation of logarithms.

    It is 1.4826 x the median absolute deviation: the standard deviation of a normal distribution.
    """
    logs = [log(rate) for rate in rates]
    centre = median(logs)
    return 1.4826 * median(abs(value - centre) for value in logs)


def chance_below(threshold: float, spread: float, earlier: int, true_ratio: float = 1.0) -> float:
    """Return the chance of a ratio below the threshold if it truly is `true_ratio`.

    At true_ratio 1 that is the false-alarm rate; at a loss, 1 minus it is the miss rate. For normal logarithms of
    scatter `spread` and a median of `earlier` flights, whose variance is about pi / 2 of their mean's.
    """
    if spread <= 0:
        return float(true_ratio < threshold)
    deviation = spread * sqrt(1 + pi / (2 * earlier))
    return erfc(log(true_ratio / threshold) / deviation / sqrt(2)) / 2


def sudden_loss(rates: Sequence[float], threshold: float = LOOK, least_earlier: int = LEAST_EARLIER) -> Loss | None:
    """Judge the last flight against the earlier ones; None if those are too few.

    Give similar flights only, the oldest first. After five flights that scatter by 8 %, 0.75 gives a false alarm about
    once in 1000 flights and hardly ever misses a loss of half; at a scatter of 15 % it gives one in 20. Simulated rates
    are in ACCURACY.md.
    """
    ratio = last_ratio(rates, least_earlier)
    if ratio is None:
        return None
    earlier = rates[:-1]
    return Loss(ratio, chance_below(threshold, scatter(earlier), len(earlier)), ratio.value < threshold)
