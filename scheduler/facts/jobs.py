"""Booked jobs as functions of time: which is next, which is under way, its eve and its morning."""

from collections.abc import Callable
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

from scheduler.events.log import Event
from scheduler.facts.declare import ANYTHING, fact
from scheduler.facts.timeline import FALLING, NEVER, Piece, Trail, flags
from scheduler.fleet.fleet import Item
from scheduler.instants import DAWN, DUSK, HOUR, at_local, local_date, parse_clock, parse_rfc3339
from scheduler.units import FLAG, SPAN

if TYPE_CHECKING:
    from scheduler.facts.book import Book, Clocks, Life

GRACE = 12 * HOUR
"""A job counts as under way for so long after its end: the packs come home, the evening is over."""


OF_JOBS = ("next_job_in", "starts_in")
"""The facts whose NEVER reads "none booked"."""


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


class Job(NamedTuple):
    """One job under its name: every event that booked, moved or cancelled it, and the plans these made."""

    name: str
    events: list[Event]
    plans: list[Plan]

    @property
    def plate(self) -> dict[str, object]:
        """The fields of its last booking."""
        return self.plate_at(DUSK)

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
            ends = parse_rfc3339(str(event.fields["ends"])) if "ends" in event.fields else starts
            plans.append(Plan(event.at, after.at if after else DUSK, starts, ends, event))
    return plans


def plans_for(book: "Book", item: Item) -> list[Plan]:
    """The plans that count for an item: those of its own aircraft, or of any; for a job, its own."""
    if item.kind == "job":
        return book.jobs[item.id].plans
    plans = [plan for job in book.jobs.values() for plan in job.plans]
    return [plan for plan in plans if plan.aircraft is None or _concerns(book, item, plan)]


def _concerns(book: "Book", item: Item, plan: Plan) -> bool:
    if item.kind in ("pilot", "charger", "place", "home"):
        return True
    if item.kind == "aircraft":
        return item.id == plan.aircraft
    if item.kind == "paper":
        owner = item.plate.get("of")
        return book.fleet.kind(str(owner)) != "aircraft" or owner == plan.aircraft
    if item.fits(str(plan.aircraft)) or not item.plate.get("fits"):
        return True
    from scheduler.facts.fitting import fittings

    return item.kind != "pack" and any(
        craft == plan.aircraft and start <= plan.starts < end for start, end, craft in fittings(book, item)
    )


@fact("next_job_in", ANYTHING, SPAN, "Time to the start of the next job known that concerns the item, if there is one.")
def next_job_in(life: "Life") -> list[Piece]:
    """Falls to nought at each start; NEVER without a job."""
    plans = [plan for plan in plans_for(life.book, life.item) if plan.known_from < plan.starts]
    turns = sorted({t for plan in plans for t in (plan.known_from, min(plan.known_to, plan.starts))})
    pieces = [Piece(DAWN, NEVER)]
    for turn in turns:
        known = [plan for plan in plans if plan.known_from <= turn < min(plan.known_to, plan.starts)]
        if known:
            first = min(known, key=lambda plan: plan.starts)
            pieces.append(Piece(turn, first.starts - turn, FALLING, (first.event, None)))
        else:
            pieces.append(Piece(turn, NEVER))
    return pieces


def _while_known(life: "Life", stretch: Callable[["Plan"], tuple[int, int]]) -> list[Piece]:
    """A flag that is yes within `stretch(plan)` of any plan, as far as the plan was known then."""
    found: list[tuple[int, int, Event]] = []
    for plan in plans_for(life.book, life.item):
        start, end = stretch(plan)
        start, end = max(start, plan.known_from), min(end, plan.known_to)
        if start < end:
            found.append((start, end, plan.event))
    return covering(found)


def covering(stretches: list[tuple[int, int, Event]]) -> list[Piece]:
    """A flag that is yes wherever one of the stretches (start, end, event) holds."""
    turns = sorted({t for start, end, _ in stretches for t in (start, end)})
    triples: list[tuple[int, bool | None, Trail]] = [(DAWN, False, None)]
    for turn in turns:
        event = next((event for start, end, event in stretches if start <= turn < end), None)
        triples.append((turn, event is not None, (event, None) if event else None))
    return flags(triples).pieces


@fact("job_under_way", ANYTHING, FLAG, "A job that concerns the item has started and ended less than 12 h ago.")
def job_under_way(life: "Life") -> list[Piece]:
    """From a job's start to its end and a grace."""
    return _while_known(life, lambda plan: (plan.starts, plan.ends + GRACE))


@fact(
    "job_eve", ANYTHING, FLAG, "It is the evening before a job that concerns the item, or the night up to its morning."
)
def job_eve(life: "Life") -> list[Piece]:
    """From the local hour of the eve, the day before, to the job's morning."""
    clocks = life.book.clocks

    def stretch(plan: Plan) -> tuple[int, int]:
        day = local_date(plan.starts, clocks.zone) - timedelta(days=1)
        return at_local(day, parse_clock(clocks.eve), clocks.zone), plan.starts - clocks.morning

    return _while_known(life, stretch)


@fact("job_morning", ANYTHING, FLAG, "A job that concerns the item starts within 2 h 30 min.")
def job_morning(life: "Life") -> list[Piece]:
    """The last hours before a job's start."""
    return _while_known(life, lambda plan: (plan.starts - life.book.clocks.morning, plan.starts))


@fact("starts_in", ("job",), SPAN, "Time to the job's start; never once it has started or is cancelled.")
def starts_in(life: "Life") -> list[Piece]:
    """The same as next_job_in, of this job alone."""
    return next_job_in(life)
