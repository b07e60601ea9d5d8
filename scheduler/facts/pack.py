"""Facts of packs: charge, cycles and health, and whether a pack is fit to use."""

from math import inf

from scheduler.base.instants import HOUR, MAX_INSTANT, MIN_INSTANT, moment
from scheduler.base.units import FLAG, PERCENT, SPAN, VOLTS, count, show_span, word
from scheduler.events.event import Event
from scheduler.events.source import latest_and_after
from scheduler.facts.charge import cell_volts, charge_curve
from scheduler.facts.declare import PACK, fact
from scheduler.facts.fact_store import FactStore, Lifetime
from scheduler.facts.item_events import flight_of, unattributed_mishaps
from scheduler.facts.shapes import Step, Turns, counted, flags, from_birth, latched, stepped
from scheduler.facts.timeline import RISING, Segment
from scheduler.fleet.fleet import Item

STOP_SIGNS = frozenset(("swollen", "leaking", "smell", "discoloured"))
"""Signs after which a lithium pack is never used again (US Fire Administration: change in shape, leaking, odour, change
in colour)."""
LATCHED = ("swollen", "wet", "too_deep")
"""The facts of a pack that no later look clears."""
BARRING = (*LATCHED, "under_watch", "set_aside", "found_unfit")
"""The facts of a pack that bar it from use."""
FLOORS = {"lipo": 3.0, "lihv": 3.0, "li-ion": 2.5}
"""Volts per cell, at rest, below which a pack is not charged again. The figures are those given under load by the PX4
battery guide; that they hold at rest is from memory."""
WATCH = 24 * HOUR
"""How long a pack is watched after a knock before a look counts. Common practice, no source."""


@fact(
    "charge", PACK, PERCENT, "How much the pack holds, percent of its capacity.",
    unknown="no charge, reading or flight tells what it holds",
    record="shelfbell log measured {item} PERCENT", partial=True,
)  # fmt: skip
def charge(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Step at each charge, drain, reading, flight; fall by itself in between."""
    return charge_curve(lifetime).segments(starting_at)


@fact(
    "cycles",
    PACK,
    count("cycle", digits=1),
    "Equivalent full cycles: the percent taken out in all, over 100.",
    partial=True,
)
def cycles(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Sum over flights and drains; a total that the pack shows replaces the sum."""
    steps: list[Step] = [(out.at, None, out.percent / 100, out.event) for out in charge_curve(lifetime).discharges]
    shown = [e for e in lifetime.of_kind("measured") if "cycles_total" in e.fields]
    steps += [(event.at, float(event.fields["cycles_total"]), 0.0, event) for event in shown]
    return counted(lifetime, sorted(steps, key=lambda step: (step[0], step[3][:3])), starting_at)


@fact("cycles_of_rating", PACK, PERCENT, "Equivalent full cycles, percent of the maker's rating.", partial=True)
def cycles_of_rating(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Divide the cycles by the nameplate's rated_cycles."""
    rated, counted = (
        int(lifetime.item.plate["rated_cycles"]),
        lifetime.store.segments(lifetime, "cycles", starting_at=starting_at),
    )
    return [Segment(start, 100 * value / rated, None, evidence) for start, value, _, evidence in counted]  # type: ignore[operator]


@fact(
    "hours_since_reading", PACK, SPAN,
    "Time since the last event that tells its charge: a reading, charge, drain or flight.", partial=True,
)  # fmt: skip
def hours_since_reading(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Rise from each reading, charge, drain and flight."""
    readings = latest_and_after(charge_curve(lifetime).readings, starting_at)
    return from_birth(lifetime, 0, RISING) + [Segment(at, 0, RISING, (event, None)) for at, event in readings]


@fact(
    "health", PACK, PERCENT,
    "Capacity left, percent of the nameplate's: the median of its latest capacity tests and flights (estimate).",
    unknown="no capacity test, and fewer than three flights with the mAh used and both percents",
    record="shelfbell log measured {item} --capacity_mah MAH",
)  # fmt: skip
def health(lifetime: Lifetime) -> list[Segment]:
    """Step at each capacity found; one wild reading among many moves it little."""
    from scheduler.facts.capacity import healths

    return [Segment(found.at, found.percent, None, found.evidence) for found in healths(lifetime)]


@fact("swollen", PACK, FLAG, "Swelling, a leak, a smell or discolouring was found; no later look clears it.")
def swollen(lifetime: Lifetime) -> list[Segment]:
    """Latch at a finding in inspected or noticed."""
    return latched([e for e in lifetime.of_kind("inspected", "noticed") if STOP_SIGNS & set(e.get("findings", ()))])


@fact(
    "wet", PACK, FLAG, "The pack, or the aircraft that carried it, was in water; no later look clears it.",
    unknown="an aircraft was in water with a pack that no entry names: log that mishap again with its pack",
    record="shelfbell log mishap AIRCRAFT water PACK --instead_of ID",
)  # fmt: skip
def wet(lifetime: Lifetime) -> list[Segment]:
    """Latch at a mishap of severity water; unknown from one that it may have been in."""
    known, doubtful = _in_water(lifetime.of_kind("mishap")), _in_water(_may_have_been_in(lifetime))
    first = known[0].at if known else MAX_INSTANT
    doubted = [Segment(event.at, None, None, (event, None)) for event in doubtful[:1] if event.at < first]
    return sorted([*latched(known), *doubted], key=lambda segment: segment.start)


def _in_water(mishaps: list[Event]) -> list[Event]:
    return [mishap for mishap in mishaps if mishap.get("severity") == "water"]


@fact("too_deep", PACK, FLAG, "At rest its lowest cell was below the voltage under which a pack is not charged again.")
def too_deep(lifetime: Lifetime) -> list[Segment]:
    """Latch at a resting voltage below the chemistry's floor."""
    return latched([event for event, _ in _below_floor(lifetime)])


@fact("past_mending", PACK, FLAG, "It is known to be swollen, wet or too deep: no look makes it sound again.")
def past_mending(lifetime: Lifetime) -> list[Segment]:
    """Return yes from the first LATCHED fact that is yes; "no" where they are unknown."""
    known = [segment for name in LATCHED for segment in lifetime.fact(name).segments if segment.value == "yes"]
    return [Segment(MIN_INSTANT, "no"), *sorted(known, key=lambda segment: segment.start)[:1]]


@fact("deep_cell", PACK, VOLTS, "The lowest voltage of a cell at rest since it was found too deep.",
      unknown="no resting voltage on record that is too deep",
      record="shelfbell log measured {item} --rest_volts VOLTS")  # fmt: skip
def deep_cell(lifetime: Lifetime) -> list[Segment]:
    """Step down at each deeper reading, for texts; a higher one changes nothing."""
    segments: list[Segment] = []
    lowest = inf
    for event, volts in _below_floor(lifetime):
        if volts < lowest:
            lowest = volts
            segments.append(Segment(event.at, volts, None, (event, None)))
    return segments


def _below_floor(lifetime: Lifetime) -> list[tuple[Event, float]]:
    floor = FLOORS[str(lifetime.item.plate["chemistry"])]
    return [(event, volts) for event, volts in _lowest_cells(lifetime) if volts < floor]


@fact("lowest_cell", PACK, VOLTS, "The lowest cell of the last reading at rest.",
      unknown="no resting voltage on record", record="shelfbell log measured {item} --rest_volts VOLTS")  # fmt: skip
def lowest_cell(lifetime: Lifetime) -> list[Segment]:
    """Step at each resting voltage."""
    return stepped(_lowest_cells(lifetime))


def _lowest_cells(lifetime: Lifetime) -> list[tuple[Event, float]]:
    """Return each resting voltage with its lowest cell."""
    read = [(event, cell_volts(event, lifetime.item.plate)) for event in lifetime.of_kind("measured")]
    return [(event, min(each)) for event, each in read if each]


@fact(
    "under_watch", PACK, FLAG, "It was knocked or fell, and has passed no look 24 h or more after it.",
    unknown="a mishap names no pack, and no flight tells which was in it: log it again with its pack and --instead_of, "
            "or look at each pack a day after it",
    record="shelfbell log inspected {item} RESULT",
)  # fmt: skip
def under_watch(lifetime: Lifetime) -> list[Segment]:
    """Return yes from a knock or dent to the first pass at least WATCH later.

    Unknown after a mishap it may have been in.
    """
    turns: Turns = [] if lifetime.born is None else [(lifetime.born, False, None)]
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
            turns.append((event.at, _watched(knocked, doubted), (knocked or doubted or event, None)))
    return flags(turns)


def _watched(knocked: Event | None, doubted: Event | None) -> bool | None:
    return True if knocked else None if doubted else False


def may_have_been_knocked(store: FactStore, pack: Item, instant: int) -> bool:
    """Return whether, as known at an instant, a pack may have been in a mishap."""
    segment = store.fact(pack, "under_watch").segment(instant)
    return segment.value is None and segment.evidence is not None


def doubtful_mishaps(store: FactStore, pack: Item) -> list[Event]:
    """Return the mishaps that name no pack, where this one counts until one is named."""
    return [mishap for lifetime in store.lifetimes(pack) for mishap in _may_have_been_in(lifetime)]


def _may_have_been_in(lifetime: Lifetime) -> list[Event]:
    """Return the mishaps with no record of their packs while this one was in use."""
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


@fact("knock", PACK, word(), "Its last knock or fall in words, and from which flight that is inferred.")
def knock(lifetime: Lifetime) -> list[Segment]:
    """Describe each knock, for texts."""
    knocks = [event for event in lifetime.of_kind("mishap", "inspected", "noticed") if _is_knock(event)]
    return [Segment(MIN_INSTANT, "none"), *stepped((event, _describe_knock(lifetime, event)) for event in knocks)]


@fact("look_counts", PACK, word(), "From when on a look ends the watch after a knock, in words.")
def look_counts(lifetime: Lifetime) -> list[Segment]:
    """Show for texts: a local time while that is still to come, else "now"."""
    segments = [Segment(MIN_INSTANT, "now")]
    for segment in lifetime.fact("under_watch").segments:
        if segment.value == "yes" and segment.evidence is not None:
            counts = segment.evidence[0].at + WATCH
            if counts > segment.start:
                said = f"from {moment(counts, lifetime.store.clocks.zone)} on"
                segments.append(Segment(segment.start, said, None, segment.evidence))
            segments.append(Segment(max(counts, segment.start), "now", None, segment.evidence))
    return segments


def _describe_knock(lifetime: Lifetime, event: Event) -> str:
    if event.what != "mishap":
        return "a dent was found"
    severity = str(event.get("severity")).replace("_", " ")
    if event.get("item") == lifetime.item.id:
        return severity
    inferred = describe_inference(lifetime.store, event)
    return f"{severity} of {event.get('item')}{f'; inferred: {inferred}' if inferred else ''}"


def describe_inference(store: FactStore, mishap: Event) -> str:
    """Return from which flight a mishap's packs are inferred, in words.

    Such as "the last flight before it, landed 12 min earlier, was with B"; "" if it happened in a flight or names them.
    """
    flight = flight_of(store, mishap)
    if flight is None or mishap.at <= flight.at:
        return ""
    packs = " and ".join(flight.get("packs"))
    return f"the last flight before it, landed {show_span(mishap.at - flight.at)} earlier, was with {packs}"


@fact("set_aside", PACK, FLAG, "It was set aside or handed in and has not passed a look since.")
def set_aside(lifetime: Lifetime) -> list[Segment]:
    """Return yes from set_aside or handed_in to a later pass."""
    turns: Turns = [(MIN_INSTANT, False, None)]
    for event in lifetime.of_kind("set_aside", "handed_in", "inspected"):
        if event.what != "inspected":
            turns.append((event.at, True, (event, None)))
        elif event.get("result") == "pass":
            turns.append((event.at, False, (event, None)))
    return flags(turns)


@fact(
    "usable",
    PACK,
    FLAG,
    "As far as is known it is not swollen, wet, too deep, under watch, set aside, found unfit or retired.",
)
def usable(lifetime: Lifetime) -> list[Segment]:
    """Return no where a reason is known, with its evidence. Unknown before birth."""
    barring = [lifetime.fact(name) for name in BARRING]
    retired = next((event.at for event in lifetime.of_kind("retired")), MAX_INSTANT)
    segments = []
    for turn in sorted({s.start for each in barring for s in each.segments if s.start > MIN_INSTANT} | {retired}):
        evidence = next((s.evidence for each in barring for s in [each.segment(turn)] if s.value == "yes"), None)
        segments.append(Segment(turn, "no" if evidence or turn >= retired else "yes", None, evidence))
    return segments
