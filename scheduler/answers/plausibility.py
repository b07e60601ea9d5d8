"""Ask about what is doubtful in a new entry, with the way to take it back."""

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
    to_datetime,
)
from scheduler.base.units import show_span
from scheduler.events.event import HOME, Event
from scheduler.facts.charge import reading_of
from scheduler.facts.event_times import absence_of, begins_at
from scheduler.facts.fact_store import FactStore
from scheduler.facts.jobs import all_jobs

LONGEST_MINUTES = 60.0
"""A longer flight is asked about while its aircraft has fewer than FEW. Estimate: batteries of small multirotors carry
half of that; no source."""
MOST_MINUTES = 120.0
"""A full charge that would last longer, at the rate of a flight, is asked about. Estimate: twice the above."""
FEW = 3
MORE_CAPACITY = 1.2
"""A capacity of more than this times the nameplate's is asked about. Estimate: new packs exceed it by some percent."""
LONGEST_JOB = 3 * DAY
"""A job longer than this is asked about. Common practice, no source."""
LEAST_VOLTS = 2.5
"""Volts a cell, at rest, below which a reading is more likely that of one cell. Common practice, no source."""
VOLTS = 4.4
"""A percentage as low as a cell's voltage is asked about (lihv: 4.35 V when full)."""
MORE_CHARGE = 10.0
"""Percent by which a pack may hold more than by the log before that is asked about: gauges and estimates differ.
Estimate, no source."""

_NOT_USABLE = {
    "handed_in": "was handed in", "retired": "is retired", "swollen": "is reported swollen",
    "set_aside": "is set aside", "wet": "was in water", "too_deep": "was found below its damage voltage",
    "under_watch": "is under watch after a mishap",
}  # fmt: skip
_LESS_FINAL = ("wet", "too_deep", "under_watch")
_GROUNDED = {
    "retired": "is retired", "mishap_since_inspected": "had a mishap and has not passed a look since",
    "found_unfit": "was found unfit or doubtful",
}  # fmt: skip


class CheckedEntry(NamedTuple):
    """An entry, the facts with it, the instant now, and the facts without it (`bare`)."""

    event: Event
    store: FactStore
    now: int
    bare: FactStore

    def say(self, instant: int) -> str:
        """Write an instant for people."""
        return moment_near(instant, self.now, self.store.clocks.zone)

    def before(self, name: str, fact: str, instant: int) -> object:
        """Return a fact of an item of the fleet at an instant, as without the entry."""
        return self.bare.fact(self.store.fleet[name], fact).at(instant)

    def others(self, name: str, *kinds: str) -> list[Event]:
        """Return the other entries of some kinds on an item."""
        return [e for e in self.store.filed(name) if e.what in kinds and e.id != self.event.id]


def plausibility_questions(events: list[Event], store: FactStore, now: int) -> list[str]:
    """Ask about each doubtful thing in some entries; say how to take them back."""
    lines: dict[str, None] = {}  # what is asked of several entries is asked once
    for event in events:
        bare = FactStore(store.fleet, Without(store, frozenset([event.id])), store.clocks)
        asked = list(_questions(CheckedEntry(event, store, now, bare)))
        lines |= dict.fromkeys(f"Sure? {line}" for line in asked)
        lines |= {f"  If it was a slip: shelfbell log struck {event.id}": None} if asked else {}
    return list(lines)


def _questions(entry: CheckedEntry) -> Iterator[str]:
    yield from _too_early(entry)
    if entry.event.what in _BY_KIND:
        yield from _BY_KIND[entry.event.what](entry)


def _too_early(entry: CheckedEntry) -> Iterator[str]:
    event, fleet = entry.event, entry.store.fleet
    for name in filter(None, (event.get("item"), event.get("aircraft"), *event.get("packs", []))):
        day = fleet[name].plate.get("in_service") if name in fleet else None
        if day is not None and event.at < start_of_day(day, entry.store.clocks.zone):
            yield f"{entry.say(event.at)} is before {name} came into use, {day.isoformat()} by fleet.yaml."


def _charged(entry: CheckedEntry) -> Iterator[str]:
    event = entry.event
    name = event.get("item")
    yield from _percent(entry)
    charger = event.get("charger")
    if charger is not None and entry.before(charger, "found_unfit", event.at) == "yes":
        yield f"by the log {charger} is not in order: pull its plug, charge nothing on it until it has passed a look."
    if entry.store.fleet.kind(name) != "pack":
        return
    if entry.store.fact(entry.store.fleet[name], "usable").at(event.at) != "yes":  # no charge makes a pack usable
        yield from _unusable(entry, name, event.at, event.at)
    yield from _in_the_air(entry)


def _replaced(entry: CheckedEntry) -> Iterator[str]:
    name = entry.event.get("item")
    if entry.store.fleet.kind(name) != "pack" or entry.before(name, "handed_in", entry.event.at) == "yes":
        return
    reasons = [text for fact, text in _NOT_USABLE.items() if entry.before(name, fact, entry.event.at) == "yes"]
    if reasons:
        yield (
            f"the old {name} {' and '.join(reasons[:2])}, and nothing here watches it any more: do not charge or use "
            "it. Keep it outdoors or by an outer wall, away from what burns, and bring it to a disposal site; the "
            "maker's manual and local rules come first."
        )


def _percent(entry: CheckedEntry) -> Iterator[str]:
    percent = entry.event.get("percent", 100)
    if 0 < percent <= VOLTS:
        name = entry.event.get("item")
        yield f"{percent:g} is taken as percent; log volts with `shelfbell log measured {name} --cell_volts`."


def _drained(entry: CheckedEntry) -> Iterator[str]:
    name, percent = entry.event.get("item"), entry.event.get("percent")
    yield from _percent(entry)
    if (held := _held_less(entry, name, entry.event.at, percent)) is not None:
        charged = f"shelfbell log charged {name} {percent:g} --at TIME"
        filled = f"Did the charger fill it up to that? Then strike this, and: {charged}"
        yield f"by the log {name} held {held:.0f} %, and draining adds no charge. {filled}"


def _held_less(entry: CheckedEntry, pack: str, instant: int, percent: float) -> float | None:
    """Return a pack's percent by the log, if well below the one typed; else None."""
    held = entry.before(pack, "charge", instant)
    return float(held) if isinstance(held, int | float) and percent > held + MORE_CHARGE else None


def _unusable(entry: CheckedEntry, name: str, start: int, end: int) -> Iterator[str]:
    # A flight may be what put the pack under watch: only what is final counts at its end, the rest when it began.
    if entry.before(name, "usable", end) == "yes":
        return
    begun = {fact: start if fact in _LESS_FINAL else end for fact in _NOT_USABLE}
    reasons = [text for fact, text in _NOT_USABLE.items() if entry.before(name, fact, begun[fact]) == "yes"]
    if reasons:
        yield f"{name} {' and '.join(reasons[:2])}: was it really {name}? If so, do not charge or fly it again."


def _differs(entry: CheckedEntry, other: Event, flight: Event) -> bool:
    """False for a reading close to the charge at landing, or if either is unknown."""
    if other.what != "measured":
        return True
    read, landed = reading_of(other, entry.store.fleet[other.get("item")].plate), flight.get("percent_to")
    return read is not None and landed is not None and abs(read - landed) > MORE_CHARGE


def _both(entry: CheckedEntry, flight: Event, pack: str, other: Event) -> str:
    start, end, then = entry.say(begins_at(flight)), entry.say(flight.at)[-5:], entry.say(other.at)[-5:]
    return f"{pack} was in the air {start} to {end} and {other.what} at {then}: which time is right?"


def _flown(entry: CheckedEntry) -> Iterator[str]:
    event, store = entry.event, entry.store
    aircraft, start = event.get("aircraft"), begins_at(event)
    reasons = [text for fact, text in _GROUNDED.items() if entry.before(aircraft, fact, start) == "yes"]
    if reasons:
        state = " and ".join(reasons)
        yield f"{aircraft} {state}: was it really {aircraft}? If so, do not fly it again before it is looked over."
    for name in event.get("packs"):
        fits = store.fleet[name].plate.get("fits")
        if fits and aircraft not in fits:
            yield f"{name} fits {', '.join(fits)} by fleet.yaml, not {aircraft}."
        yield from _unusable(entry, name, start, event.at)
    if "flights" not in event.fields:
        yield from _long(entry)
        yield from _fuller(entry)
        yield from _slow(entry)
        yield from _overlaps(entry)


def _long(entry: CheckedEntry) -> Iterator[str]:
    minutes, aircraft = float(entry.event.get("minutes")), entry.event.get("aircraft")
    earlier = [float(e.get("minutes")) for e in entry.others(aircraft, "flown") if "flights" not in e.fields]
    if len(earlier) >= FEW and minutes > 2 * max(earlier):
        yield f"{minutes:g} min is more than twice the longest flight of {aircraft} so far, {max(earlier):g} min."
    elif len(earlier) < FEW and minutes > LONGEST_MINUTES:
        yield f"{minutes:g} min is a very long flight."


def _fuller(entry: CheckedEntry) -> Iterator[str]:
    """Ask about packs that took off with more than they held."""
    percent, take_off = entry.event.get("percent_from"), begins_at(entry.event)
    for name in entry.event.get("packs") if percent is not None else ():
        if (held := _held_less(entry, name, take_off, percent)) is not None:
            yield (
                f"by the log {name} held {held:.0f} %, and it took off with {percent:g} %. {_charge_not_logged(name)}"
            )


def _slow(entry: CheckedEntry) -> Iterator[str]:
    event, minutes = entry.event, float(entry.event.get("minutes"))
    for name in event.get("packs") if "percent_to" in event.fields else ():
        full = event.get("percent_from", entry.before(name, "charge", begins_at(event)))
        used = None if full is None else float(full) - float(event.get("percent_to"))
        if used is None or minutes <= 1 or minutes * 100 <= MOST_MINUTES * used:
            continue
        if "percent_from" not in event.fields and (used <= 0 or not _charged_before(entry, name)):
            yield _charge_forgotten(entry, name, float(full))
        else:
            yield f"{minutes:g} min took only {used:.0f} % of {name}? percent_to is what was left at landing."


def _charged_before(entry: CheckedEntry, pack: str) -> bool:
    """True if the pack's charge at take-off, by the log, came from charging."""
    evidence = entry.bare.fact(entry.store.fleet[pack], "charge").segment(begins_at(entry.event)).evidence
    return evidence is not None and evidence[0].what == "charged"


def _charge_forgotten(entry: CheckedEntry, pack: str, held: float) -> str:
    landed = f"by the log {pack} took off with {held:.0f} %, and it landed with {entry.event.get('percent_to'):g} %"
    return f"{landed}. {_charge_not_logged(pack)}"


def _charge_not_logged(pack: str) -> str:
    return f"Was a charge before it not logged? shelfbell log charged {pack} --at TIME"


def _overlaps(entry: CheckedEntry) -> Iterator[str]:
    event, start = entry.event, begins_at(entry.event)
    for name in (event.get("aircraft"), *event.get("packs")):
        for other in entry.others(name, "flown"):
            if "flights" not in other.fields and begins_at(other) < event.at and start < other.at:
                times = f"{entry.say(begins_at(other))} to {entry.say(other.at)[-5:]}"
                yield f"{name} was in another flight then, {times}."
    for name in event.get("packs"):
        for other in entry.others(name, "charged", "drained", "measured"):
            if start < other.at < event.at and _differs(entry, other, event):
                yield _both(entry, event, name, other)


def _measured(entry: CheckedEntry) -> Iterator[str]:
    yield from _volts_for_percent(entry)
    yield from _one_cell(entry)
    yield from _in_the_air(entry)
    found, fleet = entry.event.get("capacity_mah"), entry.store.fleet
    rated = fleet[entry.event.get("item")].plate.get("capacity")
    if found is not None and rated is not None and found > MORE_CAPACITY * rated:
        yield f"{found:g} mAh is more than {entry.event.get('item')} holds by fleet.yaml, {rated:g} mAh."


def _volts_for_percent(entry: CheckedEntry) -> Iterator[str]:
    name, percent = entry.event.get("item"), entry.event.get("percent")
    if percent is None or percent == int(percent) or not LEAST_VOLTS <= percent <= VOLTS:
        return
    held = entry.before(name, "charge", entry.event.at) if entry.store.fleet.kind(name) == "pack" else None
    if isinstance(held, int | float) and held > percent + MORE_CHARGE:
        yield f"{percent:g} %: if these are the volts of a cell, log them with --cell_volts."


def _set_aside(entry: CheckedEntry) -> Iterator[str]:
    name = entry.event.get("item")
    if entry.before(name, "handed_in", entry.event.at) == "yes":
        yield f"{name} was handed in: was it really {name}?"


def _in_the_air(entry: CheckedEntry) -> Iterator[str]:
    event, name = entry.event, entry.event.get("item")
    for flight in entry.others(name, "flown") if entry.store.fleet.kind(name) == "pack" else ():
        inside = begins_at(flight) < event.at < flight.at and "flights" not in flight.fields
        if inside and _differs(entry, event, flight):
            yield _both(entry, flight, name, event)


def _one_cell(entry: CheckedEntry) -> Iterator[str]:
    name, volts = entry.event.get("item"), entry.event.get("rest_volts")
    cells = entry.store.fleet[name].plate.get("cells")
    if volts is not None and cells is not None and volts / int(cells) < LEAST_VOLTS < volts:
        yield f"{volts:g} V is {volts / int(cells):.2f} V a cell of {name}: log a single cell with --cell_volts."


def _renewed(entry: CheckedEntry) -> Iterator[str]:
    expires, today = entry.event.get("expires"), local_date(entry.now, entry.store.clocks.zone)
    if expires is None:
        return
    if parse_date(expires) < today:
        yield f"its last good day, {expires}, is past."
    span, zone = entry.store.fleet[entry.event.get("item")].plate.get("valid_for"), entry.store.clocks.zone
    if span and start_of_day(parse_date(expires), zone) > add_span(add_span(entry.event.at, span, zone), span, zone):
        yield f"its last good day is {expires}, but by fleet.yaml it is valid for {show_span(span)}: is the year right?"


def _used(entry: CheckedEntry) -> Iterator[str]:
    had = entry.before(entry.event.get("item"), "count", entry.event.at)
    if isinstance(had, int | float) and entry.event.get("count") > had:
        yield f"only {had:g} of {entry.event.get('item')} {'was' if had == 1 else 'were'} in the house."


def _booked(entry: CheckedEntry) -> Iterator[str]:
    event = entry.event
    starts = parse_rfc3339(event.get("starts"))
    if starts < event.at - MINUTE:
        yield _is_past(entry, starts)
    yield from _while_away(entry, starts)
    ends = parse_rfc3339(event.get("ends", event.get("starts")))
    if ends - starts > LONGEST_JOB:
        yield f"it ends {entry.say(ends)}, {show_span(ends - starts)} after it starts."


def _is_past(entry: CheckedEntry, starts: int) -> str:
    if str(entry.event.get("job")) in all_jobs(entry.bare):
        return f"{entry.say(starts)} is past. Under the name of an earlier job, it replaces that job."
    zone = entry.store.clocks.zone
    today = local_date(starts, zone) == local_date(entry.now, zone)
    meant = f'"tomorrow {to_datetime(starts, zone):%H:%M}"' if today else "another day"
    return f"{entry.say(starts)} is past; did you mean {meant}?"


def _away(entry: CheckedEntry) -> Iterator[str]:
    start, end = absence_of(entry.event)
    for job in all_jobs(entry.store).values():
        plan = job.plans[-1]
        if plan.known_to == MAX_INSTANT and start <= plan.starts < end:
            yield f"{job.name} is booked for {entry.say(plan.starts)}, while you are away."


def _while_away(entry: CheckedEntry, starts: int) -> Iterator[str]:
    for start, end in map(absence_of, entry.store.filed(HOME, "away")):
        if start <= starts < end:
            yield f"you are away from {entry.say(start)} to {entry.say(end)}."


_BY_KIND: dict[str, Callable[[CheckedEntry], Iterator[str]]] = {
    "charged": _charged, "drained": _drained, "flown": _flown, "measured": _measured, "renewed": _renewed,
    "used": _used, "booked": _booked, "away": _away, "replaced": _replaced,
    "set_aside": _set_aside,
}  # fmt: skip
