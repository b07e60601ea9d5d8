"""A pack's life as a picture: its charge over time with reminders marked, and its health. Drawn with matplotlib.

Told apart without colour too: by place, by line and by mark. The colours are of the set that Okabe and Ito proposed for
colour-blind readers ("Color Universal Design", 2008).
"""

import io
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import to_datetime
from scheduler.reports.pack_report import Past
from scheduler.reports.season import Opened

BLUE, ORANGE, GREEN, BLACK = "#0072B2", "#D55E00", "#009E73", "#000000"
_MARKS = "ovsD^P*X"
_MOST_ROWS = 8


class PictureData(NamedTuple):
    """What a picture shows: a pack's past, over [start, end), with the reminders open in it."""

    past: Past
    start: int
    end: int
    reminders: list[Opened]
    zone: ZoneInfo


def draw(lifetime: PictureData) -> str:
    """The picture as SVG, the same for the same data. Raises ImportError where matplotlib is not installed."""
    import matplotlib
    from matplotlib.figure import Figure

    matplotlib.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "shelfbell", "font.size": 9})
    rules = rule_rows(lifetime)
    heights = [2.2, 0.25 + 0.22 * max(1, len(rules)), 1.3]
    figure = Figure(figsize=(8.5, sum(heights) + 0.6), layout="constrained")
    charge, marks, health = figure.subplots(3, 1, sharex=True, height_ratios=heights)
    _charge(charge, lifetime)
    _reminders(marks, lifetime, rules)
    _health(health, lifetime)
    _dates(health, lifetime)
    written = io.StringIO()
    figure.savefig(written, format="svg", metadata={"Date": None})
    return written.getvalue()


def rule_rows(lifetime: PictureData) -> list[str]:
    """The rules that had a reminder, in order of their first, as many as fit."""
    return list(dict.fromkeys(reminder.key.rule for reminder in lifetime.reminders))[:_MOST_ROWS]


def _charge(axes: Any, lifetime: PictureData) -> None:
    times, percents = [], []
    for run in lifetime.past.history:
        times += [to_datetime(run.start, lifetime.zone), to_datetime(run.end, lifetime.zone)]
        percents += [float("nan") if value is None else value for value in (run.percent_from, run.percent_to)]
    axes.plot(times, percents, color=BLUE, linewidth=0.9)
    axes.axhspan(85, 102, color=ORANGE, alpha=0.12, linewidth=0)
    axes.axhspan(0, 20, color=ORANGE, alpha=0.12, linewidth=0)
    axes.set(ylabel="charge, %", ylim=(0, 102), yticks=(0, 20, 40, 70, 85, 100))


def _reminders(axes: Any, lifetime: PictureData, rules: list[str]) -> None:
    """A row a rule: a bar while a reminder is open, a mark where it opens."""
    for reminder in lifetime.reminders:
        if reminder.key.rule not in rules:
            continue
        row = rules.index(reminder.key.rule)
        episode = reminder.episode
        begun, over = (
            to_datetime(min(max(at, lifetime.start), lifetime.end), lifetime.zone)
            for at in (episode.opened, episode.ended)
        )
        axes.plot([begun, over], [row, row], color=BLACK, linewidth=2.5, solid_capstyle="butt")
        axes.plot([begun], [row], _MARKS[row], color=ORANGE, markersize=5)
    axes.set(yticks=range(len(rules)), yticklabels=rules, ylim=(len(rules) - 0.5, -0.5) if rules else (0.5, -0.5))
    if not rules:
        axes.text(0.5, 0.5, "no reminder in this time", transform=axes.transAxes, ha="center", va="center")


def _health(axes: Any, lifetime: PictureData) -> None:
    rated = float(lifetime.past.item.plate["capacity"])
    for test, mark, name in ((False, "o", "a flight"), (True, "D", "a capacity test")):
        found = [c for c in lifetime.past.capacities if c.test == test and lifetime.start <= c.event.at < lifetime.end]
        values = [100 * c.mah.value / rated for c in found]
        spread = [[100 * min(abs(c.mah.value - edge), rated) / rated for c, edge in zip(found, edges, strict=True)]
                  for edges in ([c.mah.low for c in found], [c.mah.high for c in found])]  # fmt: skip
        if found:
            times = [to_datetime(c.event.at, lifetime.zone) for c in found]
            axes.errorbar(times, values, spread, fmt=mark, color=GREEN, elinewidth=0.7, markersize=3.5, label=name)
    axes.axhline(80, color=BLACK, linewidth=1, linestyle="--", label="80 %")
    axes.set(ylabel="health, %\n(estimate)", ylim=(60, 115))
    axes.legend(loc="lower left", fontsize="small", frameon=False, ncols=3)


def _dates(axes: Any, lifetime: PictureData) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator = AutoDateLocator(tz=lifetime.zone)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator, tz=lifetime.zone))  # type: ignore[no-untyped-call]
    axes.set_xlim(to_datetime(lifetime.start, lifetime.zone), to_datetime(lifetime.end, lifetime.zone))
