"""Booked jobs as functions of time: which is next, which is under way, its eve and its morning."""

from bisect import insort
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.instants import HOUR, MAX_INSTANT, MIN_INSTANT, at_local, local_date, parse_clock, parse_rfc3339
from scheduler.base.units import FLAG, SPAN
from scheduler.events.event import Event
from scheduler.facts.declare import ANYTHING, fact
from scheduler.facts.timeline import FALLING, NEVER, Segment, Trail, Value, flags
from scheduler.fleet.fleet import Item

if TYPE_CHECKING:
    from scheduler.facts.fact_store import Clocks, FactStore, Lifetime

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


def jobs_of(events: list[Event], clocks: "Clocks") -> dict[str, Job]:
    """The jobs of a log's booked and cancelled events, in order."""
    by_name: dict[str, list[Event]] = {}
    for event in events:
        by_name.setdefault(str(event.get("job", "")), []).append(event)
    by_name.pop("", None)
    jobs = {name: Job(name, its, _plans(its)) for name, its in by_name.items()}
    return {name: job for name, job in jobs.items() if job.plans}


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


def plans_for(store: "FactStore", item: Item, since: int = MIN_INSTANT) -> list[Plan]:
    """The plans that count for an item: those of its own aircraft, or of any; for a job, its own. Plans of jobs that
    were over by `since` may be left out."""
    return store.once(("plans", item.kind, item.id, since), lambda: _plans_for(store, item, since))  # type: ignore[return-value]


def _plans_for(store: "FactStore", item: Item, since: int) -> list[Plan]:
    if item.kind == "job":
        job = store.job(item.id)
        return job.plans if job else []
    concerned, fitted = concerned_by(store, item), _fitted_to(store, item)
    if concerned is None or not fitted:
        return plans_of(store, concerned, since)
    found: list[Plan] = []
    for plan in plans_of(store, frozenset([*concerned, *fitted]), since):
        its = plan.aircraft in (None, *concerned)
        found += [plan] if its else _while_on_board(plan, fitted[str(plan.aircraft)])
    return found


def concerned_by(store: "FactStore", item: Item) -> frozenset[str] | None:
    """The aircraft whose jobs concern an item by its nameplate; None where those of every aircraft do."""
    if item.kind == "aircraft":
        return frozenset([item.id])
    if item.kind == "paper":
        owner = str(item.plate.get("of"))
        return frozenset([owner]) if store.fleet.kind(owner) == "aircraft" else None
    if item.kind in ("pilot", "charger", "place", "home"):
        return None
    return frozenset(item.plate.get("fits") or ()) or None


def _fitted_to(store: "FactStore", item: Item) -> dict[str, list[tuple[int, int]]]:
    """Where else a part was: the stretches by aircraft that its nameplate does not name."""
    from scheduler.facts.fitting import CARRIED, fittings

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


def plans_of(store: "FactStore", aircraft: frozenset[str] | None, since: int = MIN_INSTANT) -> list[Plan]:
    """The plans for some aircraft, and for none in particular, in order of first booking; all of them for None. Those
    of jobs over by `since` may be left out."""
    if aircraft is None:
        since = MIN_INSTANT  # they are read all in one

    def gather() -> list[Plan]:
        if aircraft is None:
            jobs = list(store.jobs.values())
        else:
            found = {job.name: job for craft in (None, *aircraft) for job in store.jobs_of(craft, since)}
            jobs = sorted(found.values(), key=lambda job: job.events[0])
        return [
            p for job in jobs for p in job.plans if aircraft is None or p.aircraft is None or p.aircraft in aircraft
        ]

    return store.once(("plans", aircraft, since), gather)  # type: ignore[return-value]


def _alike(lifetime: "Lifetime", since: int, name: str, make: Callable[[list[Plan]], list[Segment]]) -> list[Segment]:
    """What `make` returns of the plans that count for an item: once for all that the same plans count for."""
    plans = plans_for(lifetime.store, lifetime.item, since)
    return lifetime.store.once((name, id(plans)), lambda: make(plans))  # type: ignore[return-value]


@fact(
    "next_job_in",
    ANYTHING,
    SPAN,
    "Time to the start of the next job known that concerns the item, if there is one.",
    onward=True,
)
def next_job_in(lifetime: "Lifetime", since: int) -> list[Segment]:
    """Falls to nought at each start; NEVER without a job."""
    return _alike(lifetime, since, f"next job since {since}", partial(_next_of, since))


def _next_of(since: int, plans: list[Plan]) -> list[Segment]:
    ahead = [plan for plan in plans if plan.known_from < plan.starts and since < min(plan.known_to, plan.starts)]
    coming = sorted(ahead, key=lambda plan: plan.known_from, reverse=True)
    known: list[tuple[int, int, Plan]] = []
    segments = [Segment(MIN_INSTANT, NEVER)]
    for turn in sorted({t for plan in ahead for t in (plan.known_from, min(plan.known_to, plan.starts))}):
        while coming and coming[-1].known_from <= turn:
            plan = coming.pop()
            insort(known, (plan.starts, len(coming), plan))
        while known and min(known[0][2].known_to, known[0][2].starts) <= turn:
            del known[0]
        if known:
            first = known[0][2]
            segments.append(Segment(turn, first.starts - turn, FALLING, (first.event, None)))
        else:
            segments.append(Segment(turn, NEVER))
    return segments


def _while_known(
    lifetime: "Lifetime", since: int, episode: Callable[["Plan"], tuple[int, int]], name: str
) -> list[Segment]:
    """A flag that is yes within `stretch(plan)` of any plan, as far as the plan was known then."""

    def make(plans: list[Plan]) -> list[Segment]:
        found: list[tuple[int, int, Event]] = []
        for plan in plans:
            start, end = episode(plan)
            start, end = max(start, plan.known_from), min(end, plan.known_to)
            if start < end:
                found.append((start, end, plan.event))
        return covering(found)

    return _alike(lifetime, since, name, make)


def covering(episodes: list[tuple[int, int, Event]]) -> list[Segment]:
    """A flag that is yes wherever one of the stretches (start, end, event) holds; of several the first given is why."""
    coming = sorted(((start, place, end, event) for place, (start, end, event) in enumerate(episodes)), reverse=True)
    holding: list[tuple[int, int, Event]] = []
    triples: list[tuple[int, bool | None, Trail]] = [(MIN_INSTANT, False, None)]
    for turn in sorted({t for start, end, _ in episodes for t in (start, end)}):
        while coming and coming[-1][0] <= turn:
            _, place, end, event = coming.pop()
            insort(holding, (place, end, event))
        while holding and holding[0][1] <= turn:
            del holding[0]
        triples.append((turn, bool(holding), (holding[0][2], None) if holding else None))
    return flags(triples).segments


@fact(
    "job_under_way",
    ANYTHING,
    FLAG,
    "A job that concerns the item has started and ended less than 12 h ago.",
    onward=True,
)
def job_under_way(lifetime: "Lifetime", since: int) -> list[Segment]:
    """From a job's start to its end and a grace."""
    return _while_known(lifetime, since, lambda plan: (plan.starts, plan.ends + GRACE), "under way")


@fact(
    "job_eve",
    ANYTHING,
    FLAG,
    "It is the evening before a job that concerns the item, or the night up to its morning.",
    onward=True,
)
def job_eve(lifetime: "Lifetime", since: int) -> list[Segment]:
    """From the local hour of the eve, the day before, to the job's morning."""
    clocks = lifetime.store.clocks

    def episode(plan: Plan) -> tuple[int, int]:
        day = local_date(plan.starts, clocks.zone) - timedelta(days=1)
        return at_local(day, parse_clock(clocks.eve), clocks.zone), plan.starts - clocks.morning

    return _while_known(lifetime, since, episode, "eve")


@fact("job_morning", ANYTHING, FLAG, "A job that concerns the item starts within 2 h 30 min.", onward=True)
def job_morning(lifetime: "Lifetime", since: int) -> list[Segment]:
    """The last hours before a job's start."""
    return _while_known(
        lifetime, since, lambda plan: (plan.starts - lifetime.store.clocks.morning, plan.starts), "morning"
    )


@fact("starts_in", ("job",), SPAN, "Time to the job's start; never once it has started or is cancelled.", onward=True)
def starts_in(lifetime: "Lifetime", since: int) -> list[Segment]:
    """The same as next_job_in, of this job alone."""
    return next_job_in(lifetime, since)
