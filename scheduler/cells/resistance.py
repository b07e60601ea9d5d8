"""How the resistance of a pack has risen."""

from collections.abc import Sequence

from scheduler.cells.estimate import Estimate
from scheduler.cells.median import median


def resistance_ratio(mohm: Sequence[float]) -> Estimate | None:
    """Resistance now over resistance at first, oldest first: median of the last 3 over median of the first 5.

    None below 8 readings. Range: extremes of the three over extremes of the five. Resistance falls by a third
    from 10 to 25 C (ACCURACY.md): compare like temperature and charge. 2.0 is a customary end of life (an
    industry encyclopedia, read in a copy).
    """
    if len(mohm) < 8:
        return None
    first, last = mohm[:5], mohm[-3:]
    basis = "median of the last 3 readings over that of the first 5; range: their extremes"
    return Estimate(median(last) / median(first), min(last) / max(first), max(last) / min(first), basis)
