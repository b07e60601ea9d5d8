"""Facts of papers beside their expiry: which sort they are, and when a renewal can begin."""

from typing import TYPE_CHECKING

from scheduler.base.instants import MIN_INSTANT, CalendarSpan, start_of_day
from scheduler.base.units import FLAG, word
from scheduler.facts.declare import fact
from scheduler.facts.house import last_day
from scheduler.facts.timeline import Segment
from scheduler.fleet.plates import PLATES

if TYPE_CHECKING:
    from datetime import date

    from scheduler.facts.fact_store import Lifetime
    from scheduler.fleet.fleet import Item

SORTS: tuple[str, ...] = tuple(PLATES["paper"]["sort"].schema["enum"])  # type: ignore[arg-type]
WINDOW_MONTHS = 6
"""Months before the month of expiry in which a registration can be renewed (14 CFR 48.100(c))."""


def sort_of(paper: "Item") -> str:
    """The nameplate's sort. A paper that names none and runs in calendar months is a certificate: of the papers known
    here only the recency of a pilot's knowledge does (14 CFR 107.65)."""
    span = paper.plate.get("valid_for")
    plain = str(paper.plate.get("sort"))
    return "certificate" if plain == "other" and isinstance(span, CalendarSpan) and span.to_month_end else plain


@fact("sort", ("paper",), word(*SORTS), "What sort of paper it is.")
def sort(lifetime: "Lifetime") -> list[Segment]:
    """The nameplate's word."""
    return [Segment(MIN_INSTANT, sort_of(lifetime.item))]


@fact(
    "renewal_window", ("paper",), FLAG, "The six months before the month of its expiry have begun.",
    unknown="no renewal on record", record="shelfbell log renewed {item} --issued DATE",
)  # fmt: skip
def renewal_window(lifetime: "Lifetime") -> list[Segment]:
    """Yes from the first day of the sixth month before the month of expiry."""
    zone = lifetime.store.clocks.zone
    segments: list[Segment] = []
    last: date | None = None
    for event in lifetime.of_kind("renewed"):
        last = last_day(event, lifetime, last)
        if last is None:
            continue
        opens = max(event.at, start_of_day(_months_before(last, WINDOW_MONTHS), zone))
        segments.append(Segment(event.at, "no", None, (event, None)))
        segments.append(Segment(opens, "yes", None, (event, None)))
    return segments


def _months_before(day: "date", months: int) -> "date":
    """The first day of the month so many months before a day's."""
    years, month = divmod(day.month - 1 - months, 12)
    return day.replace(year=day.year + years, month=month + 1, day=1)
