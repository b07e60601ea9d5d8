"""Facts of packs."""

from math import inf
from typing import TYPE_CHECKING

from scheduler.base.instants import HOUR, MAX_INSTANT, MIN_INSTANT, moment
from scheduler.base.units import FLAG, PERCENT, SPAN, VOLTS, count, show_span, word
from scheduler.events.event import Event
from scheduler.events.source import standing
from scheduler.facts.charge import cell_volts, charge_fold
from scheduler.facts.declare import fact
from scheduler.facts.item_events import flight_of, unattributed_mishaps
from scheduler.facts.shapes import Step, counted, flags, latched
from scheduler.facts.timeline import RISING, Segment, Trail
from scheduler.fleet.fleet import Item

if TYPE_CHECKING:
    from scheduler.facts.fact_store import FactStore, Lifetime

PACK = ("pack",)
STOP_SIGNS = frozenset(("swollen", "leaking", "smell", "discoloured"))
"""Signs after which a lithium pack is not used again (US Fire Administration: change in shape, leaking, odour, change
in colour)."""
LATCHED = ("swollen", "wet", "too_deep")
"""What no later look at a pack lifts."""
FLOORS = {"lipo": 3.0, "lihv": 3.0, "li-ion": 2.5}
"""Volts a cell, at rest, under which a pack is not charged again. The figures are those given under load by the PX4
battery guide; that they hold at rest is from memory."""
WATCH = 24 * HOUR
"""How long a pack is watched after a knock before a look counts. Common practice, no source."""


@fact(
    "charge", PACK, PERCENT, "What the pack holds, percent of its capacity.",
    unknown="no charge, reading or flight tells what it holds",
    record="shelfbell log measured {item} PERCENT", partial=True,
)  # fmt: skip
def charge(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """Set by charged, drained, measured and flown; falls by self-discharge and self-draining between."""
    return charge_fold(lifetime).segments(starting_at)


@fact("cycles", PACK, count("cycle", digits=1), "Equivalent full cycles: percent taken out, over 100.", partial=True)
def cycles(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """Summed over flights and drains; a total that the pack shows takes the place of the sum."""
    steps: list[Step] = [(out.at, None, out.percent / 100, out.event) for out in charge_fold(lifetime).discharges]
    shown = [e for e in lifetime.of_kind("measured") if "cycles_total" in e.fields]
    steps += [(event.at, float(event.fields["cycles_total"]), 0.0, event) for event in shown]
    return counted(lifetime, sorted(steps, key=lambda step: (step[0], step[3][:3])), starting_at)


@fact("cycles_of_rating", PACK, PERCENT, "Equivalent full cycles, percent of the maker's rating.", partial=True)
def cycles_of_rating(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """The cycles over the nameplate's rated_cycles."""
    rated, counted = (
        int(lifetime.item.plate["rated_cycles"]),
        lifetime.store.segments(lifetime, "cycles", starting_at=starting_at),
    )
    return [Segment(start, 100 * value / rated, None, trail) for start, value, _, trail in counted]  # type: ignore[operator]


@fact(
    "hours_since_reading", PACK, SPAN, "Time since its charge was last told: by a reading, charge, drain or flight.",
    partial=True,
)  # fmt: skip
def hours_since_reading(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """Rises from the last reading, charge, drain or flight."""
    segments = [] if lifetime.born is None else [Segment(lifetime.born, 0, RISING)]
    told = standing(charge_fold(lifetime).readings, starting_at)
    return segments + [Segment(instant, 0, RISING, (event, None)) for instant, event in told]


@fact(
    "health", PACK, PERCENT,
    "Capacity left, percent of the nameplate's: the middle of its latest capacity tests and flights (estimate).",
    unknown="no capacity test, and fewer than three flights that tell what they used and both percents",
    record="shelfbell log measured {item} --capacity_mah MAH",
)  # fmt: skip
def health(lifetime: "Lifetime") -> list[Segment]:
    """A step at each capacity found; one wild reading among many moves it little."""
    from scheduler.facts.capacity import healths

    return [Segment(found.at, found.percent, None, found.trail) for found in healths(lifetime)]


@fact("swollen", PACK, FLAG, "Swelling, a leak, a smell or discolouring was found; no later look lifts it.")
def swollen(lifetime: "Lifetime") -> list[Segment]:
    """Latched by a finding in inspected or noticed."""
    return latched([e for e in lifetime.of_kind("inspected", "noticed") if STOP_SIGNS & set(e.get("findings", ()))])


@fact(
    "wet", PACK, FLAG, "The pack, or the aircraft that carried it, was in water; no later look lifts it.",
    unknown="an aircraft was in water with a pack that no entry names: log that mishap again with its pack",
    record="shelfbell log mishap AIRCRAFT water PACK --instead_of ID",
)  # fmt: skip
def wet(lifetime: "Lifetime") -> list[Segment]:
    """Latched by a mishap of severity water; unknown from one that it may have been in."""
    known, doubtful = _in_water(lifetime.of_kind("mishap")), _in_water(_may_have_been_in(lifetime))
    first = known[0].at if known else MAX_INSTANT
    doubted = [Segment(event.at, None, None, (event, None)) for event in doubtful[:1] if event.at < first]
    return sorted([*latched(known), *doubted], key=lambda segment: segment.start)


def _in_water(mishaps: list[Event]) -> list[Event]:
    return [mishap for mishap in mishaps if mishap.get("severity") == "water"]


@fact("too_deep", PACK, FLAG, "At rest its lowest cell stood below the voltage under which it is not charged again.")
def too_deep(lifetime: "Lifetime") -> list[Segment]:
    """Latched by a resting voltage below the chemistry's floor."""
    return latched([event for event, _ in _below_floor(lifetime)])


@fact("past_mending", PACK, FLAG, "It is known to be swollen, wet or too deep: no look makes it sound.")
def past_mending(lifetime: "Lifetime") -> list[Segment]:
    """From the first that is known of what no look lifts; no where that is unknown."""
    found = [segment for name in LATCHED for segment in lifetime.fact(name).segments if segment.value == "yes"]
    return [Segment(MIN_INSTANT, "no"), *sorted(found, key=lambda segment: segment.start)[:1]]


@fact("deep_cell", PACK, VOLTS, "The lowest that a cell has stood at rest since it was found too deep.",
      unknown="no resting voltage on record that is too deep",
      record="shelfbell log measured {item} --rest_volts VOLTS")  # fmt: skip
def deep_cell(lifetime: "Lifetime") -> list[Segment]:
    """For texts: a step at each deeper reading; a higher one takes nothing back."""
    segments: list[Segment] = []
    lowest = inf
    for event, volts in _below_floor(lifetime):
        if volts < lowest:
            lowest = volts
            segments.append(Segment(event.at, volts, None, (event, None)))
    return segments


def _below_floor(lifetime: "Lifetime") -> list[tuple[Event, float]]:
    floor = FLOORS[str(lifetime.item.plate["chemistry"])]
    return [(event, volts) for event, volts in _lowest_cells(lifetime) if volts < floor]


@fact("lowest_cell", PACK, VOLTS, "The lowest cell of the last resting voltage.",
      unknown="no resting voltage on record", record="shelfbell log measured {item} --rest_volts VOLTS")  # fmt: skip
def lowest_cell(lifetime: "Lifetime") -> list[Segment]:
    """A step at each resting voltage."""
    return [Segment(event.at, volts, None, (event, None)) for event, volts in _lowest_cells(lifetime)]


def _lowest_cells(lifetime: "Lifetime") -> list[tuple[Event, float]]:
    """Each resting voltage with its lowest cell."""
    read = [(event, cell_volts(event, lifetime.item.plate)) for event in lifetime.of_kind("measured")]
    return [(event, min(each)) for event, each in read if each]


@fact(
    "under_watch", PACK, FLAG, "A knock or fall, and no look passed 24 h or more after it.",
    unknown="a mishap names no pack, and no flight tells which was in it: log it again with its pack and --instead_of, "
            "or look at each a day after it",
    record="shelfbell log inspected {item} RESULT",
)  # fmt: skip
def under_watch(lifetime: "Lifetime") -> list[Segment]:
    """From a mishap or a dent to the first pass at least WATCH later; unknown likewise after a mishap that it may have
    been in."""
    triples: list[tuple[int, bool | None, Trail]] = [(lifetime.born, False, None)] if lifetime.born is not None else []
    doubtful = _may_have_been_in(lifetime)
    knocked: Event | None = None
    doubted: Event | None = None
    for event in sorted([*lifetime.of_kind("mishap", "inspected", "noticed"), *doubtful]):
        before = knocked, doubted
        if event in doubtful:
            doubted = event
        elif _is_knock(event):
            knocked = event
        elif event.get("result") == "pass":
            knocked, doubted = (each if each and event.at < each.at + WATCH else None for each in before)
        if (knocked, doubted) != before:
            triples.append((event.at, _watched(knocked, doubted), (knocked or doubted or event, None)))
    return flags(triples).segments


def _watched(knocked: Event | None, doubted: Event | None) -> bool | None:
    return True if knocked else None if doubted else False


def may_be_knocked(store: "FactStore", pack: Item, instant: int) -> bool:
    """True while it is not known whether a pack was in a mishap."""
    segment = store.fact(pack, "under_watch").segment(instant)
    return segment.value is None and segment.trail is not None


def _may_have_been_in(lifetime: "Lifetime") -> list[Event]:
    """The mishaps of which nothing tells which packs were in them, while this one was in use."""
    if lifetime.born is None:
        return []
    retired = next((event.at for event in lifetime.of_kind("retired")), MAX_INSTANT)
    aside = lifetime.fact("set_aside")
    in_use = range(lifetime.born, min(lifetime.end, retired))
    return [
        mishap
        for mishap in unattributed_mishaps(lifetime.store, lifetime.item)
        if mishap.at in in_use and aside.at(mishap.at) != "yes"
    ]


def _is_knock(event: Event) -> bool:
    return event.what == "mishap" or "dented" in event.get("findings", ())


@fact("knock", PACK, word(), "Its last knock or fall, and where that is inferred from a flight, in words.")
def knock(lifetime: "Lifetime") -> list[Segment]:
    """For texts."""
    knocks = [event for event in lifetime.of_kind("mishap", "inspected", "noticed") if _is_knock(event)]
    return [
        Segment(MIN_INSTANT, "none"),
        *(Segment(event.at, _knock_words(lifetime, event), None, (event, None)) for event in knocks),
    ]


@fact("look_counts", PACK, word(), "From when a look ends the watch after a knock, in words.")
def look_counts(lifetime: "Lifetime") -> list[Segment]:
    """For texts: a local time, as long as that is to come."""
    segments = [Segment(MIN_INSTANT, "now")]
    for segment in lifetime.fact("under_watch").segments:
        if segment.value == "yes" and segment.trail is not None:
            counts = segment.trail[0].at + WATCH
            if counts > segment.start:
                said = f"from {moment(counts, lifetime.store.clocks.zone)} on"
                segments.append(Segment(segment.start, said, None, segment.trail))
            segments.append(Segment(max(counts, segment.start), "now", None, segment.trail))
    return segments


def _knock_words(lifetime: "Lifetime", event: Event) -> str:
    if event.what != "mishap":
        return "a dent was found"
    severity = str(event.get("severity")).replace("_", " ")
    if event.get("item") == lifetime.item.id:
        return severity
    inferred = inferred_from(lifetime.store, event)
    return f"{severity} of {event.get('item')}{f'; inferred: {inferred}' if inferred else ''}"


def inferred_from(store: "FactStore", mishap: Event) -> str:
    """From what it is inferred which packs were in a mishap of an aircraft: "the last flight before it, landed 12 min
    earlier, was with B"; "" where it came in a flight, or names them."""
    flight = flight_of(store, mishap)
    if flight is None or mishap.at <= flight.at:
        return ""
    packs = " and ".join(flight.get("packs"))
    return f"the last flight before it, landed {show_span(mishap.at - flight.at)} earlier, was with {packs}"


@fact("set_aside", PACK, FLAG, "It was set aside or handed in, and has passed no look since.")
def set_aside(lifetime: "Lifetime") -> list[Segment]:
    """From set_aside or handed_in to a later pass."""
    triples: list[tuple[int, bool | None, Trail]] = [(MIN_INSTANT, False, None)]
    for event in lifetime.of_kind("set_aside", "handed_in", "inspected"):
        if event.what != "inspected":
            triples.append((event.at, True, (event, None)))
        elif event.get("result") == "pass":
            triples.append((event.at, False, (event, None)))
    return flags(triples).segments


@fact(
    "usable",
    PACK,
    FLAG,
    "Not swollen, wet, too deep, under watch, set aside, found unfit or retired, as far as is known.",
)
def usable(lifetime: "Lifetime") -> list[Segment]:
    """No wherever one of the grounds is known to hold; its events are the reason. Unknown before its life begins."""
    grounds = [
        lifetime.fact(name) for name in ("swollen", "wet", "too_deep", "under_watch", "set_aside", "found_unfit")
    ]
    retired = next((event.at for event in lifetime.of_kind("retired")), MAX_INSTANT)
    turns = sorted({p.start for g in grounds for p in g.segments if p.start > MIN_INSTANT} | {retired})
    segments = []
    for turn in turns:
        trail = next((p.trail for g in grounds for p in [g.segment(turn)] if p.value == "yes"), None)
        segments.append(Segment(turn, "no" if trail or turn >= retired else "yes", None, trail))
    return segments
