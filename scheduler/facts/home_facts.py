"""Facts of the home: how long the log has been quiet, of what nothing is known yet; and of the pilot."""

from collections.abc import Iterator, Mapping
from datetime import timedelta
from itertools import accumulate
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, at_local, local_date, parse_clock, start_of_day
from scheduler.base.units import FLAG, SPAN, count, word
from scheduler.events.event import Event
from scheduler.facts.away import absence
from scheduler.facts.charge import charge_fold
from scheduler.facts.condition import since_last
from scheduler.facts.declare import fact
from scheduler.facts.jobs import covering
from scheduler.facts.timeline import RISING, Segment
from scheduler.fleet.fleet import Item

if TYPE_CHECKING:
    from scheduler.facts.fact_store import FactStore, Lifetime

EVIDENCE = {"paper": "days_to_expiry", "spares": "count"}
"""The fact that must be known of an item of a kind before it can be judged; of a pack it is the charge."""
ASKED = ("pack", "paper", "aircraft", "spares", "place", "controller")
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
def log_quiet(life: "Lifetime") -> list[Segment]:
    """Rises from each entry; nought in an absence, and rises from its end."""
    away = [absence(event) for event in life.those("away")]
    told = [Segment(at, 0, RISING) for at in life.book.instants if not any(start <= at < end for start, end in away)]
    turns = [piece for start, end in away for piece in (Segment(start, 0), Segment(end, 0, RISING))]
    return [*since_last([]), *sorted([*told, *turns], key=lambda piece: piece.start)]


def first_in_service(book: "FactStore") -> int | None:
    """The first instant from which an item is in service by its nameplate, of those that are asked about."""
    began = (_began(book, name) for name in book.fleet.ids(*ASKED))
    return min((start for start in began if start is not None), default=None)


def _began(book: "FactStore", name: str) -> int | None:
    day = book.fleet.one(name, "in_service")
    return start_of_day(day, book.clocks.zone) if day else None


class Evidence(NamedTuple):
    """When the first entry of an item came, None without one; from when it can be judged, or is out of service."""

    first_at: int | None
    told_at: int


class HomeSummary(NamedTuple):
    """What is known beforehand: the first instant from which anything is asked, what the entries of some items are
    evidence of, and the items for which it is to be found. All other items could be judged before the book's time."""

    first: int | None
    by_item: Mapping[str, Evidence]
    unknown: frozenset[str]


def evidence(book: "FactStore", item: Item) -> Evidence:
    """What the entries of an item are evidence of."""
    first = next((event.at for event in book.filed(item.id)), None)
    return Evidence(first, min(_told(book, item), book.retired(item)))


def _told(book: "FactStore", item: Item) -> int:
    """The instant from which an item can be judged."""
    if item.kind == "pack":  # without drawing out its charge over all its years
        known = ((max(life.start, charge_fold(life).known_from), life.end) for life in book.lives(item))
        return next((start for start, end in known if start < end), MAX_INSTANT)
    if item.kind in EVIDENCE:
        pieces = book.fact(item, EVIDENCE[item.kind]).pieces
        return next((piece.start for piece in pieces if piece.value is not None), MAX_INSTANT)
    return next((event.at for event in book.filed(item.id) if event.what not in PLANS), MAX_INSTANT)


def _asked(book: "FactStore") -> list[tuple[int, int, str]]:
    """(from when, until when it is unknown, name) of each item that wants a first reading, most useful first."""
    names = list(_in_question(book))
    known = book.known.by_item if book.known else {}
    began = {name: _began(book, name) for name in names}
    found = {name: known.get(name) or evidence(book, book.fleet[name]) for name in names}
    starts = [book.known and book.known.first, *began.values(), *(each.first_at for each in found.values())]
    first = min((start for start in starts if start is not None), default=MAX_INSTANT)
    spans = [(began[name] or first, found[name].told_at, name) for name in names]
    return [(start, end, name) for start, end, name in spans if start < end]


def _in_question(book: "FactStore") -> Iterator[str]:
    """The names of the items that want a first reading, or wanted one within the book's time, most useful first."""
    known = book.known
    if known and not known.by_item and not known.unknown:
        return  # and the fleet need not be read whole to say so
    for kind in ASKED:
        for name in book.fleet.ids(kind):
            if known is None or name in known.by_item or name in known.unknown:
                yield name


def _lacking(book: "FactStore") -> list[tuple[int, list[str]]]:
    asked = _asked(book)
    turns = sorted({turn for start, end, _ in asked for turn in (start, end) if turn < MAX_INSTANT})
    return [(turn, [name for start, end, name in asked if start <= turn < end]) for turn in turns]


@fact("first_readings_due", ("home",), count("item"), "Items in service whose state no entry tells.")
def first_readings_due(life: "Lifetime") -> list[Segment]:
    """Counted from each item's in_service, or from the first entry of all."""
    changes: dict[int, int] = {}
    for start, end, _ in _asked(life.book):
        changes[start] = changes.get(start, 0) + 1
        changes[end] = changes.get(end, 0) - 1
    turns = sorted(turn for turn in changes if turn < MAX_INSTANT)
    counts = accumulate(changes[turn] for turn in turns)
    return [Segment(MIN_INSTANT, 0), *(Segment(turn, lacking) for turn, lacking in zip(turns, counts, strict=True))]


def _lacking_at(life: "Lifetime", instant: int) -> str:
    return _in_words(life.book, [name for start, end, name in _asked(life.book) if start <= instant < end])


@fact("first_readings", ("home",), word(), "Which readings to take first, in words.", at=_lacking_at)
def first_readings(life: "Lifetime") -> list[Segment]:
    """For texts: by kind, most useful first."""
    return [
        Segment(MIN_INSTANT, "none"),
        *(Segment(turn, _in_words(life.book, names)) for turn, names in _lacking(life.book)),
    ]


def _in_words(book: "FactStore", wanting: list[str]) -> str:
    lines: list[str] = []
    for kind in ASKED:
        names = [name for name in wanting if book.fleet.kind(name) == kind]
        if names:
            what, entry = READINGS[kind]
            line = entry.format(",".join(names))
            lines.append(f"{len(lines) + 1}. {', '.join(names)}: {what} (shelfbell log {line}).")
    return " ".join(lines) or "none"


def _standing(life: "Lifetime", instant: int) -> str:
    packs = [life.book.fleet[name] for name in life.book.fleet.ids("pack")]
    return ", ".join(word for pack in packs if (word := _stands(life.book, pack, instant))) or "none"


def _stands(book: "FactStore", pack: Item, instant: int) -> str:
    """The pack and its charge where it stands full or low, else ""; of one out of use, only full and in the house."""
    book = book.beside()
    charge = book.fact(pack, "charge").at(instant)
    words = ""
    if isinstance(charge, int | float) and not 20 < charge < STIRRING:
        if book.fact(pack, "usable").at(instant) == "yes":
            words = f"{pack.id} ({charge:.0f} %)"
        elif charge >= STIRRING and not any(book.fact(pack, gone).at(instant) == "yes" for gone in _GONE):
            words = f"{pack.id} ({charge:.0f} %, out of use: leave it so, outdoors or by an outer wall)"
    book.close()
    return words


@fact("not_put_away", ("home",), word(), "Packs that by the log stand full or low, in words.", at=_standing)
def not_put_away(life: "Lifetime") -> list[Segment]:
    """For texts; looked at wherever the log's quiet begins."""
    turns = [piece.start for piece in log_quiet(life)[1:]]
    return [Segment(MIN_INSTANT, "none"), *(Segment(turn, _standing(life, turn)) for turn in turns)]


@fact("away_eve", ("home",), FLAG, "It is the evening before an absence that was announced.")
def away_eve(life: "Lifetime") -> list[Segment]:
    """From the local hour of the eve, the day before, to the absence."""
    clocks = life.book.clocks
    found = []
    for event in life.those("away"):
        begins, _ = absence(event)
        day = local_date(begins, clocks.zone) - timedelta(days=1)
        eve = max(event.at, at_local(day, parse_clock(clocks.eve), clocks.zone))
        if eve < begins:
            found.append((eve, begins, event))
    return covering(found)


@fact("out_of_practice", ("pilot",), SPAN, "Time since the pilot's last flight.",
      unknown="no flight of the pilot", onward=True)  # fmt: skip
def out_of_practice(life: "Lifetime", since: int) -> list[Segment]:
    """Flights that name no pilot count for the only one."""
    return since_last(_flights_of(life, since), since)[1:]


def _flights_of(life: "Lifetime", since: int) -> list[Event]:
    book = life.book
    if book.fleet.ids("pilot") != [life.item.id]:
        return book.uses(life.item, since)
    flights = [event for name in book.fleet.ids("aircraft") for event in book.filed(name, "flown")]
    return sorted(event for event in flights if event.get("pilot", life.item.id) == life.item.id)
