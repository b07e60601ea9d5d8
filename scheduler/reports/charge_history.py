"""Where a pack has spent its days: its charge history by band, the moves in it, and what sitting full has cost."""

from collections.abc import Iterator
from typing import NamedTuple

from scheduler.base.instants import DAY
from scheduler.cells.ageing import StorageSpell, as_storage_days, extra_fade, storage_fade
from scheduler.cells.estimate import Estimate
from scheduler.cells.voltage import volts_at
from scheduler.facts.timeline import Timeline

EDGES = (0.0, 20.0, 40.0, 70.0, 85.0, 100.0)
"""Bands of charge, percent; an edge counts below. Sitting full begins at 85, the trade's conservative empty is 20."""
NAMES = ("below 20 %", "20 to 40 %", "40 to 70 %", "70 to 85 %", "above 85 %")
STORAGE = 55.0
"""Percent at which a pack is stored: 3.80 to 3.85 V a cell. Common practice, no source."""


class Run(NamedTuple):
    """A stretch of time over which the charge goes straight from one percent to another; None: not known."""

    start: int
    end: int
    percent_from: float | None
    percent_to: float | None


class Band(NamedTuple):
    """The time that a pack has spent within a band of charge, microseconds, and its mean percent there."""

    name: str
    time: int
    mean: float | None


class Sitting(NamedTuple):
    """What the days in the topmost band took.

    `as_days`: the days at storage charge that take as much. `lost`: the capacity lost beyond that of storage charge,
    fraction of the initial. `celsius`: the temperature taken for all of it.
    """

    days: float
    as_days: Estimate
    lost: Estimate
    celsius: float


def runs(charge: Timeline, start: int, end: int) -> list[Run]:
    """The charge history from `start` to `end`."""
    turns = [(max(segment.start, start), min(stop, end), segment) for segment, stop in charge]
    return [Run(a, b, segment.at(a), segment.at(b)) for a, b, segment in turns if a < b]  # type: ignore[arg-type]


def bands(history: list[Run]) -> list[Band]:
    """The time by band of charge, lowest first; what is not known comes last."""
    found = [_band(name, low, high, history) for name, low, high in zip(NAMES, EDGES, EDGES[1:], strict=False)]
    unknown = sum(run.end - run.start for run in history if run.percent_from is None)
    return [*found, Band("not known", unknown, None)]


def _band(name: str, low: float, high: float, history: list[Run]) -> Band:
    time = weighed = 0.0
    for run in history:
        if run.percent_from is None or run.percent_to is None:
            continue
        least, most = sorted((run.percent_from, run.percent_to))
        if least == most:
            inside, middle = float(low < least <= high or least == low == EDGES[0]), least
        else:
            bottom, top = max(least, low), min(most, high)
            inside, middle = max(0.0, top - bottom) / (most - least), (bottom + top) / 2
        time += inside * (run.end - run.start)
        weighed += inside * (run.end - run.start) * middle
    return Band(name, round(time), weighed / time if time else None)


def moves(history: list[Run]) -> list[float]:
    """The percents at which the charge turned or was set, in order; a gap is taken as one straight move."""
    return list(_moves(history))


def _moves(history: list[Run]) -> Iterator[float]:
    last: float | None = None
    for run in history:
        for percent in (run.percent_from, run.percent_to):
            if percent is not None and percent != last:
                yield percent
                last = percent


def sitting(found: list[Band], chemistry: str, celsius: float) -> Sitting | None:
    """What the time in the topmost band took, on top of all the rest; None where there was none. ESTIMATE.

    Each band counts at the voltage of its mean charge, all at one temperature. Source: see `cells.ageing`.
    """
    known = [band for band in found if band.mean is not None]
    if not known or known[-1].name != NAMES[-1]:
        return None
    *others, full = [StorageSpell(band.time / DAY, volts_at(band.mean, chemistry).value, celsius) for band in known]  # type: ignore[arg-type]
    storage = volts_at(STORAGE, chemistry).value
    lost = extra_fade(full, storage, storage_fade(others).value)
    return Sitting(full.days, as_storage_days(full, storage), lost, celsius)
