"""Draw readings in characters, for a terminal of 80 columns."""

from collections.abc import Callable
from math import ceil, floor
from typing import NamedTuple

WIDTH = 66
"""Columns between the axis and the right edge."""
USUAL = (75.0, 105.0)
"""Percent always shown."""
MOST = (50.0, 120.0)
"""Percent beyond which a reading is drawn at the edge."""


class Point(NamedTuple):
    """One reading and the character that marks it."""

    x: float
    y: float
    mark: str


def bar(share: float, width: int = 30) -> str:
    """Draw a bar for a share, 0 to 1: at least one character from half a percent on."""
    return "#" * (max(1, round(share * width)) if share >= 0.005 else 0)


def chart(points: list[Point], level: float, trend: Callable[[float], float] | None = None) -> list[str]:
    """Return rows, top first: points (at least one), a level across, perhaps a trend."""
    low, high = _reach([point.y for point in points])
    step = 2.5 if high - low <= 35 else 5.0
    rows = round((high - low) / step) + 1
    first, last = min(p.x for p in points), max(p.x for p in points)
    grid = [[" "] * WIDTH for _ in range(rows)]

    def row(y: float) -> int:
        return min(max(round((high - y) / step), 0), rows - 1)

    grid[row(level)] = ["-"] * WIDTH
    if trend is not None:
        for column in range(WIDTH):
            y = trend(first + (last - first) * column / (WIDTH - 1))
            if low <= y <= high:
                grid[row(y)][column] = "."
    for point in points:
        mark = "v" if point.y < low else "^" if point.y > high else point.mark
        grid[row(point.y)][round((point.x - first) / ((last - first) or 1) * (WIDTH - 1))] = mark
    return [f"{_label(high - index * step):>6} |{''.join(cells)}".rstrip() for index, cells in enumerate(grid)]


def _reach(ys: list[float]) -> tuple[float, float]:
    """Return the ends of the axis, multiples of 5: as usual, widened up to `MOST`."""
    low = max(MOST[0], min(USUAL[0], floor(min(ys) / 5) * 5))
    high = min(MOST[1], max(USUAL[1], ceil(max(ys) / 5) * 5))
    return low, high


def _label(percent: float) -> str:
    return f"{percent:.0f} %" if percent % 5 == 0 else ""
