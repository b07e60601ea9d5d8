"""The items of a home by name, and the events that count for each of them.

These are its own, and those of the aircraft it was on.
"""

from scheduler.base.instants import MINUTE
from scheduler.events.event import HOME, JOB, Event
from scheduler.facts.event_cache import EventCache, only_mentions
from scheduler.facts.event_times import begins_at
from scheduler.facts.fitting import CARRIED, fittings
from scheduler.facts.jobs import all_jobs, find_job
from scheduler.fleet import fleet as fleets
from scheduler.fleet.fleet import Item

INFERRED_WITHIN = 30 * MINUTE
"""A mishap that names no pack, so soon after a landing, concerns the packs of that flight. A choice, no source."""


def item_named(store: EventCache, kind: str, name: str) -> Item:
    """Return an item of the fleet, a booked job, or the home. Raises KeyError."""
    if kind == "job":
        booked = find_job(store, name)
        if booked is None:
            raise KeyError(name)
        return Item(name, "job", {"id": name} | booked.plate)
    return fleets.HOME if kind == "home" else store.fleet[name]


def kind_of(store: EventCache, name: str) -> str | None:
    """Return the kind of an item, of a job ever booked, or of the home; else None."""
    if name == HOME:
        return "home"
    return store.fleet.kind(name) or ("job" if find_job(store, name) else None)


def names_of(store: EventCache, kind: str) -> list[str]:
    """Return the names of all items of a kind."""
    if kind == "job":
        return list(all_jobs(store))
    return [HOME] if kind == "home" else store.fleet.ids(kind)


def prefetch_items(store: EventCache, items: list[str]) -> None:
    """Read all events that count for some items in one go.

    Also those of the jobs and aircraft behind them.
    """
    names = [f"{JOB}{item}" for item in items]
    for item in items:
        kind = "home" if item == HOME else store.fleet.kind(item)
        names += [] if only_mentions(kind) else [item]
        names += store.fleet[item].plate["fits"] if kind == "pack" else []
    store.prefetch(dict.fromkeys(names))


def events_for(store: EventCache, item: Item) -> list[Event]:
    """Return the events that count for an item, in order.

    These are its own, and for a part or pack those of its aircraft.
    """
    if item.kind == "job":
        booked = find_job(store, item.id)
        return booked.events if booked else []
    own = store.own(item)
    if item.kind == "pack":
        return sorted([*own, *_mishaps_flown(store, item, own)])
    if item.kind in CARRIED:
        return sorted([*own, *_carried(store, item)])
    return own


def _carried(store: EventCache, part: Item) -> list[Event]:
    """Return the flights and mishaps of the aircraft while the part was on it."""
    own = {event.id for event in store.filed(part.id)}
    return [
        event
        for start, end, aircraft in fittings(store, part)
        for begins, event in _uses_of(store, aircraft)
        if start <= begins < end and event.id not in own
    ]


def _uses_of(store: EventCache, aircraft: str) -> list[tuple[int, Event]]:
    """Return the flights and mishaps of an aircraft, each with its beginning."""

    def find() -> list[tuple[int, Event]]:
        return [(begins_at(event), event) for event in store.filed(aircraft) if event.what in ("flown", "mishap")]

    return store.compute_once(("uses", aircraft), find)


def _mishaps_flown(store: EventCache, pack: Item, own: list[Event]) -> list[Event]:
    """Return the mishaps that name no packs and whose flight this pack was in.

    That is the flight of `flight_of`.
    """
    crafts = dict.fromkeys(str(event.get("aircraft")) for event in own if event.what == "flown")
    mishaps = (mishap for aircraft in crafts for mishap in store.filed(aircraft, "mishap"))
    flights = ((mishap, flight_of(store, mishap)) for mishap in mishaps)
    return [mishap for mishap, flight in flights if flight and pack.id in flight.get("packs")]


def flight_of(store: EventCache, mishap: Event) -> Event | None:
    """Return the flight from which the packs in a mishap of an aircraft are inferred.

    It is the last one begun by then, if it was under way or had landed within INFERRED_WITHIN. None without one, or
    where the mishap names its packs.
    """
    if "packs" in mishap.fields:
        return None
    aircraft = str(mishap.get("item"))
    flights = store.filed(aircraft, "flown") if store.fleet.kind(aircraft) == "aircraft" else []
    last = next((flight for flight in reversed(flights) if begins_at(flight) <= mishap.at), None)
    return last if last and mishap.at <= last.at + INFERRED_WITHIN else None


def unattributed_mishaps(store: EventCache, pack: Item) -> list[Event]:
    """Return the mishaps that name no packs, of the aircraft that a pack fits.

    Left out: those whose packs can be inferred, and those during its flight on another aircraft.
    """
    crafts = pack.plate.get("fits") or store.fleet.ids("aircraft")
    mishaps = (mishap for aircraft in crafts for mishap in store.filed(aircraft, "mishap"))
    open_ones = [m for m in mishaps if "packs" not in m.fields and flight_of(store, m) is None]
    flights = store.filed(pack.id, "flown") if open_ones else []
    return [m for m in open_ones if not any(begins_at(flight) <= m.at <= flight.at for flight in flights)]
