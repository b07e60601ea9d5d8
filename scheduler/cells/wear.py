"""How much a pack has worked: full cycles, depths, amp-hours, rise of resistance."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from math import ceil

from scheduler.cells.estimate import Estimate, median


def full_cycles(percents: Sequence[float]) -> float:
    """Return the equivalent full cycles of a charge history in percent.

    That is the travel up and down over twice 100: 50 % to 100 % and back is half a cycle. Source: NREL BLAST-Lite,
    degradation_model.py, sum |dSoC| / 2.
    """
    return sum(abs(b - a) for a, b in zip(percents, percents[1:], strict=False)) / 200


def depths(percents: Sequence[float]) -> list[tuple[float, float]]:
    """Return (depth in percentage points, count of cycles), rising.

    Counted by rainflow; half cycles count 0.5. The sum of depth x count is 100 x `full_cycles`. Source: ASTM E1049-85,
    5.4.4, by the `rainflow` library.
    """
    import rainflow  # type: ignore[import-untyped,unused-ignore]

    moved = [p for before, p in zip([None, *percents], percents, strict=False) if p != before]
    if len(moved) == 2:  # the library finds no turn in a single travel, and a turn of depth 0 in a standstill
        return [(abs(moved[1] - moved[0]), 0.5)]
    counts: Iterable[tuple[float, float]] = rainflow.count_cycles(moved)
    return [(float(depth), float(count)) for depth, count in counts]


def depth_classes(percents: Sequence[float], width: float = 10.0) -> dict[float, float]:
    """Return cycles by class of depth, named by its upper edge, included, in points."""
    classes: defaultdict[float, float] = defaultdict(float)
    for depth, count in depths(percents):
        classes[ceil(depth / width) * width] += count
    return dict(sorted(classes.items()))


def throughput_ah(percents: Sequence[float], capacity_ah: float) -> float:
    """Return the charge moved in and out together, Ah: 2 x capacity x full cycles."""
    return 2 * capacity_ah * full_cycles(percents)


def resistance_ratio(mohm: Sequence[float]) -> Estimate | None:
    """Return resistance now over resistance at first: median of last 3 over first 5.

    Give the oldest first. None below 8 readings. Range: extremes of the three over extremes of the five. Resistance
    falls by a third from 10 to 25 C (ACCURACY.md): compare like temperature and charge. 2.0 is a customary end of life
    (an industry encyclopedia, read in a copy).
    """
    if len(mohm) < 8:
        return None
    first, last = mohm[:5], mohm[-3:]
    basis = "median of the last 3 readings over that of the first 5; range: their extremes"
    return Estimate(median(last) / median(first), min(last) / max(first), max(last) / min(first), basis)
