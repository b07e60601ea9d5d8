"""Facts of the home (a quiet log, missing first readings) and of the pilot."""

from collections.abc import Iterator
from datetime import timedelta
from itertools import accumulate

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, at_local, local_date, parse_clock, start_of_day
from scheduler.base.units import FLAG, SPAN, count, word
from scheduler.events.event import Event
from scheduler.facts.charge import charge_curve
from scheduler.facts.declare import fact
from scheduler.facts.event_times import absence_of
from scheduler.facts.fact_store import FactStore, ItemSummary, Lifetime
from scheduler.facts.service import retired_at
from scheduler.facts.shapes import covering, since_last
from scheduler.facts.timeline import RISING, Segment
from scheduler.fleet.fleet import Item

JUDGED_BY = {"paper": "days_to_expiry", "spares": "count"}
"""The fact that must be known before an item of a kind can be judged; for a pack it is the charge."""
SUMMARISED = ("pack", "paper", "aircraft", "spares", "place", "controller")
"""The kinds of items that want a first reading, and so are summarised; the most useful reading first."""
READINGS = {
    "pack": ("charge at rest", "measured {} PERCENT"),
    "paper": ("last valid day", "renewed {} --expires DATE"),
    "aircraft": ("a look, and its last calibration", "inspected {} pass"),
    "spares": ("a count", "counted {} COUNT"),
    "place": ("a look", "inspected {} pass"),
    "controller": ("its charge", "charged {}"),
}
PLANS = ("booked", "cancelled", "travel_planned", "seen", "snoozed")
"""Events that say nothing about the state of the item that they name."""
LOW, FULL = 20, 85
"""Percent up to which a pack counts as low, and from which as full, in `not_put_away`. A choice, no source."""
_GONE = ("retired", "handed_in")
"""The facts of a pack that is no longer in the house, or no longer of interest."""


@fact("log_quiet", ("home",), SPAN,
      "Time since the last event of any kind, absences not counted; never before the first.")  # fmt: skip
def log_quiet(lifetime: Lifetime) -> list[Segment]:
    """Rise from each event; 0 during an absence, and rise from its end."""
    away = [absence_of(event) for event in lifetime.of_kind("away")]
    present = (at for at in lifetime.store.instants if not any(start <= at < end for start, end in away))
    segments = [Segment(at, 0, RISING) for at in present]
    segments += [segment for start, end in away for segment in (Segment(start, 0), Segment(end, 0, RISING))]
    return [*since_last([]), *sorted(segments, key=lambda segment: segment.start)]


def first_in_service(store: FactStore) -> int | None:
    """Return the earliest in_service of the SUMMARISED items; None if none has one."""
    came = (_came(store, name) for name in store.fleet.ids(*SUMMARISED))
    return min((start for start in came if start is not None), default=None)


def _came(store: FactStore, name: str) -> int | None:
    day = store.fleet.one(name, "in_service")
    return start_of_day(day, store.clocks.zone) if day else None


def summarise(store: FactStore, item: Item) -> ItemSummary:
    """Summarise the events of an item, for `HomeSummary`."""
    first = next((event.at for event in store.filed(item.id)), None)
    return ItemSummary(first, min(_judged_from(store, item), retired_at(store, item)))


def _judged_from(store: FactStore, item: Item) -> int:
    """Return the instant from which an item can be judged."""
    if item.kind == "pack":  # known_from spares computing its charge over all its years
        starts = ((max(each.start, charge_curve(each).known_from), each.end) for each in store.lifetimes(item))
        return next((start for start, end in starts if start < end), MAX_INSTANT)
    if item.kind in JUDGED_BY:
        segments = store.fact(item, JUDGED_BY[item.kind]).segments
        return next((segment.start for segment in segments if segment.value is not None), MAX_INSTANT)
    return next((event.at for event in store.filed(item.id) if event.what not in PLANS), MAX_INSTANT)


def _unread(store: FactStore) -> list[tuple[int, int, str]]:
    """Return (start, end, name) while items lack a first reading, most useful first."""
    names = list(_in_question(store))
    known = store.summary.by_item if store.summary else {}
    came = {name: _came(store, name) for name in names}
    summaries = {name: known.get(name) or summarise(store, store.fleet[name]) for name in names}
    starts = [store.summary and store.summary.first, *came.values(), *(each.first_at for each in summaries.values())]
    first = min((start for start in starts if start is not None), default=MAX_INSTANT)
    intervals = [(came[name] or first, summaries[name].judged_from, name) for name in names]
    return [(start, end, name) for start, end, name in intervals if start < end]


def _in_question(store: FactStore) -> Iterator[str]:
    """Yield the items that may lack a first reading, most useful first.

    Only within the time asked about.
    """
    known = store.summary
    if known and not known.by_item and not known.unknown:
        return  # without reading the whole fleet
    for kind in SUMMARISED:
        for name in store.fleet.ids(kind):
            if known is None or name in known.by_item or name in known.unknown:
                yield name


@fact("first_readings_due", ("home",), count("item"), "Items in service whose state no event tells.")
def first_readings_due(lifetime: Lifetime) -> list[Segment]:
    """Count each item from its in_service, or from the first event of all."""
    changes: dict[int, int] = {}
    for start, end, _ in _unread(lifetime.store):
        changes[start] = changes.get(start, 0) + 1
        changes[end] = changes.get(end, 0) - 1
    turns = sorted(turn for turn in changes if turn < MAX_INSTANT)
    counts = accumulate(changes[turn] for turn in turns)
    return [Segment(MIN_INSTANT, 0), *(Segment(turn, number) for turn, number in zip(turns, counts, strict=True))]


def _first_readings_at(lifetime: Lifetime, instant: int) -> str:
    return _describe_readings(lifetime.store, _unread(lifetime.store), instant)


@fact("first_readings", ("home",), word(), "Which first readings to take, in words.", at=_first_readings_at)
def first_readings(lifetime: Lifetime) -> list[Segment]:
    """List them by kind for texts, the most useful first."""
    unread = _unread(lifetime.store)
    turns = sorted({turn for start, end, _ in unread for turn in (start, end) if turn < MAX_INSTANT})
    texts = [Segment(turn, _describe_readings(lifetime.store, unread, turn)) for turn in turns]
    return [Segment(MIN_INSTANT, "none"), *texts]


def _describe_readings(store: FactStore, unread: list[tuple[int, int, str]], instant: int) -> str:
    lines: list[str] = []
    missing = [name for start, end, name in unread if start <= instant < end]
    for kind in SUMMARISED:
        names = [name for name in missing if store.fleet.kind(name) == kind]
        if names:
            what, entry = READINGS[kind]
            line = entry.format(",".join(names))
            lines.append(f"{len(lines) + 1}. {', '.join(names)}: {what} (shelfbell log {line}).")
    return " ".join(lines) or "none"


def _not_put_away_at(lifetime: Lifetime, instant: int) -> str:
    packs = [lifetime.store.fleet[name] for name in lifetime.store.fleet.ids("pack")]
    return ", ".join(text for pack in packs if (text := _full_or_low(lifetime.store, pack, instant))) or "none"


def _full_or_low(store: FactStore, pack: Item, instant: int) -> str:
    """Return a pack with its charge if it is full or low, else "".

    A pack out of use counts only if it is full and still in the house.
    """
    store = store.fresh_copy()  # one pack at a time: its events can be many
    charge = store.fact(pack, "charge").at(instant)
    text = ""
    if isinstance(charge, int | float) and not LOW < charge < FULL:
        if store.fact(pack, "usable").at(instant) == "yes":
            text = f"{pack.id} ({charge:.0f} %)"
        elif charge >= FULL and not any(store.fact(pack, gone).at(instant) == "yes" for gone in _GONE):
            text = f"{pack.id} ({charge:.0f} %, out of use: leave it so, outdoors or by an outer wall)"
    store.close()
    return text


@fact("not_put_away", ("home",), word(), "Packs that are full or low by the log, in words.", at=_not_put_away_at)
def not_put_away(lifetime: Lifetime) -> list[Segment]:
    """List them for texts, wherever the log begins to be quiet."""
    turns = [segment.start for segment in log_quiet(lifetime)[1:]]
    return [Segment(MIN_INSTANT, "none"), *(Segment(turn, _not_put_away_at(lifetime, turn)) for turn in turns)]


@fact("away_eve", ("home",), FLAG, "It is the evening before a planned absence.")
def away_eve(lifetime: Lifetime) -> list[Segment]:
    """Return yes from the local hour of the eve, the day before, to the absence."""
    clocks = lifetime.store.clocks
    intervals = []
    for event in lifetime.of_kind("away"):
        begins, _ = absence_of(event)
        day = local_date(begins, clocks.zone) - timedelta(days=1)
        eve = max(event.at, at_local(day, parse_clock(clocks.eve), clocks.zone))
        if eve < begins:
            intervals.append((eve, begins, event))
    return covering(intervals)


@fact("out_of_practice", ("pilot",), SPAN, "Time since the pilot's last flight.",
      unknown="no flight of the pilot", partial=True)  # fmt: skip
def out_of_practice(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Rise from each flight of the pilot; an only pilot flew those that name none."""
    return since_last(_flights_of(lifetime, starting_at), starting_at)[1:]


def _flights_of(lifetime: Lifetime, starting_at: int) -> list[Event]:
    store = lifetime.store
    if store.fleet.ids("pilot") != [lifetime.item.id]:
        return store.mentions(lifetime.item, starting_at)
    flights = [event for name in store.fleet.ids("aircraft") for event in store.filed(name, "flown")]
    return sorted(event for event in flights if event.get("pilot", lifetime.item.id) == lifetime.item.id)
