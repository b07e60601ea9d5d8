"""Of an audit: the fleet and its papers, and each pack's life."""

from datetime import date

from scheduler.cli.pages.document import Paragraph, Part, Picture, Table
from scheduler.cli.pages.pictures import Life, draw
from scheduler.cli.pages.season import Season, safe, some
from scheduler.facts.sheet import Sheet, sheet_of
from scheduler.facts.wear import flights_of
from scheduler.fleet.fleet import Item
from scheduler.instants import HOUR
from scheduler.units import show

_COUNTS = {"flights": 0, "airtime": 1, "cycles": 1}
"""Facts, with the decimals shown."""
_LEGEND = (
    "Above, the charge over time; the shaded bands are above 85 % and below 20 %. Between, a row for each rule: a mark "
    "where a reminder opened, a bar while it was open. Below, the health that flights and tests tell (an estimate)."
)


def fleet(season: Season) -> list[Part]:
    """What there is, with its use so far, and the papers with their last good day."""
    items = [item for item in season.at.setup.fleet if item.kind != "paper"]
    rows = [
        [item.id, item.kind, _written(item.plate.get("in_service")),
         *(_count(season, item, *count) for count in _COUNTS.items()), _remark(season, item)]
        for item in items
    ]  # fmt: skip
    head = ["Item", "Kind", "In service", "Flights so far", "Time in the air", "Cycles", "Remark"]
    return [Table.of("The fleet", head, rows), *_papers(season)]


def _written(day: object) -> str:
    return f"{day.day} {day:%b %Y}" if isinstance(day, date) else ""


def _count(season: Season, item: Item, name: str, digits: int) -> str:
    if item.kind not in season.board.book.catalogue[name].about:
        return ""
    value = season.board.book.fact(item, name).at(season.judged_at)
    if not isinstance(value, int | float):
        return "not known"
    return f"{value / HOUR:.1f} h" if name == "airtime" else f"{value:.{digits}f}"


def _remark(season: Season, item: Item) -> str:
    if season.board.book.retired(item) <= season.judged_at:
        return "out of service for good"
    if item.kind == "pack" and season.board.book.fact(item, "usable").at(season.judged_at) == "no":
        return "not to be used"
    return ""


def _papers(season: Season) -> list[Part]:
    papers = [season.at.setup.fleet[name] for name in season.at.setup.fleet.ids("paper")]
    rows = [[paper.id, safe(paper.plate.get("of") or "-"), *_good_until(season, paper)] for paper in papers]
    return [Table.of("Papers", ["Paper", "Of", "Last good day", "State"], rows)] if rows else []


def _good_until(season: Season, paper: Item) -> tuple[str, str]:
    left = season.board.book.fact(paper, "days_to_expiry").at(season.judged_at)
    if not isinstance(left, int):
        return "not known", "no renewal is in the log"
    day = season.day(season.judged_at + left - 1)
    unit = season.board.book.catalogue["days_to_expiry"].unit
    return day, f"good, {show(left, unit)} left" if left > 0 else f"lapsed {show(-left, unit)} ago"


def packs(season: Season) -> list[Part]:
    """Each pack's life as a picture."""
    fleet = season.at.setup.fleet
    found = [_pack(season, fleet[name]) for name in fleet.ids("pack")]
    shown = [picture for picture in found if picture is not None]
    if not shown:
        return [Paragraph("Nothing is logged of any pack.")]
    return [shown[0]._replace(legend=_LEGEND), *shown[1:]]


def _pack(season: Season, item: Item) -> Picture | None:
    sheet = sheet_of(season.board.book, item, season.judged_at)
    if sheet.since is None:
        return None
    reminders = [r for r in season.result.reminders if r.key.item == item.id]
    life = Life(sheet, season.start, season.judged_at, reminders, season.at.setup.hours.zone)
    return Picture(f"Pack {item.id}", _told(season, sheet, len(reminders)), lambda: draw(life))


def _told(season: Season, sheet: Sheet, reminders: int) -> str:
    """What the picture shows, in words."""
    flown = [e for e in season.entries if e.what == "flown" and sheet.item.id in (e.get("packs") or ())]
    runs = [run for run in sheet.history if run.end > season.start]
    known = [p for run in runs for p in (run.percent_from, run.percent_to) if p is not None]
    high = sum(
        run.end - max(run.start, season.start) for run in runs if min(run.percent_from or 0, run.percent_to or 0) > 85
    )
    span = max(1, season.judged_at - season.start)
    parts = [some(sum(map(flights_of, flown)), "flight")]
    if known:
        parts.append(f"charge between {min(known):.0f} and {max(known):.0f} %")
        parts.append(f"above 85 % for {100 * high / span:.0f} % of the time")
    parts.append(f"{some(reminders, 'reminder')} open in it")
    health = sheet.facts["health"]
    parts.append("health not known" if health is None else f"health about {health:.0f} % of its label (estimate)")
    return "; ".join(parts) + "."
