"""Which part was on which aircraft when, and which packs and controllers fit it."""

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, start_of_day
from scheduler.facts.event_cache import EventCache
from scheduler.fleet.fleet import Item

CARRIED = ("propellers", "gimbal", "guards", "filter")
"""The kinds of parts that an aircraft carries, and that can be moved to another."""
Fitting = tuple[int, int, str]
"""(start, end, aircraft)."""


def fittings(store: EventCache, part: Item) -> list[Fitting]:
    """Return where a part was, in order of time.

    It is on an aircraft from `fitted` to `removed`, to `fitted` elsewhere, or to the fitting of another part of its
    kind on that aircraft. A part that fits one aircraft only is on it from its in_service on.
    """
    return store.compute_once(("fittings", part.id), lambda: _fittings(store, part))


def _fittings(store: EventCache, part: Item) -> list[Fitting]:
    puts = _puts(store, part)
    ends = [event.at for event in store.filed(part.id) if event.what in ("removed", "retired")]
    starts = [start for start, _ in puts]
    result = []
    for start, aircraft in puts:
        others = _others_fitted(store, part, aircraft)
        end = min((t for t in (*starts, *ends, *others) if t > start), default=MAX_INSTANT)
        result.append((start, end, aircraft))
    return result


def _puts(store: EventCache, part: Item) -> list[tuple[int, str]]:
    puts = [(event.at, str(event.get("aircraft"))) for event in store.filed(part.id) if event.what == "fitted"]
    fits: tuple[str, ...] = part.plate.get("fits") or ()
    if len(fits) == 1:
        day = part.plate.get("in_service")
        puts.insert(0, (start_of_day(day, store.clocks.zone) if day else MIN_INSTANT, fits[0]))
    return sorted(puts)


def _others_fitted(store: EventCache, part: Item, aircraft: str) -> list[int]:
    """The instants at which another part of the same kind was fitted to the aircraft."""
    return [
        event.at
        for event in store.filed(aircraft, "fitted")
        if event.get("item") != part.id and store.fleet.kind(str(event.get("item"))) == part.kind
    ]


def parts_of(store: EventCache, aircraft: str, *kinds: str) -> list[Item]:
    """Return the parts of some kinds that fit an aircraft, or were fitted to it once."""

    def find() -> list[Item]:
        fitted = [str(event.get("item")) for event in store.filed(aircraft, "fitted")]
        items = (store.fleet[name] for name in store.fleet.in_order([*store.fleet.fitting(aircraft), *fitted]))
        return [item for item in items if item.kind in kinds]

    return store.compute_once(("parts of", aircraft, kinds), find)


def packs_for(store: EventCache, aircraft: str | None) -> list[Item]:
    """Return the packs that fit an aircraft; all packs for None."""
    return _fitting(store, "pack", aircraft)


def controllers_for(store: EventCache, aircraft: str) -> list[Item]:
    """Return the controllers that fit an aircraft."""
    return _fitting(store, "controller", aircraft)


def _fitting(store: EventCache, kind: str, aircraft: str | None) -> list[Item]:
    """Return the items of a kind that fit an aircraft or name none; for None, all."""
    fleet = store.fleet

    def find() -> list[Item]:
        if aircraft is None:
            return [fleet[name] for name in fleet.ids(kind)]
        names = (n for n in (*fleet.fitting(aircraft), *fleet.fitting(None)) if fleet.kind(n) == kind)
        return [fleet[name] for name in fleet.in_order(names)]

    return store.compute_once(("fitting", kind, aircraft), find)
