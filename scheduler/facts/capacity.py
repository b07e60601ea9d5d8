"""What a pack can still hold: one capacity from each test and from each flight that tells, and the health they make."""

from collections import deque
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.instants import DAY
from scheduler.events.event import Event
from scheduler.facts.timeline import Trail

if TYPE_CHECKING:
    from scheduler.cells.estimate import Estimate
    from scheduler.facts.fact_store import Lifetime

RECENT = 180 * DAY
"""Older readings than this before the newest do not tell what a pack holds now. A choice, no source."""


class Capacity(NamedTuple):
    """The capacity that one event found, mAh. `test`: by a full discharge, else by a flight."""

    event: Event
    mah: "Estimate"
    test: bool


class Health(NamedTuple):
    """Percent of the nameplate's capacity from an instant on, and the recent tests and flights it rests on."""

    at: int
    percent: float
    tests: list[Capacity]
    flights: list[Capacity]
    rated: float

    @property
    def estimate(self) -> "Estimate":
        """The same with its range."""
        from scheduler.cells.health import health

        found = health([c.mah.value for c in self.flights], self.rated, [c.mah.value for c in self.tests])
        assert found is not None
        return found

    @property
    def trail(self) -> Trail:
        """The events behind it."""
        trail: Trail = None
        for event in sorted(each.event for each in (*self.tests, *self.flights)):
            trail = (event, trail)
        return trail


def capacities(lifetime: "Lifetime") -> list[Capacity]:
    """Every capacity found in one life, in order of time."""
    return lifetime.cached("capacities", lambda: list(_capacities(lifetime)))


def _capacities(lifetime: "Lifetime") -> Iterator[Capacity]:
    from scheduler.cells.health import capacity_from_test

    for event in lifetime.of_kind("flown", "measured"):
        if event.what == "flown":
            mah = _from_flight(event)
            if mah is not None:
                yield Capacity(event, mah, test=False)
        elif "capacity_mah" in event.fields:
            yield Capacity(event, capacity_from_test(float(event.fields["capacity_mah"])), test=True)


def _from_flight(event: Event) -> "Estimate | None":
    """From the percents that the pack itself showed, never from one reckoned or read off a voltage; and not where
    several packs flew, as the entry does not tell whose use it gives."""
    fields = event.fields
    if not {"used_mah", "percent_from", "percent_to"} <= fields.keys() or "flights" in fields:
        return None
    if len(fields["packs"]) != 1:
        return None
    from scheduler.cells.health import capacity_from_flight

    used, start, end = (float(fields[name]) for name in ("used_mah", "percent_from", "percent_to"))
    return capacity_from_flight(used, start, end)


def healths(lifetime: "Lifetime") -> list[Health]:
    """The health from each reading on; a reading that leaves too few recent ones changes nothing."""
    return lifetime.cached("healths", lambda: list(_healths(lifetime)))


def _healths(lifetime: "Lifetime") -> Iterator[Health]:
    from scheduler.cells.health import LAST_FLIGHTS, LAST_TESTS, middle

    rated = float(lifetime.item.plate["capacity"])
    last: dict[bool, deque[Capacity]] = {True: deque(maxlen=LAST_TESTS), False: deque(maxlen=LAST_FLIGHTS)}
    for found in capacities(lifetime):
        last[found.test].append(found)
        since = found.event.at - RECENT
        tests, flights = ([c for c in last[test] if c.event.at > since] for test in (True, False))
        mah = middle([c.mah.value for c in tests], [c.mah.value for c in flights])
        if mah is not None:
            yield Health(found.event.at, 100 * mah / rated, tests, flights, rated)
