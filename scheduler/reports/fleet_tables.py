"""Write an audit's tables of the fleet, its papers, and pictures of packs."""

from datetime import date

from scheduler.base.instants import HOUR
from scheduler.base.units import show
from scheduler.facts.catalogue import CATALOGUE
from scheduler.fleet.fleet import Item
from scheduler.reports.document import Paragraph, Part, Picture, Table
from scheduler.reports.pack_report import PackHistory
from scheduler.reports.pictures import LEGEND, PictureData, draw_svg
from scheduler.reports.season import Season, safe, some

COUNTS = {"flights": 0, "airtime": 1, "cycles": 1}
"""Facts, with the decimals shown."""


def fleet(season: Season) -> list[Part]:
    """Return the items with their use so far, and the papers with their last good day."""
    items = [item for item in season.at.setup.fleet if item.kind != "paper"]
    rows = [
        [item.id, item.kind, _written(item.plate.get("in_service")),
         *(_count(season, item, *count) for count in COUNTS.items()), _remark(season, item)]
        for item in items
    ]  # fmt: skip
    head = ["Item", "Kind", "In service", "Flights so far", "Time in the air", "Cycles", "Remark"]
    return [Table.of("The fleet", head, rows), *_papers(season)]


def _written(day: object) -> str:
    return f"{day.day} {day:%b %Y}" if isinstance(day, date) else ""


def _count(season: Season, item: Item, name: str, digits: int) -> str:
    facts = season.states[item.id].facts
    if name not in facts:
        return ""
    value = facts[name]
    if not isinstance(value, int | float):
        return "not known"
    return f"{value / HOUR:.1f} h" if name == "airtime" else f"{value:.{digits}f}"


def _remark(season: Season, item: Item) -> str:
    state = season.states[item.id]
    if state.retired:
        return "out of service for good"
    return "not to be used" if item.kind == "pack" and state.facts["usable"] == "no" else ""


def _papers(season: Season) -> list[Part]:
    papers = [season.at.setup.fleet[name] for name in season.at.setup.fleet.ids("paper")]
    rows = [[paper.id, safe(paper.plate.get("of") or "-"), *_good_until(season, paper)] for paper in papers]
    return [Table.of("Papers", ["Paper", "Of", "Last good day", "State"], rows)] if rows else []


def _good_until(season: Season, paper: Item) -> tuple[str, str]:
    left = season.states[paper.id].facts["days_to_expiry"]
    if not isinstance(left, int):
        return "not known", "no renewal is in the log"
    day = season.day(season.judged_at + left - 1)
    unit = CATALOGUE["days_to_expiry"].unit
    return day, f"good, {show(left, unit)} left" if left > 0 else f"lapsed {show(-left, unit)} ago"


def packs(season: Season) -> list[Part]:
    """Return a picture of each pack's charge, reminders and health."""
    fleet = season.at.setup.fleet
    found = [_pack(season, fleet[name]) for name in fleet.ids("pack")]
    shown = [picture for picture in found if picture is not None]
    if not shown:
        return [Paragraph("Nothing is logged of any pack.")]
    return [shown[0]._replace(legend=LEGEND), *shown[1:]]


def _pack(season: Season, item: Item) -> Picture | None:
    history = season.states[item.id].history
    if history is None or history.since is None:
        return None
    reminders = [r for r in season.reminders if r.key.item == item.id]
    data = PictureData(history, season.start, season.judged_at, reminders, season.at.setup.hours.zone)
    return Picture(f"Pack {item.id}", _describe(season, history, len(reminders)), lambda: draw_svg(data))


def _describe(season: Season, history: PackHistory, reminders: int) -> str:
    """Say in words what the picture shows."""
    spans = [span for span in history.charge if span.end > season.start]
    known = [p for span in spans for p in (span.percent_from, span.percent_to) if p is not None]
    high = sum(
        span.end - max(span.start, season.start)
        for span in spans
        if min(span.percent_from or 0, span.percent_to or 0) > 85
    )
    parts = [some(season.logged.by_pack.get(history.item.id, 0), "flight")]
    if known:
        share = high / max(1, season.judged_at - season.start)
        parts.append(f"charge between {min(known):.0f} and {max(known):.0f} %")
        parts.append(f"above 85 % for {100 * share:.0f} % of the time")
    parts.append(f"{some(reminders, 'reminder')} open in this time")
    health = f"about {history.health:.0f} % of its label (estimate)" if history.health is not None else "not known"
    return "; ".join([*parts, f"health {health}"]) + "."
