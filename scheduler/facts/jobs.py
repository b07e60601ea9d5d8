"""Booked jobs: what was known of each and when, and which concern an item."""

from collections.abc import Iterator
from typing import NamedTuple

from scheduler.base.instants import HOUR, MAX_INSTANT, MIN_INSTANT, parse_rfc3339
from scheduler.events.event import JOB, JOBS, Event
from scheduler.facts.event_cache import EventCache
from scheduler.facts.fitting import CARRIED, fittings
from scheduler.facts.timeline import NEVER, Value
from scheduler.fleet.fleet import Item

GRACE = 12 * HOUR
"""A job counts as under way for so long after its end: until the packs are home and the evening is over."""


VALUES_ONCE_OVER: dict[str, Value] = {
    "next_job_in": NEVER, "starts_in": NEVER, "job_under_way": "no", "job_eve": "no", "job_morning": "no",
    "unlogged": "no", "retired": "no", "airtime_covered": None,
    "grounded_items": None, "papers_lapsing": None, "not_fit": None,
}  # fmt: skip
"""The final values of the facts of a job: once it and its grace are over and its flights are logged."""


CHANGED_BY_PLANS = ("next_job_in", "job_under_way", "job_eve", "job_morning", "charged_for_cancelled_job")
"""The facts of items other than jobs that a booking, move or cancellation can change."""


class Plan(NamedTuple):
    """A job as known during [known_from, known_to): its start, end and aircraft."""

    known_from: int
    known_to: int
    starts: int
    ends: int
    event: Event

    @property
    def aircraft(self) -> str | None:
        """The aircraft that it is booked for; None for any."""
        return self.event.get("aircraft")

    def flown_with(self, aircraft: str) -> "Plan":
        """Return the same plan for one aircraft."""
        return self._replace(event=self.event._replace(fields=self.event.fields | {"aircraft": aircraft}))


class Job(NamedTuple):
    """One job: all events that booked, moved or cancelled it, in order, and its plans."""

    name: str
    events: list[Event]
    plans: list[Plan]

    def plan_at(self, instant: int) -> Plan | None:
        """Return the plan known at an instant; None if it is not booked then."""
        return next((plan for plan in self.plans if plan.known_from <= instant < plan.known_to), None)

    @property
    def plate(self) -> dict[str, object]:
        """The fields of its last booking."""
        return self.plate_at(MAX_INSTANT)

    def plate_at(self, instant: int) -> dict[str, object]:
        """Return the fields of the booking valid at an instant, else of the first booking."""
        known = [plan for plan in self.plans if plan.known_from <= instant]
        fields = (known or self.plans[:1])[-1].event.fields
        return {name: fields.get(name) for name in ("aircraft", "airtime_minutes", "near_people")}


def all_jobs(store: EventCache) -> dict[str, Job]:
    """Return every job that was ever booked, by name."""
    return store.compute_once("jobs", lambda: _jobs_of(store.filed(JOBS)))


def find_job(store: EventCache, name: str) -> Job | None:
    """Return the job of a name; None if none was ever booked."""
    return store.compute_once(("job", name), lambda: _jobs_of(store.filed(f"{JOB}{name}")).get(name))


def _jobs_for(store: EventCache, aircraft: str | None, starting_at: int) -> list[Job]:
    """Return the jobs once booked for an aircraft, in order.

    For None, those booked for no aircraft in particular. Jobs that were over before `starting_at` are left out.
    """
    booked = store.filed(JOB) if aircraft is None else store.filed(aircraft, "booked")
    names = dict.fromkeys(
        str(event.get("job")) for event in booked if starting_at == MIN_INSTANT or _over_at(event) > starting_at
    )
    store.prefetch(f"{JOB}{name}" for name in names)
    return [found for name in names if (found := find_job(store, name)) is not None]


def _jobs_of(events: list[Event]) -> dict[str, Job]:
    """Return the jobs of booked and cancelled events, in order."""
    by_name: dict[str, list[Event]] = {}
    for event in events:
        by_name.setdefault(str(event.get("job", "")), []).append(event)
    by_name.pop("", None)
    found = (Job(name, own, _plans(own)) for name, own in by_name.items())
    return {each.name: each for each in found if each.plans}


def _plans(events: list[Event]) -> list[Plan]:
    plans = []
    for event, after in zip(events, [*events[1:], None], strict=True):
        if event.what == "booked":
            starts = parse_rfc3339(str(event.get("starts")))
            plans.append(Plan(event.at, after.at if after else MAX_INSTANT, starts, _ends(event), event))
    return plans


def _ends(booking: Event) -> int:
    return parse_rfc3339(str(booking.get("ends", booking.get("starts"))))


def _over_at(booking: Event) -> int:
    """Return when a job and its grace are over, as it was booked."""
    return _ends(booking) + GRACE


def plans_for(store: EventCache, item: Item, starting_at: int = MIN_INSTANT) -> list[Plan]:
    """Return the plans that concern an item: its aircraft's, or any; a job's own.

    Plans of jobs that were over before `starting_at` may be left out.
    """
    return store.compute_once(("plans", item.kind, item.id, starting_at), lambda: _plans_for(store, item, starting_at))


def _plans_for(store: EventCache, item: Item, starting_at: int) -> list[Plan]:
    if item.kind == "job":
        booked = find_job(store, item.id)
        return booked.plans if booked else []
    crafts, fitted = _aircraft_of(store, item), _fitted_elsewhere(store, item)
    if crafts is None or not fitted:
        return _plans_of(store, crafts, starting_at)
    plans: list[Plan] = []
    for plan in _plans_of(store, frozenset([*crafts, *fitted]), starting_at):
        by_nameplate = plan.aircraft in (None, *crafts)
        plans += [plan] if by_nameplate else _while_on_board(plan, fitted[str(plan.aircraft)])
    return plans


def _aircraft_of(store: EventCache, item: Item) -> frozenset[str] | None:
    """Return the aircraft whose jobs concern an item by its nameplate; None for all."""
    if item.kind == "aircraft":
        return frozenset([item.id])
    if item.kind == "paper":
        owner = str(item.plate.get("of"))
        return frozenset([owner]) if store.fleet.kind(owner) == "aircraft" else None
    if item.kind in ("pilot", "charger", "place", "home"):
        return None
    return frozenset(item.plate.get("fits") or ()) or None


def _fitted_elsewhere(store: EventCache, item: Item) -> dict[str, list[tuple[int, int]]]:
    """Return when a part was on aircraft it does not name: (start, end) by aircraft."""
    intervals: dict[str, list[tuple[int, int]]] = {}
    if item.kind in CARRIED:
        for start, end, craft in fittings(store, item):
            if not item.fits(craft):
                intervals.setdefault(craft, []).append((start, end))
    return intervals


def _while_on_board(plan: Plan, intervals: list[tuple[int, int]]) -> Iterator[Plan]:
    """Return a plan as it concerns a part: while the part was on its aircraft."""
    for start, end in intervals:
        known_from, known_to = max(start, plan.known_from), min(end, plan.known_to)
        if known_from < known_to:
            yield plan._replace(known_from=known_from, known_to=known_to)


def _plans_of(store: EventCache, aircraft: frozenset[str] | None, starting_at: int = MIN_INSTANT) -> list[Plan]:
    """Return the plans for some aircraft and for any, in order of first booking.

    All plans for None. Those of jobs that were over before `starting_at` may be left out.
    """
    if aircraft is None:
        starting_at = MIN_INSTANT  # they are read all at once

    def gather() -> list[Plan]:
        if aircraft is None:
            return [plan for each in all_jobs(store).values() for plan in each.plans]
        found = {each.name: each for craft in (None, *aircraft) for each in _jobs_for(store, craft, starting_at)}
        plans = (plan for each in sorted(found.values(), key=lambda each: each.events[0]) for plan in each.plans)
        return [plan for plan in plans if plan.aircraft is None or plan.aircraft in aircraft]

    return store.compute_once(("plans", aircraft, starting_at), gather)
