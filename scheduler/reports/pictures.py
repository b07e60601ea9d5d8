"""Draw a pack's charge over time with reminders, and its health, by matplotlib.

Everything differs by place, line or mark, not by colour alone. The colours are from the set that Okabe and Ito proposed
for colour-blind readers ("Color Universal Design", 2008).
"""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.findings import Refused
from scheduler.base.instants import DAY, to_datetime
from scheduler.cells.trend import Line
from scheduler.reminders.board import Reminder
from scheduler.reports.charge_history import EDGES
from scheduler.reports.pack_report import PackHistory
from scheduler.reports.season import Opened

KINDS = (".png", ".svg")
BLUE, ORANGE, GREEN, BLACK = "#0072B2", "#D55E00", "#009E73", "#000000"
LEGEND = (
    "Above, the charge over time; the shaded bands are above 85 % and below 20 %. Between, a row for each rule: a mark "
    "where a reminder opened, a bar while it was open. Below, the health that flights and tests tell (an estimate)."
)
_MARKS = "ovsD^P*X"
_MOST_ROWS = 8


class PictureData(NamedTuple):
    """A pack's history and reminders in [start, end); `trend`: health, percent by day."""

    history: PackHistory
    start: int
    end: int
    reminders: Sequence[Opened | Reminder]
    zone: ZoneInfo
    trend: Line | None = None


def check_picture(path: Path) -> None:
    """Raise Refused, before any work is done, for a picture that cannot be drawn."""
    if path.suffix.lower() not in KINDS:
        raise Refused.because(f"{path.name}: I can draw {' or '.join(KINDS)} only")
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise Refused.because(
            "pictures are drawn with matplotlib, which is not installed: pip install 'shelfbell[pictures]'"
        ) from None


def write_picture(data: PictureData, path: Path) -> None:
    """Write the picture in the format of the path's ending. Raises OSError."""
    kind = path.suffix[1:].lower()
    figure = _figure(data)
    figure.suptitle(f"Pack {data.history.item.id}", x=0.01, ha="left", fontweight="bold")
    figure.savefig(path, format=kind, metadata={"Date": None} if kind == "svg" else None)


def draw_svg(data: PictureData) -> str:
    """Return the picture as SVG, equal for equal data. ImportError without matplotlib."""
    written = io.StringIO()
    _figure(data).savefig(written, format="svg", metadata={"Date": None})
    return written.getvalue()


def _figure(data: PictureData) -> Any:
    import matplotlib
    from matplotlib.figure import Figure

    matplotlib.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "shelfbell", "font.size": 9})
    rules = rule_rows(data)
    heights = [2.2, 0.25 + 0.22 * max(1, len(rules)), 1.3]
    figure = Figure(figsize=(8.5, sum(heights) + 0.6), dpi=120, layout="constrained")
    charge, marks, health = figure.subplots(3, 1, sharex=True, height_ratios=heights)
    _draw_charge(charge, data)
    _draw_reminders(marks, data, rules)
    _draw_health(health, data)
    _draw_dates(health, data)
    return figure


def rule_rows(data: PictureData) -> list[str]:
    """Return the rules with a reminder, in order of their first, as many as fit."""
    return list(dict.fromkeys(reminder.key.rule for reminder in data.reminders))[:_MOST_ROWS]


def _draw_charge(axes: Any, data: PictureData) -> None:
    times, percents = [], []
    for span in data.history.charge:
        times += [to_datetime(span.start, data.zone), to_datetime(span.end, data.zone)]
        percents += [float("nan") if value is None else value for value in (span.percent_from, span.percent_to)]
    axes.plot(times, percents, color=BLUE, linewidth=0.9)
    axes.axhspan(EDGES[4], 102, color=ORANGE, alpha=0.12, linewidth=0)
    axes.axhspan(0, EDGES[1], color=ORANGE, alpha=0.12, linewidth=0)
    axes.set(ylabel="charge, %", ylim=(0, 102), yticks=EDGES)


def _draw_reminders(axes: Any, data: PictureData, rules: list[str]) -> None:
    """Draw a row a rule: a bar while a reminder is open, a mark where it opens."""
    for reminder in data.reminders:
        if reminder.key.rule not in rules:
            continue
        row = rules.index(reminder.key.rule)
        begun, over = (
            to_datetime(min(max(at, data.start), data.end), data.zone)
            for at in (reminder.episode.opened, reminder.episode.ended)
        )
        axes.plot([begun, over], [row, row], color=BLACK, linewidth=2.5, solid_capstyle="butt")
        axes.plot([begun], [row], _MARKS[row], color=ORANGE, markersize=5)
    axes.set(yticks=range(len(rules)), yticklabels=rules, ylim=(len(rules) - 0.5, -0.5) if rules else (0.5, -0.5))
    if not rules:
        axes.text(0.5, 0.5, "no reminder in this time", transform=axes.transAxes, ha="center", va="center")


def _draw_health(axes: Any, data: PictureData) -> None:
    rated = float(data.history.item.plate["capacity"])
    readings = [c for c in data.history.capacities if data.start <= c.event.at <= data.end]
    for test, mark, name in ((False, "o", "a flight"), (True, "D", "a capacity test")):
        shares = [(c.event.at, c.mah.times(100 / rated)) for c in readings if c.test == test]
        if shares:
            times = [to_datetime(at, data.zone) for at, _ in shares]
            errors = [[min(s.value - s.low, 100) for _, s in shares], [min(s.high - s.value, 100) for _, s in shares]]
            values = [share.value for _, share in shares]
            axes.errorbar(times, values, errors, fmt=mark, color=GREEN, elinewidth=0.7, markersize=3.5, label=name)
    if data.trend:
        ends = [readings[0].event.at, data.end]
        ys = [data.trend.intercept + data.trend.slope.value * at / DAY for at in ends]
        axes.plot([to_datetime(at, data.zone) for at in ends], ys, color=GREEN, linestyle=":", label="trend (estimate)")
    axes.axhline(80, color=BLACK, linewidth=1, linestyle="--", label="80 %")
    values = [100 * c.mah.value / rated for c in readings] or [80.0]
    axes.set(ylabel="health, %\n(estimate)", ylim=(max(40, min(60, *values) - 5), min(130, max(115, *values) + 5)))
    axes.legend(loc="lower left", fontsize="small", frameon=False, ncols=4)
    if not readings:
        axes.text(0.5, 0.7, "no reading of its capacity yet", transform=axes.transAxes, ha="center", va="center")


def _draw_dates(axes: Any, data: PictureData) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator = AutoDateLocator(tz=data.zone)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator, tz=data.zone))  # type: ignore[no-untyped-call]
    axes.set_xlim(to_datetime(data.start, data.zone), to_datetime(data.end, data.zone))
