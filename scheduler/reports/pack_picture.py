"""A pack's page as a picture: what it held, and its health. The only place that draws with a library."""
# mypy: disable-error-code="arg-type, no-untyped-call"
# The library takes datetimes wherever it takes numbers; its annotations do not say so.

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from scheduler.base.findings import Refused
from scheduler.base.instants import DAY, to_datetime
from scheduler.cells.health import LEAST_READINGS
from scheduler.reports.charge_history import EDGES
from scheduler.reports.pack_report import PackReport

if TYPE_CHECKING:
    from matplotlib.axes import Axes

KINDS = (".png", ".svg")
_SHADES = ("#e9b3a2", "#f6e3c5", "#dcead5", "#f6e3c5", "#e9b3a2")
_INK, _LIGHT = "#1f4e79", "#8aa5bd"


def check_picture(path: Path) -> None:
    """Refuse, before anything is worked out, a picture that cannot be made."""
    if path.suffix.lower() not in KINDS:
        raise Refused.because(f"{path.name} would be no picture that I can draw: {' or '.join(KINDS)} would be right")
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise Refused.because(
            "pictures are drawn with matplotlib, which is not installed: pip install 'shelfbell[pictures]'"
        ) from None


def draw(sheet: PackReport, path: Path, zone: ZoneInfo) -> None:
    """Write the picture; its kind is told by the path's ending. Raises OSError."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 6.5), dpi=120, layout="constrained")
    above, below = figure.subplots(2, 1)
    figure.suptitle(f"Pack {sheet.item.id}", x=0.01, ha="left", fontweight="bold")
    _charge(above, sheet, zone)
    _health(below, sheet, zone)
    kind = path.suffix[1:].lower()
    figure.savefig(path, format=kind, metadata={"Date": None} if kind == "svg" else None)


def _charge(axes: "Axes", sheet: PackReport, zone: ZoneInfo) -> None:
    for low, high, shade in zip(EDGES, EDGES[1:], _SHADES, strict=False):
        axes.axhspan(low, high, color=shade, alpha=0.5, linewidth=0)
    times: list[datetime] = []
    percents: list[float] = []
    for run in sheet.history:
        times += [to_datetime(run.start, zone), to_datetime(run.end, zone)]
        percents += [float("nan") if p is None else p for p in (run.percent_from, run.percent_to)]
    axes.plot(times, percents, color=_INK, linewidth=0.9)
    axes.set(ylabel="charge, %", ylim=(0, 102))
    axes.set_title("What it held", loc="left")
    axes.set_yticks(EDGES)
    _dates(axes, sheet, zone)


def _health(axes: "Axes", sheet: PackReport, zone: ZoneInfo) -> None:
    rated = float(sheet.item.plate["capacity"])
    for test, mark, name in ((False, "o", "flight"), (True, "D", "capacity test")):
        found = [c for c in sheet.capacities if c.test == test]
        if found:
            shares = [c.mah.times(100 / rated) for c in found]
            reach = [[s.value - s.low for s in shares], [s.high - s.value for s in shares]]
            times = [to_datetime(c.event.at, zone) for c in found]
            values = [s.value for s in shares]
            axes.errorbar(times, values, reach, fmt=mark, color=_INK, ecolor=_LIGHT, elinewidth=0.8, ms=4, label=name)
    if sheet.outlook.line is not None and len(sheet.capacities) >= LEAST_READINGS:
        line, ends_at = sheet.outlook.line, [sheet.capacities[0].event.at, sheet.now]
        ys = [line.intercept + line.slope.value * at / DAY for at in ends_at]
        axes.plot([to_datetime(at, zone) for at in ends_at], ys, color=_INK, linestyle=":", label="trend (estimate)")
    axes.axhline(80, color="#b03a2e", linewidth=1, label="80 %")
    axes.set_ylabel("health, % of the label")
    axes.set_title("What it can hold", loc="left")
    bottom, top = axes.get_ylim()
    axes.set_ylim(max(40.0, min(75.0, bottom)), min(130.0, max(105.0, top)))
    axes.legend(loc="lower right", bbox_to_anchor=(1, 1), fontsize="small", frameon=False, ncols=4)
    if not sheet.capacities:
        axes.text(0.5, 0.5, "no reading of its capacity yet", transform=axes.transAxes, ha="center", color=_INK)
    _dates(axes, sheet, zone)


def _dates(axes: "Axes", sheet: PackReport, zone: ZoneInfo) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    start = sheet.now - DAY if sheet.since is None else min(sheet.since, sheet.now - DAY)
    axes.set_xlim(to_datetime(start, zone), to_datetime(sheet.now, zone))
    locator = AutoDateLocator(tz=zone)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator, tz=zone))
    axes.spines[["top", "right"]].set_visible(False)
