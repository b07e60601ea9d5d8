"""What is doubtful in an entry just logged: asked aloud, with the way to take it back."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from scheduler.answers.desk import Without
from scheduler.base.instants import (
    DAY,
    MAX_INSTANT,
    MINUTE,
    add_span,
    local_date,
    moment_near,
    parse_date,
    parse_rfc3339,
    start_of_day,
)
from scheduler.base.units import show_span
from scheduler.events.event import HOME, Event
from scheduler.facts.charge import reading_of
from scheduler.facts.event_times import absence_of, begins_at
from scheduler.facts.fact_store import FactStore
from scheduler.facts.jobs import all_jobs

LONGEST_MINUTES = 60.0
"""A longer flight is asked about while an aircraft has too few to go by. Estimate: batteries of small multirotors carry
half of that; no source."""
MOST_MINUTES = 120.0
"""A full charge that would last longer, at the rate of a flight, is asked about. Estimate: twice the above."""
FEW = 3
MORE_CAPACITY = 1.2
"""A capacity beyond so many times the nameplate's is asked about. Estimate: new packs exceed it by some percent."""
LONGEST_JOB = 3 * DAY
"""A job longer than this is asked about. Common practice, no source."""
LEAST_VOLTS = 2.5
"""Volts a cell, at rest, below which a reading is more likely that of one cell. Common practice, no source."""
VOLTS = 4.4
"""A percentage as low as a cell's voltage is asked about (lihv: 4.35 V when full)."""
MORE_CHARGE = 10.0
"""Percent by which a pack may hold more than the log tells before that is asked about: gauges and what is reckoned
differ by some. Estimate, no source."""

_NOT_USABLE = {
    "handed_in": "was handed in", "retired": "is retired", "swollen": "is reported swollen",
    "set_aside": "is set aside", "wet": "was in water", "too_deep": "was found below its damage voltage",
    "under_watch": "is under watch after a mishap",
}  # fmt: skip
_LESS_FINAL = ("wet", "too_deep", "under_watch")
_GROUNDED = {
    "retired": "is retired", "mishap_since_inspected": "had a mishap and no look passed since",
    "found_unfit": "was found unfit, or in doubt",
}  # fmt: skip


class CheckedEntry(NamedTuple):
    """One entry, the book it stands in, now, and the book without the entry."""

    event: Event
    store: FactStore
    now: int
    bare: FactStore

    def say(self, instant: int) -> str:
        """An instant for people."""
        return moment_near(instant, self.now, self.store.clocks.zone)

    def before(self, name: str, fact: str, instant: int) -> object:
        """The value of a fact of an item of the fleet at an instant, without the entry."""
        return self.bare.fact(self.store.fleet[name], fact).at(instant)

    def others(self, name: str, *kinds: str) -> list[Event]:
        """The other entries of some kinds on an item."""
        return [e for e in self.store.filed(name) if e.what in kinds and e.id != self.event.id]


def plausibility_questions(events: list[Event], store: FactStore, now: int) -> list[str]:
    """A line for each thing that is doubtful, and one that says how to take the entry back."""
    lines: dict[str, None] = {}  # what is asked of several entries is asked once
    for event in events:
        bare = FactStore(store.fleet, Without(store, frozenset([event.id])), store.clocks)
        asked = list(_of(CheckedEntry(event, store, now, bare)))
        lines |= dict.fromkeys(f"Sure? {line}" for line in asked)
        lines |= {f"  If it was a slip: shelfbell log struck {event.id}": None} if asked else {}
    return list(lines)


def _of(told: CheckedEntry) -> Iterator[str]:
    yield from _too_early(told)
    if told.event.what in _DOUBTS:
        yield from _DOUBTS[told.event.what](told)


def _too_early(told: CheckedEntry) -> Iterator[str]:
    event, fleet = told.event, told.store.fleet
    for name in filter(None, (event.get("item"), event.get("aircraft"), *event.get("packs", []))):
        day = fleet[name].plate.get("in_service") if name in fleet else None
        if day is not None and event.at < start_of_day(day, told.store.clocks.zone):
            yield f"{told.say(event.at)} is before {name} came into use, {day.isoformat()} by fleet.yaml."


def _charged(told: CheckedEntry) -> Iterator[str]:
    event = told.event
    name = event.get("item")
    yield from _percent(told)
    charger = event.get("charger")
    if charger is not None and told.before(charger, "found_unfit", event.at) == "yes":
        yield f"{charger} is not in order by the log: pull its plug, charge nothing on it until it has passed a look."
    if told.store.fleet.kind(name) != "pack":
        return
    if told.store.fact(told.store.fleet[name], "usable").at(event.at) != "yes":  # no charge makes a pack usable
        yield from _unusable(told, name, event.at, event.at)
    yield from _in_the_air(told)


def _replaced(told: CheckedEntry) -> Iterator[str]:
    name = told.event.get("item")
    if told.store.fleet.kind(name) != "pack" or told.before(name, "handed_in", told.event.at) == "yes":
        return
    grounds = [text for fact, text in _NOT_USABLE.items() if told.before(name, fact, told.event.at) == "yes"]
    if grounds:
        yield (
            f"the old {name} {' and '.join(grounds[:2])}, and nothing here watches it any more: do not charge or use "
            "it. Keep it outdoors or by an outer wall, away from what burns, and bring it to a disposal site; the "
            "maker's manual and local rules come first."
        )


def _percent(told: CheckedEntry) -> Iterator[str]:
    percent = told.event.get("percent", 100)
    if 0 < percent <= VOLTS:
        name = told.event.get("item")
        yield f"{percent:g} is taken as percent; volts go by `shelfbell log measured {name} --cell_volts`."


def _drained(told: CheckedEntry) -> Iterator[str]:
    name, percent = told.event.get("item"), told.event.get("percent")
    yield from _percent(told)
    if (held := _held_less(told, name, told.event.at, percent)) is not None:
        charged = f"shelfbell log charged {name} {percent:g} --at TIME"
        filled = f"Did the charger fill it up to that? Then strike this, and: {charged}"
        yield f"by the log {name} held {held:.0f} %, and a drain adds nothing. {filled}"


def _held_less(told: CheckedEntry, pack: str, instant: int, percent: float) -> float | None:
    """What a pack held by the log at an instant, where that is well below a percentage told of it; else None."""
    held = told.before(pack, "charge", instant)
    return float(held) if isinstance(held, int | float) and percent > held + MORE_CHARGE else None


def _unusable(told: CheckedEntry, name: str, start: int, end: int) -> Iterator[str]:
    """Out of use for good by its end, or for another reason when it began: a flight may be what put it under watch."""
    if told.before(name, "usable", end) == "yes":
        return
    begun = {fact: start if fact in _LESS_FINAL else end for fact in _NOT_USABLE}
    grounds = [text for fact, text in _NOT_USABLE.items() if told.before(name, fact, begun[fact]) == "yes"]
    if grounds:
        yield f"{name} {' and '.join(grounds[:2])}: was it really {name}? If so, do not charge or fly it again."


def _differs(told: CheckedEntry, other: Event, flight: Event) -> bool:
    """False of a reading that tells about what its pack landed with, or where nothing tells that."""
    if other.what != "measured":
        return True
    read, landed = reading_of(other, told.store.fleet[other.get("item")].plate), flight.get("percent_to")
    return read is not None and landed is not None and abs(read - landed) > MORE_CHARGE


def _both(told: CheckedEntry, flight: Event, pack: str, other: Event) -> str:
    start, end, then = told.say(begins_at(flight)), told.say(flight.at)[-5:], told.say(other.at)[-5:]
    return f"{pack} was in the air {start} to {end} and {other.what} at {then}: which time is right?"


def _flown(told: CheckedEntry) -> Iterator[str]:
    event, store = told.event, told.store
    aircraft, start = event.get("aircraft"), begins_at(event)
    grounds = [text for fact, text in _GROUNDED.items() if told.before(aircraft, fact, start) == "yes"]
    if grounds:
        state = " and ".join(grounds)
        yield f"{aircraft} {state}: was it really {aircraft}? If so, do not fly it again before it is looked over."
    for name in event.get("packs"):
        fits = store.fleet[name].plate.get("fits")
        if fits and aircraft not in fits:
            yield f"{name} fits {', '.join(fits)} by fleet.yaml, not {aircraft}."
        yield from _unusable(told, name, start, event.at)
    if "flights" not in event.fields:
        yield from _long(told)
        yield from _fuller(told)
        yield from _slow(told)
        yield from _overlaps(told)


def _long(told: CheckedEntry) -> Iterator[str]:
    minutes, aircraft = float(told.event.get("minutes")), told.event.get("aircraft")
    earlier = [float(e.get("minutes")) for e in told.others(aircraft, "flown") if "flights" not in e.fields]
    if len(earlier) >= FEW and minutes > 2 * max(earlier):
        yield f"{minutes:g} min is more than twice the longest flight of {aircraft} so far, {max(earlier):g} min."
    elif len(earlier) < FEW and minutes > LONGEST_MINUTES:
        yield f"{minutes:g} min is a very long flight."


def _fuller(told: CheckedEntry) -> Iterator[str]:
    """The packs that took off with more than they held."""
    percent, take_off = told.event.get("percent_from"), begins_at(told.event)
    for name in told.event.get("packs") if percent is not None else ():
        if (held := _held_less(told, name, take_off, percent)) is not None:
            yield (
                f"by the log {name} held {held:.0f} %, and it took off with {percent:g} %. {_charge_not_logged(name)}"
            )


def _slow(told: CheckedEntry) -> Iterator[str]:
    event, minutes = told.event, float(told.event.get("minutes"))
    for name in event.get("packs") if "percent_to" in event.fields else ():
        full = event.get("percent_from", told.before(name, "charge", begins_at(event)))
        used = None if full is None else float(full) - float(event.get("percent_to"))
        if used is None or minutes <= 1 or minutes * 100 <= MOST_MINUTES * used:
            continue
        if "percent_from" not in event.fields and (used <= 0 or not _charged_before(told, name)):
            yield _charge_forgotten(told, name, float(full))
        else:
            yield f"{minutes:g} min took only {used:.0f} % of {name}? percent_to is what was left at landing."


def _charged_before(told: CheckedEntry, pack: str) -> bool:
    """True where a charge, by the log, is what it took off with."""
    evidence = told.bare.fact(told.store.fleet[pack], "charge").segment(begins_at(told.event)).evidence
    return evidence is not None and evidence[0].what == "charged"


def _charge_forgotten(told: CheckedEntry, pack: str, held: float) -> str:
    landed = f"by the log {pack} took off with {held:.0f} %, and it landed with {told.event.get('percent_to'):g} %"
    return f"{landed}. {_charge_not_logged(pack)}"


def _charge_not_logged(pack: str) -> str:
    return f"Was a charge before it not logged? shelfbell log charged {pack} --at TIME"


def _overlaps(told: CheckedEntry) -> Iterator[str]:
    event, start = told.event, begins_at(told.event)
    for name in (event.get("aircraft"), *event.get("packs")):
        for other in told.others(name, "flown"):
            if "flights" not in other.fields and begins_at(other) < event.at and start < other.at:
                yield f"{name} was in another flight then, {told.say(begins_at(other))} to {told.say(other.at)[-5:]}."
    for name in event.get("packs"):
        for other in told.others(name, "charged", "drained", "measured"):
            if start < other.at < event.at and _differs(told, other, event):
                yield _both(told, event, name, other)


def _measured(told: CheckedEntry) -> Iterator[str]:
    yield from _one_cell(told)
    yield from _in_the_air(told)
    found, fleet = told.event.get("capacity_mah"), told.store.fleet
    rated = fleet[told.event.get("item")].plate.get("capacity")
    if found is not None and rated is not None and found > MORE_CAPACITY * rated:
        yield f"{found:g} mAh is more than {told.event.get('item')} holds by fleet.yaml, {rated:g} mAh."


def _in_the_air(told: CheckedEntry) -> Iterator[str]:
    event, name = told.event, told.event.get("item")
    for flight in told.others(name, "flown") if told.store.fleet.kind(name) == "pack" else ():
        inside = begins_at(flight) < event.at < flight.at and "flights" not in flight.fields
        if inside and _differs(told, event, flight):
            yield _both(told, flight, name, event)


def _one_cell(told: CheckedEntry) -> Iterator[str]:
    name, volts = told.event.get("item"), told.event.get("rest_volts")
    cells = told.store.fleet[name].plate.get("cells")
    if volts is not None and cells is not None and volts / int(cells) < LEAST_VOLTS < volts:
        yield f"{volts:g} V is {volts / int(cells):.2f} V a cell of {name}: one cell alone goes by --cell_volts."


def _renewed(told: CheckedEntry) -> Iterator[str]:
    expires, today = told.event.get("expires"), local_date(told.now, told.store.clocks.zone)
    if expires is None:
        return
    if parse_date(expires) < today:
        yield f"its last good day, {expires}, is past."
    span, zone = told.store.fleet[told.event.get("item")].plate.get("valid_for"), told.store.clocks.zone
    if span and start_of_day(parse_date(expires), zone) > add_span(add_span(told.event.at, span, zone), span, zone):
        yield f"its last good day is {expires}, and by fleet.yaml it is valid for {show_span(span)}: is the year right?"


def _used(told: CheckedEntry) -> Iterator[str]:
    had = told.before(told.event.get("item"), "count", told.event.at)
    if isinstance(had, int | float) and told.event.get("count") > had:
        yield f"only {had:g} of {told.event.get('item')} {'was' if had == 1 else 'were'} in the house."


def _booked(told: CheckedEntry) -> Iterator[str]:
    event = told.event
    starts = parse_rfc3339(event.get("starts"))
    if starts < event.at - MINUTE:
        yield f"{told.say(starts)} is past; under the name of a job booked before, it takes its place."
    yield from _while_away(told, starts)
    ends = parse_rfc3339(event.get("ends", event.get("starts")))
    if ends - starts > LONGEST_JOB:
        yield f"it ends {told.say(ends)}, {show_span(ends - starts)} after it starts."


def _away(told: CheckedEntry) -> Iterator[str]:
    start, end = absence_of(told.event)
    for job in all_jobs(told.store).values():
        plan = job.plans[-1]
        if plan.known_to == MAX_INSTANT and start <= plan.starts < end:
            yield f"{job.name} is booked for {told.say(plan.starts)}, while you are away."


def _while_away(told: CheckedEntry, starts: int) -> Iterator[str]:
    for start, end in map(absence_of, told.store.filed(HOME, "away")):
        if start <= starts < end:
            yield f"you are away from {told.say(start)} to {told.say(end)}."


_DOUBTS: dict[str, Callable[[CheckedEntry], Iterator[str]]] = {
    "charged": _charged, "drained": _drained, "flown": _flown, "measured": _measured, "renewed": _renewed,
    "used": _used, "booked": _booked, "away": _away, "replaced": _replaced,
}  # fmt: skip
