"""The capacity of packs, from tests and flights, and the health computed from it."""

from collections import deque
from collections.abc import Iterator
from typing import NamedTuple

from scheduler.base.instants import DAY
from scheduler.cells.estimate import Estimate
from scheduler.events.event import Event
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.timeline import Evidence, evidence_of

RECENT = 180 * DAY
"""Readings older than this before the newest say nothing of the capacity now. A choice, no source."""


class Capacity(NamedTuple):
    """The capacity, mAh, that one event gives.

    `test`: by a full discharge, else by a flight.
    """

    event: Event
    mah: Estimate
    test: bool


class Health(NamedTuple):
    """The health of a pack from an instant on, percent of the nameplate's capacity.

    It is computed from the recent tests and flights.
    """

    at: int
    percent: float
    tests: list[Capacity]
    flights: list[Capacity]
    rated: float

    @property
    def estimate(self) -> Estimate:
        """The health with its range."""
        from scheduler.cells.health import health

        found = health([c.mah.value for c in self.flights], self.rated, [c.mah.value for c in self.tests])
        assert found is not None
        return found

    @property
    def evidence(self) -> Evidence:
        """The tests and flights, as events."""
        return evidence_of(sorted(each.event for each in (*self.tests, *self.flights)))


def capacities(lifetime: Lifetime) -> list[Capacity]:
    """Return every capacity found in one lifetime, in order of time."""
    return lifetime.compute_once("capacities", lambda: list(_capacities(lifetime)))


def _capacities(lifetime: Lifetime) -> Iterator[Capacity]:
    from scheduler.cells.health import capacity_from_test

    for event in lifetime.of_kind("flown", "measured"):
        if event.what == "flown":
            mah = _from_flight(event)
            if mah is not None:
                yield Capacity(event, mah, test=False)
        elif "capacity_mah" in event.fields:
            yield Capacity(event, capacity_from_test(float(event.fields["capacity_mah"])), test=True)


def _from_flight(event: Event) -> Estimate | None:
    """Return the capacity by the percents that the pack itself showed.

    Never by a percent that was calculated or read off a voltage. None where several packs flew: the event does not say
    which of them used the mAh.
    """
    fields = event.fields
    if not {"used_mah", "percent_from", "percent_to"} <= fields.keys() or "flights" in fields:
        return None
    if len(fields["packs"]) != 1:
        return None
    from scheduler.cells.health import capacity_from_flight

    used, start, end = (float(fields[name]) for name in ("used_mah", "percent_from", "percent_to"))
    return capacity_from_flight(used, start, end)


def healths(lifetime: Lifetime) -> list[Health]:
    """Return the health after each reading that has enough recent ones beside it."""
    return lifetime.compute_once("healths", lambda: list(_healths(lifetime)))


def _healths(lifetime: Lifetime) -> Iterator[Health]:
    from scheduler.cells.health import LAST_FLIGHTS, LAST_TESTS, middle

    rated = float(lifetime.item.plate["capacity"])
    last: dict[bool, deque[Capacity]] = {True: deque(maxlen=LAST_TESTS), False: deque(maxlen=LAST_FLIGHTS)}
    for found in capacities(lifetime):
        last[found.test].append(found)
        oldest = found.event.at - RECENT
        tests, flights = ([c for c in last[test] if c.event.at > oldest] for test in (True, False))
        mah = middle([c.mah.value for c in tests], [c.mah.value for c in flights])
        if mah is not None:
            yield Health(found.event.at, 100 * mah / rated, tests, flights, rated)
