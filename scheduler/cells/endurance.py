"""How long a percent of charge lasts, against a pack's past and its sisters."""

from collections.abc import Sequence

from scheduler.cells.estimate import Estimate, median

LEAST_SPAN = 30.0
"""Percentage points that a flight must have used to count."""
LEAST_EARLIER = 5
"""The number of flights needed before the one that is judged."""


def minutes_per_percent(
    minutes: float, percent_from: float, percent_to: float, least_span: float = LEAST_SPAN
) -> float | None:
    """Return the minutes of flight per percent; None below `least_span` points."""
    span = percent_from - percent_to
    return minutes / span if span >= least_span and minutes > 0 else None


def last_over_usual(rates: Sequence[float], least_earlier: int = LEAST_EARLIER) -> float | None:
    """Return the last flight's minutes per percent over the median of those before.

    Give the oldest first. 1 is as usual, 0.5 half as long. None with too few earlier ones.
    """
    earlier = rates[:-1]
    return rates[-1] / median(earlier) if len(earlier) >= least_earlier else None


def against_sisters(own: Sequence[float], sisters: Sequence[Sequence[float]], least: int = 3) -> Estimate | None:
    """Return a pack's median minutes per percent over the median of its sisters.

    Sisters are packs of its kind on the same aircraft. None unless the pack and two of them have `least` flights each.
    Range: over the best and the worst sister.
    """
    medians = [median(flights) for flights in sisters if len(flights) >= least]
    if len(own) < least or len(medians) < 2:
        return None
    mine, basis = median(own), f"against the medians of {len(medians)} sister packs"
    return Estimate(mine / median(medians), mine / max(medians), mine / min(medians), basis)
