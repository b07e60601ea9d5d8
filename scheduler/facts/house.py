"""Facts of papers and spares."""

from datetime import date, timedelta
from typing import TYPE_CHECKING

from scheduler.base.instants import DAY, CalendarSpan, add_months, end_of_day, local_date, parse_date
from scheduler.base.units import FLAG, SPAN, count
from scheduler.events.event import Event
from scheduler.facts.declare import fact
from scheduler.facts.timeline import FALLING, Segment, Trail

if TYPE_CHECKING:
    from scheduler.facts.fact_store import Lifetime


@fact(
    "days_to_expiry", ("paper",), SPAN, "Time to the end of the paper's last good day; below nought once lapsed.",
    unknown="no renewal on record", record="shelfbell log renewed {item} --issued DATE",
)  # fmt: skip
def days_to_expiry(lifetime: "Lifetime") -> list[Segment]:
    """Set by renewed: its `expires`, else its own date or the old expiry plus the nameplate's valid_for."""
    segments: list[Segment] = []
    last: date | None = None
    for event in lifetime.of_kind("renewed"):
        last = last_day(event, lifetime, last)
        if last is not None:
            end = end_of_day(last, lifetime.store.clocks.zone)
            segments.append(Segment(event.at, end - event.at, FALLING, (event, None)))
    return segments


def last_day(event: Event, lifetime: "Lifetime", before: date | None) -> date | None:
    """The last good day of a paper after a renewal; None where neither event nor nameplate tells."""
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
    """So many whole days on, by the calendar: a change of the clock adds and takes none."""
    return day + timedelta(days=min(span // DAY, (date.max - day).days))


@fact(
    "count", ("spares",), count("spare"), "How many lie in the house.",
    unknown="not counted yet", record="shelfbell log counted {item} COUNT",
)  # fmt: skip
def spares_count(lifetime: "Lifetime") -> list[Segment]:
    """Set by counted, lowered by used and by replaced from them, raised by restocked."""
    segments: list[Segment] = []
    total: int | None = None
    trail: Trail = None
    for event in lifetime.events:
        if event.what == "counted":
            total, trail = int(event.fields["count"]), (event, None)
        elif total is not None and (change := _change(event)):
            total, trail = max(0, total + change), (event, trail)
        else:
            continue
        segments.append(Segment(event.at, total, None, trail))
    return segments


@fact(
    "below_keep", ("spares",), FLAG, "Fewer lie in the house than the nameplate says to keep.",
    unknown="not counted yet", record="shelfbell log counted {item} COUNT",
)  # fmt: skip
def below_keep(lifetime: "Lifetime") -> list[Segment]:
    """The count against the nameplate's keep."""
    keep = int(lifetime.item.plate["keep"])
    return [segment._replace(value="yes" if segment.value < keep else "no") for segment in spares_count(lifetime)]  # type: ignore[operator]


def _change(event: Event) -> int:
    if event.what == "replaced":
        return -1 if "from_spares" in event.fields else 0
    return {"used": -1, "restocked": 1}.get(event.what, 0) * int(event.get("count", 0))
