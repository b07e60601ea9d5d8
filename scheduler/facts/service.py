"""Whether an item is in service: it has arrived and is not retired."""

from scheduler.base.instants import MAX_INSTANT, start_of_day
from scheduler.facts.fact_store import FactStore
from scheduler.fleet.fleet import Item


def retired_at(store: FactStore, item: Item) -> int:
    """Return when an item was retired; MAX_INSTANT while in service or replaced since."""
    return next((event.at for event in store.lifetimes(item)[-1].of_kind("retired")), MAX_INSTANT)


def out_of_service(store: FactStore, item: Item) -> list[tuple[int, int]]:
    """Return (start, end) of each time from `retired` to replacement or MAX_INSTANT."""

    def find() -> list[tuple[int, int]]:
        lifetimes = store.lifetimes(item)
        return [(event.at, lifetime.end) for lifetime in lifetimes for event in lifetime.of_kind("retired")[:1]]

    return store.compute_once(("out of service", item.kind, item.id), find)


def in_service(store: FactStore, item: Item, instant: int, by: int) -> bool:
    """Return whether an item is in service: arrived by `by`, not retired at `instant`."""
    day = item.plate.get("in_service")
    came = day is None or start_of_day(day, store.clocks.zone) <= by
    return came and store.fact(item, "retired").at(instant) != "yes"
