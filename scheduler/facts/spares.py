"""Facts of spares beside their count: how long they last at the rate at which they are used."""

from typing import TYPE_CHECKING

from scheduler.base.instants import DAY
from scheduler.base.units import SPAN
from scheduler.events.event import Event
from scheduler.facts.declare import fact
from scheduler.facts.house import spares_count
from scheduler.facts.timeline import NEVER, Segment, Timeline

if TYPE_CHECKING:
    from scheduler.facts.fact_store import Lifetime

RATE_OVER = 180 * DAY
"""The stretch over which the rate of use is taken: about a season. Common practice, no source."""


@fact(
    "cover_after_delivery", ("spares",), SPAN,
    "How long the spares last at the rate of the last 180 days, less the time an order takes (estimate).",
    unknown="not counted yet", record="shelfbell log counted {item} COUNT",
)  # fmt: skip
def cover_after_delivery(lifetime: "Lifetime") -> list[Segment]:
    """A step at each count, use and restock (estimate); never where none was used."""
    count = Timeline(spares_count(lifetime))
    taken = [(event, _taken(event)) for event in lifetime.events if _taken(event)]
    delivery = int(lifetime.item.plate["delivery"] or 0)
    segments = []
    for segment in count.segments:
        if segment.value is None:
            continue
        rate = sum(n for event, n in taken if segment.start - RATE_OVER < event.at <= segment.start) / RATE_OVER
        lasts = round(float(segment.value) / rate) - delivery if rate else NEVER
        segments.append(Segment(segment.start, lasts, None, segment.trail))
    return segments


def _taken(event: Event) -> int:
    if event.what == "used":
        return int(str(event.get("count", 0)))
    return 1 if event.what == "replaced" else 0
