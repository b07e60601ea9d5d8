"""Facts of spares: how many there are, and how long they last at the usual rate."""

from scheduler.base.instants import DAY
from scheduler.base.units import FLAG, SPAN, count
from scheduler.events.event import Event
from scheduler.facts.declare import fact
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.timeline import NEVER, Evidence, Segment, Timeline

RATE_OVER = 180 * DAY
"""The time over which the rate of use is taken: about a season. Common practice, no source."""


@fact(
    "count", ("spares",), count("spare"), "How many are in the house.",
    unknown="not counted yet", record="shelfbell log counted {item} COUNT",
)  # fmt: skip
def spares_count(lifetime: Lifetime) -> list[Segment]:
    """Set at counted, lower at used and replaced from spares, raise at restocked."""
    segments: list[Segment] = []
    total: int | None = None
    evidence: Evidence = None
    for event in lifetime.events:
        if event.what == "counted":
            total, evidence = int(event.fields["count"]), (event, None)
        elif total is not None and (change := _change(event)):
            total, evidence = max(0, total + change), (event, evidence)
        else:
            continue
        segments.append(Segment(event.at, total, None, evidence))
    return segments


@fact(
    "below_keep", ("spares",), FLAG, "Fewer are in the house than the nameplate says to keep.",
    unknown="not counted yet", record="shelfbell log counted {item} COUNT",
)  # fmt: skip
def below_keep(lifetime: Lifetime) -> list[Segment]:
    """Compare the count with the nameplate's keep."""
    keep = int(lifetime.item.plate["keep"])
    return [segment._replace(value="yes" if segment.value < keep else "no") for segment in spares_count(lifetime)]  # type: ignore[operator]


def _change(event: Event) -> int:
    if event.what == "replaced":
        return -1 if "from_spares" in event.fields else 0
    return {"used": -1, "restocked": 1}.get(event.what, 0) * int(event.get("count", 0))


@fact(
    "cover_after_delivery", ("spares",), SPAN,
    "How long the spares last at the rate of the last 180 days, less the delivery time of an order (estimate).",
    unknown="not counted yet", record="shelfbell log counted {item} COUNT",
)  # fmt: skip
def cover_after_delivery(lifetime: Lifetime) -> list[Segment]:
    """Step at each count, use and restock; NEVER if none was used."""
    counts = Timeline(spares_count(lifetime))
    taken = [(event, _taken(event)) for event in lifetime.events if _taken(event)]
    delivery = int(lifetime.item.plate["delivery"] or 0)
    segments = []
    for segment in counts.segments:
        if segment.value is None:
            continue
        rate = sum(n for event, n in taken if segment.start - RATE_OVER < event.at <= segment.start) / RATE_OVER
        lasts = round(float(segment.value) / rate) - delivery if rate else NEVER
        segments.append(Segment(segment.start, lasts, None, segment.evidence))
    return segments


def _taken(event: Event) -> int:
    if event.what == "used":
        return int(event.get("count", 0))
    return 1 if event.what == "replaced" else 0
