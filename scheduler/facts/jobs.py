"""Booked jobs: what was known of each, and when; which of them concern an item."""

from collections.abc import Iterator
from typing import NamedTuple

from scheduler.base.instants import HOUR, MAX_INSTANT, MIN_INSTANT, parse_rfc3339
from scheduler.events.event import JOB, JOBS, Event
from scheduler.facts.event_cache import EventCache
from scheduler.facts.fitting import CARRIED, fittings
from scheduler.facts.timeline import NEVER, Value
from scheduler.fleet.fleet import Item

GRACE = 12 * HOUR
"""A job counts as under way for so long after its end: the packs come home, the evening is over."""


AFTERWARDS: dict[str, Value] = {
    "next_job_in": NEVER, "starts_in": NEVER, "job_under_way": "no", "job_eve": "no", "job_morning": "no",
    "unlogged": "no", "retired": "no", "airtime_covered": None,
    "grounded_items": None, "papers_lapsing": None, "not_fit": None,
}  # fmt: skip
"""What the facts of a job are for ever once it is over, the grace too, and was logged."""


OF_PLANS = ("next_job_in", "job_under_way", "job_eve", "job_morning", "charged_for_cancelled_job")
"""The facts of items other than jobs that change when a job is booked, moved or called off."""


class Plan(NamedTuple):
    """What was known of a job over [known_from, known_to): when it starts and ends, with which aircraft."""

    known_from: int
    known_to: int
    starts: int
    ends: int
    event: Event

    @property
    def aircraft(self) -> str | None:
        """The aircraft it is booked for; None for any."""
        return self.event.get("aircraft")

    def flown_with(self, aircraft: str) -> "Plan":
        """The same plan for one aircraft."""
        return self._replace(event=self.event._replace(fields=self.event.fields | {"aircraft": aircraft}))


class Job(NamedTuple):
    """One job under its name: every event that booked, moved or cancelled it, and the plans these made."""

    name: str
    events: list[Event]
    plans: list[Plan]

    def plan_at(self, instant: int) -> Plan | None:
        """What is known of it at an instant; None when it is not booked then."""
        return next((plan for plan in self.plans if plan.known_from <= instant < plan.known_to), None)

    @property
    def plate(self) -> dict[str, object]:
        """The fields of its last booking."""
        return self.plate_at(MAX_INSTANT)

    def plate_at(self, instant: int) -> dict[str, object]:
        """The fields of the booking that stood at an instant, for texts; of the first before any."""
        known = [plan for plan in self.plans if plan.known_from <= instant]
        fields = (known or self.plans[:1])[-1].event.fields
        return {name: fields.get(name) for name in ("aircraft", "airtime_minutes", "near_people")}


def all_jobs(store: EventCache) -> dict[str, Job]:
    """Return every job that was ever booked, by name."""
    return store.cached("jobs", lambda: _jobs_of(store.filed(JOBS)))


def find_job(store: EventCache, name: str) -> Job | None:
    """Return the job of a name; None if none was ever booked."""
    return store.cached(("job", name), lambda: _jobs_of(store.filed(f"{JOB}{name}")).get(name))


def _jobs_for(store: EventCache, aircraft: str | None, starting_at: int) -> list[Job]:
    """The jobs that were booked for an aircraft, or for none in particular, in order, without those over before."""
    booked = store.filed(JOB) if aircraft is None else store.filed(aircraft, "booked")
    names = dict.fromkeys(
        str(event.get("job")) for event in booked if starting_at == MIN_INSTANT or over_at(event) > starting_at
    )
    store.prefetch(f"{JOB}{name}" for name in names)
    return [found for name in names if (found := find_job(store, name)) is not None]


def _jobs_of(events: list[Event]) -> dict[str, Job]:
    """The jobs of booked and cancelled events, in order."""
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


def over_at(booking: Event) -> int:
    """When a job is over as it was booked, its grace too."""
    return _ends(booking) + GRACE


def plans_for(store: EventCache, item: Item, starting_at: int = MIN_INSTANT) -> list[Plan]:
    """The plans that count for an item: those of its own aircraft, or of any; for a job, its own. Plans of jobs that
    were over by `since` may be left out."""
    return store.cached(("plans", item.kind, item.id, starting_at), lambda: _plans_for(store, item, starting_at))


def _plans_for(store: EventCache, item: Item, starting_at: int) -> list[Plan]:
    if item.kind == "job":
        booked = find_job(store, item.id)
        return booked.plans if booked else []
    concerned, fitted = concerned_by(store, item), _fitted_to(store, item)
    if concerned is None or not fitted:
        return plans_of(store, concerned, starting_at)
    found: list[Plan] = []
    for plan in plans_of(store, frozenset([*concerned, *fitted]), starting_at):
        its = plan.aircraft in (None, *concerned)
        found += [plan] if its else _while_on_board(plan, fitted[str(plan.aircraft)])
    return found


def concerned_by(store: EventCache, item: Item) -> frozenset[str] | None:
    """The aircraft whose jobs concern an item by its nameplate; None where those of every aircraft do."""
    if item.kind == "aircraft":
        return frozenset([item.id])
    if item.kind == "paper":
        owner = str(item.plate.get("of"))
        return frozenset([owner]) if store.fleet.kind(owner) == "aircraft" else None
    if item.kind in ("pilot", "charger", "place", "home"):
        return None
    return frozenset(item.plate.get("fits") or ()) or None


def _fitted_to(store: EventCache, item: Item) -> dict[str, list[tuple[int, int]]]:
    """Where else a part was: the stretches by aircraft that its nameplate does not name."""
    found: dict[str, list[tuple[int, int]]] = {}
    if item.kind in CARRIED:
        for start, end, craft in fittings(store, item):
            if not item.fits(craft):
                found.setdefault(craft, []).append((start, end))
    return found


def _while_on_board(plan: Plan, episodes: list[tuple[int, int]]) -> Iterator[Plan]:
    """A plan as it counts for a part: while the part was on its aircraft."""
    for start, end in episodes:
        known_from, known_to = max(start, plan.known_from), min(end, plan.known_to)
        if known_from < known_to:
            yield plan._replace(known_from=known_from, known_to=known_to)


def plans_of(store: EventCache, aircraft: frozenset[str] | None, starting_at: int = MIN_INSTANT) -> list[Plan]:
    """The plans for some aircraft, and for none in particular, in order of first booking; all of them for None. Those
    of jobs over by `since` may be left out."""
    if aircraft is None:
        starting_at = MIN_INSTANT  # they are read all in one

    def gather() -> list[Plan]:
        if aircraft is None:
            return [plan for each in all_jobs(store).values() for plan in each.plans]
        found = {each.name: each for craft in (None, *aircraft) for each in _jobs_for(store, craft, starting_at)}
        plans = (plan for each in sorted(found.values(), key=lambda each: each.events[0]) for plan in each.plans)
        return [plan for plan in plans if plan.aircraft is None or plan.aircraft in aircraft]

    return store.cached(("plans", aircraft, starting_at), gather)
