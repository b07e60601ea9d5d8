"""Describe a pack's charge over time: days by band, depths, cost of lying full."""

from collections.abc import Iterator
from typing import NamedTuple

from scheduler.base.instants import DAY
from scheduler.cells.ageing import StorageSpell, as_storage_days, cost, extra_fade, storage_fade
from scheduler.cells.estimate import Estimate
from scheduler.cells.voltage import volts_at
from scheduler.facts.timeline import Timeline

EDGES = (0.0, 20.0, 40.0, 70.0, 85.0, 100.0)
"""Bands of charge, percent; an edge counts below. Full begins at 85; 20 is the trade's conservative empty."""
NAMES = ("below 20 %", "20 to 40 %", "40 to 70 %", "70 to 85 %", "above 85 %")
STORAGE = 55.0
"""Percent at which a pack is stored: 3.80 to 3.85 V a cell. Common practice, no source."""


class ChargeSpan(NamedTuple):
    """An interval: charge moves straight from one percent to another; None: unknown."""

    start: int
    end: int
    percent_from: float | None
    percent_to: float | None


class BandTime(NamedTuple):
    """The time in a band of charge, microseconds, and the mean percent there."""

    name: str
    time: int
    mean: float | None


class FullStorageCost(NamedTuple):
    """The cost of the days in the topmost band.

    `as_storage_days`: the days at storage charge that age it as much. `capacity_lost`: beyond that of storage charge,
    fraction of the initial. `celsius`: the temperature assumed for all of it. `money`: in the price's currency.
    """

    days: float
    as_storage_days: Estimate
    capacity_lost: Estimate
    celsius: float
    money: Estimate | None


def charge_spans(charge: Timeline, start: int, end: int) -> list[ChargeSpan]:
    """Return the charge from `start` to `end` as straight spans."""
    turns = [(max(segment.start, start), min(stop, end), segment) for segment, stop in charge]
    return [ChargeSpan(a, b, segment.at(a), segment.at(b)) for a, b, segment in turns if a < b]  # type: ignore[arg-type]


def band_times(history: list[ChargeSpan]) -> list[BandTime]:
    """Return the time by band of charge, lowest first, and last at an unknown charge."""
    found = [_band(name, low, high, history) for name, low, high in zip(NAMES, EDGES, EDGES[1:], strict=False)]
    unknown = sum(span.end - span.start for span in history if span.percent_from is None)
    return [*found, BandTime("not known", unknown, None)]


def _band(name: str, low: float, high: float, history: list[ChargeSpan]) -> BandTime:
    time = weighed = 0.0
    for span in history:
        if span.percent_from is None or span.percent_to is None:
            continue
        least, most = sorted((span.percent_from, span.percent_to))
        if least == most:
            inside, middle = float(low < least <= high or least == low == EDGES[0]), least
        else:
            bottom, top = max(least, low), min(most, high)
            inside, middle = max(0.0, top - bottom) / (most - least), (bottom + top) / 2
        time += inside * (span.end - span.start)
        weighed += inside * (span.end - span.start) * middle
    return BandTime(name, round(time), weighed / time if time else None)


def moves(history: list[ChargeSpan]) -> list[float]:
    """Return the percents where charge turned or was set, in order; gaps are straight."""
    return list(_moves(history))


def _moves(history: list[ChargeSpan]) -> Iterator[float]:
    last: float | None = None
    for span in history:
        for percent in (span.percent_from, span.percent_to):
            if percent is not None and percent != last:
                yield percent
                last = percent


def full_storage_cost(
    bands: list[BandTime], chemistry: str, celsius: float, price: float | None = None
) -> FullStorageCost | None:
    """Estimate what time in the top band cost beyond storage charge.

    Returns None if it never was there. Each band counts at the voltage of its mean charge, all at one temperature.
    Source: see `cells.ageing`.
    """
    known = [band for band in bands if band.mean is not None]
    if not known or known[-1].name != NAMES[-1]:
        return None
    *others, full = [StorageSpell(band.time / DAY, volts_at(band.mean, chemistry).value, celsius) for band in known]  # type: ignore[arg-type]
    storage = volts_at(STORAGE, chemistry).value
    lost = extra_fade(full, storage, storage_fade(others).value)
    money = None if price is None else cost(lost, price)
    return FullStorageCost(full.days, as_storage_days(full, storage), lost, celsius, money)
