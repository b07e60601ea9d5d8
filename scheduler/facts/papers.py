"""Facts of papers: how long they are valid, their sort, when to renew them."""

from datetime import date, timedelta

from scheduler.base.instants import (
    DAY,
    MIN_INSTANT,
    CalendarSpan,
    add_months,
    end_of_day,
    local_date,
    parse_date,
    start_of_day,
)
from scheduler.base.units import FLAG, SPAN, word
from scheduler.events.event import Event
from scheduler.facts.declare import fact
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.timeline import FALLING, Segment
from scheduler.fleet.fleet import Item
from scheduler.fleet.plates import PLATES

SORTS: tuple[str, ...] = tuple(PLATES["paper"]["sort"].schema["enum"])  # type: ignore[arg-type]
WINDOW_MONTHS = 6
"""Months before the month of expiry in which a registration can be renewed (14 CFR 48.100(c))."""


@fact(
    "days_to_expiry", ("paper",), SPAN, "Time to the end of the paper's last valid day; negative once it has lapsed.",
    unknown="no renewal on record", record="shelfbell log renewed {item} --issued DATE",
)  # fmt: skip
def days_to_expiry(lifetime: Lifetime) -> list[Segment]:
    """Set at renewed: to `expires`, else by the nameplate's valid_for.

    That counts from the date of the renewal or from the old expiry.
    """
    segments: list[Segment] = []
    last: date | None = None
    for event in lifetime.of_kind("renewed"):
        last = _last_day(event, lifetime, last)
        if last is not None:
            end = end_of_day(last, lifetime.store.clocks.zone)
            segments.append(Segment(event.at, end - event.at, FALLING, (event, None)))
    return segments


def _last_day(event: Event, lifetime: Lifetime, before: date | None) -> date | None:
    """Return the last valid day of a paper after a renewal; None if not known."""
    if "expires" in event.fields:
        return parse_date(str(event.fields["expires"]))
    span, zone = lifetime.item.plate.get("valid_for"), lifetime.store.clocks.zone
    if span is None:
        return None
    start = parse_date(str(event.fields["issued"])) if "issued" in event.fields else local_date(event.at, zone)
    if lifetime.item.plate.get("renew_from") == "expiry" and before is not None and start <= before:
        start = before
    if isinstance(span, CalendarSpan):
        return add_months(start, span)
    return _days_after(start, int(span))


def _days_after(day: date, span: int) -> date:
    """Return the day a number of days later by the calendar, whatever the clock does."""
    return day + timedelta(days=min(span // DAY, (date.max - day).days))


def sort_of(paper: Item) -> str:
    """Return the nameplate's sort.

    A paper that names none and runs in calendar months is a certificate: of the papers known here only the recency of a
    pilot's knowledge runs so (14 CFR 107.65).
    """
    span = paper.plate.get("valid_for")
    plain = str(paper.plate.get("sort"))
    return "certificate" if plain == "other" and isinstance(span, CalendarSpan) and span.to_month_end else plain


@fact("sort", ("paper",), word(*SORTS), "What sort of paper it is.")
def sort(lifetime: Lifetime) -> list[Segment]:
    """Read the nameplate."""
    return [Segment(MIN_INSTANT, sort_of(lifetime.item))]


@fact(
    "renewal_window", ("paper",), FLAG, "It can be renewed: the six months before the month of its expiry have begun.",
    unknown="no renewal on record", record="shelfbell log renewed {item} --issued DATE",
)  # fmt: skip
def renewal_window(lifetime: Lifetime) -> list[Segment]:
    """Return yes from the first day of the sixth month before the month of expiry."""
    zone = lifetime.store.clocks.zone
    segments: list[Segment] = []
    last: date | None = None
    for event in lifetime.of_kind("renewed"):
        last = _last_day(event, lifetime, last)
        if last is None:
            continue
        opens = max(event.at, start_of_day(_months_before(last, WINDOW_MONTHS), zone))
        segments.append(Segment(event.at, "no", None, (event, None)))
        segments.append(Segment(opens, "yes", None, (event, None)))
    return segments


def _months_before(day: date, months: int) -> date:
    """Return the first day of the month that is `months` before a day's month."""
    years, month = divmod(day.month - 1 - months, 12)
    return day.replace(year=day.year + years, month=month + 1, day=1)
