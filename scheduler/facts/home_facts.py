"""Facts of the home: how long the log has been quiet, of what nothing is known yet; and of the pilot."""

from collections.abc import Iterator
from datetime import timedelta
from itertools import accumulate
from typing import TYPE_CHECKING

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, at_local, local_date, parse_clock, start_of_day
from scheduler.base.units import FLAG, SPAN, count, word
from scheduler.events.event import Event
from scheduler.facts.charge import charge_fold
from scheduler.facts.declare import fact
from scheduler.facts.event_times import absence_of
from scheduler.facts.fact_store import ItemSummary
from scheduler.facts.service import retired_at
from scheduler.facts.shapes import covering, since_last
from scheduler.facts.timeline import RISING, Segment
from scheduler.fleet.fleet import Item

if TYPE_CHECKING:
    from scheduler.facts.fact_store import FactStore, Lifetime

JUDGED_BY = {"paper": "days_to_expiry", "spares": "count"}
"""The fact that must be known of an item of a kind before it can be judged; of a pack it is the charge."""
SUMMARISED = ("pack", "paper", "aircraft", "spares", "place", "controller")
"""The kinds that are asked about, most useful reading first."""
READINGS = {
    "pack": ("charge at rest", "measured {} PERCENT"),
    "paper": ("last good day", "renewed {} --expires DATE"),
    "aircraft": ("a look, and its last calibration", "inspected {} pass"),
    "spares": ("a count", "counted {} COUNT"),
    "place": ("a look", "inspected {} pass"),
    "controller": ("its charge", "charged {}"),
}
PLANS = ("booked", "cancelled", "travel_planned", "seen", "snoozed")
"""Entries that tell nothing of the item that they name."""
STIRRING = 85
"""Percent from which a pack is worth a word when the log has gone quiet."""
_GONE = ("retired", "handed_in")
"""The facts by which a pack is no longer in the house, or no longer asked about."""


@fact("log_quiet", ("home",), SPAN, "Time since the last entry of any kind, absences apart; never while there is none.")
def log_quiet(lifetime: "Lifetime") -> list[Segment]:
    """Rises from each entry; nought in an absence, and rises from its end."""
    away = [absence_of(event) for event in lifetime.of_kind("away")]
    told = [
        Segment(at, 0, RISING) for at in lifetime.store.instants if not any(start <= at < end for start, end in away)
    ]
    turns = [segment for start, end in away for segment in (Segment(start, 0), Segment(end, 0, RISING))]
    return [*since_last([]), *sorted([*told, *turns], key=lambda segment: segment.start)]


def first_in_service(store: "FactStore") -> int | None:
    """The first instant from which an item is in service by its nameplate, of those that are asked about."""
    began = (_began(store, name) for name in store.fleet.ids(*SUMMARISED))
    return min((start for start in began if start is not None), default=None)


def _began(store: "FactStore", name: str) -> int | None:
    day = store.fleet.one(name, "in_service")
    return start_of_day(day, store.clocks.zone) if day else None


def summarise(store: "FactStore", item: Item) -> ItemSummary:
    """Summarise the events of an item, for `HomeSummary`."""
    first = next((event.at for event in store.filed(item.id)), None)
    return ItemSummary(first, min(_told(store, item), retired_at(store, item)))


def _told(store: "FactStore", item: Item) -> int:
    """The instant from which an item can be judged."""
    if item.kind == "pack":  # without drawing out its charge over all its years
        known = (
            (max(lifetime.start, charge_fold(lifetime).known_from), lifetime.end) for lifetime in store.lifetimes(item)
        )
        return next((start for start, end in known if start < end), MAX_INSTANT)
    if item.kind in JUDGED_BY:
        segments = store.fact(item, JUDGED_BY[item.kind]).segments
        return next((segment.start for segment in segments if segment.value is not None), MAX_INSTANT)
    return next((event.at for event in store.filed(item.id) if event.what not in PLANS), MAX_INSTANT)


def _asked(store: "FactStore") -> list[tuple[int, int, str]]:
    """(from when, until when it is unknown, name) of each item that wants a first reading, most useful first."""
    names = list(_in_question(store))
    known = store.summary.by_item if store.summary else {}
    began = {name: _began(store, name) for name in names}
    found = {name: known.get(name) or summarise(store, store.fleet[name]) for name in names}
    starts = [store.summary and store.summary.first, *began.values(), *(each.first_at for each in found.values())]
    first = min((start for start in starts if start is not None), default=MAX_INSTANT)
    intervals = [(began[name] or first, found[name].judged_from, name) for name in names]
    return [(start, end, name) for start, end, name in intervals if start < end]


def _in_question(store: "FactStore") -> Iterator[str]:
    """The names of the items that want a first reading, or wanted one within the book's time, most useful first."""
    known = store.summary
    if known and not known.by_item and not known.unknown:
        return  # and the fleet need not be read whole to say so
    for kind in SUMMARISED:
        for name in store.fleet.ids(kind):
            if known is None or name in known.by_item or name in known.unknown:
                yield name


def _lacking(store: "FactStore") -> list[tuple[int, list[str]]]:
    asked = _asked(store)
    turns = sorted({turn for start, end, _ in asked for turn in (start, end) if turn < MAX_INSTANT})
    return [(turn, [name for start, end, name in asked if start <= turn < end]) for turn in turns]


@fact("first_readings_due", ("home",), count("item"), "Items in service whose state no entry tells.")
def first_readings_due(lifetime: "Lifetime") -> list[Segment]:
    """Counted from each item's in_service, or from the first entry of all."""
    changes: dict[int, int] = {}
    for start, end, _ in _asked(lifetime.store):
        changes[start] = changes.get(start, 0) + 1
        changes[end] = changes.get(end, 0) - 1
    turns = sorted(turn for turn in changes if turn < MAX_INSTANT)
    counts = accumulate(changes[turn] for turn in turns)
    return [Segment(MIN_INSTANT, 0), *(Segment(turn, lacking) for turn, lacking in zip(turns, counts, strict=True))]


def _lacking_at(lifetime: "Lifetime", instant: int) -> str:
    return _in_words(lifetime.store, [name for start, end, name in _asked(lifetime.store) if start <= instant < end])


@fact("first_readings", ("home",), word(), "Which readings to take first, in words.", at=_lacking_at)
def first_readings(lifetime: "Lifetime") -> list[Segment]:
    """For texts: by kind, most useful first."""
    return [
        Segment(MIN_INSTANT, "none"),
        *(Segment(turn, _in_words(lifetime.store, names)) for turn, names in _lacking(lifetime.store)),
    ]


def _in_words(store: "FactStore", wanting: list[str]) -> str:
    lines: list[str] = []
    for kind in SUMMARISED:
        names = [name for name in wanting if store.fleet.kind(name) == kind]
        if names:
            what, entry = READINGS[kind]
            line = entry.format(",".join(names))
            lines.append(f"{len(lines) + 1}. {', '.join(names)}: {what} (shelfbell log {line}).")
    return " ".join(lines) or "none"


def _standing(lifetime: "Lifetime", instant: int) -> str:
    packs = [lifetime.store.fleet[name] for name in lifetime.store.fleet.ids("pack")]
    return ", ".join(word for pack in packs if (word := _stands(lifetime.store, pack, instant))) or "none"


def _stands(store: "FactStore", pack: Item, instant: int) -> str:
    """The pack and its charge where it stands full or low, else ""; of one out of use, only full and in the house."""
    store = store.fresh_copy()
    charge = store.fact(pack, "charge").at(instant)
    words = ""
    if isinstance(charge, int | float) and not 20 < charge < STIRRING:
        if store.fact(pack, "usable").at(instant) == "yes":
            words = f"{pack.id} ({charge:.0f} %)"
        elif charge >= STIRRING and not any(store.fact(pack, gone).at(instant) == "yes" for gone in _GONE):
            words = f"{pack.id} ({charge:.0f} %, out of use: leave it so, outdoors or by an outer wall)"
    store.close()
    return words


@fact("not_put_away", ("home",), word(), "Packs that by the log stand full or low, in words.", at=_standing)
def not_put_away(lifetime: "Lifetime") -> list[Segment]:
    """For texts; looked at wherever the log's quiet begins."""
    turns = [segment.start for segment in log_quiet(lifetime)[1:]]
    return [Segment(MIN_INSTANT, "none"), *(Segment(turn, _standing(lifetime, turn)) for turn in turns)]


@fact("away_eve", ("home",), FLAG, "It is the evening before an absence that was announced.")
def away_eve(lifetime: "Lifetime") -> list[Segment]:
    """From the local hour of the eve, the day before, to the absence."""
    clocks = lifetime.store.clocks
    found = []
    for event in lifetime.of_kind("away"):
        begins, _ = absence_of(event)
        day = local_date(begins, clocks.zone) - timedelta(days=1)
        eve = max(event.at, at_local(day, parse_clock(clocks.eve), clocks.zone))
        if eve < begins:
            found.append((eve, begins, event))
    return covering(found)


@fact("out_of_practice", ("pilot",), SPAN, "Time since the pilot's last flight.",
      unknown="no flight of the pilot", partial=True)  # fmt: skip
def out_of_practice(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """Flights that name no pilot count for the only one."""
    return since_last(_flights_of(lifetime, starting_at), starting_at)[1:]


def _flights_of(lifetime: "Lifetime", starting_at: int) -> list[Event]:
    store = lifetime.store
    if store.fleet.ids("pilot") != [lifetime.item.id]:
        return store.mentions(lifetime.item, starting_at)
    flights = [event for name in store.fleet.ids("aircraft") for event in store.filed(name, "flown")]
    return sorted(event for event in flights if event.get("pilot", lifetime.item.id) == lifetime.item.id)
