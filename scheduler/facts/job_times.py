"""Facts of jobs as they approach: the next, the one under way, eve and morning."""

from bisect import insort
from collections.abc import Callable
from datetime import timedelta
from functools import partial

from scheduler.base.instants import MIN_INSTANT, at_local, local_date, parse_clock
from scheduler.base.units import FLAG, SPAN
from scheduler.events.event import Event
from scheduler.facts.declare import ANYTHING, fact
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.jobs import GRACE, Plan, plans_for
from scheduler.facts.shapes import covering
from scheduler.facts.timeline import FALLING, NEVER, Segment


def _from_plans(
    lifetime: Lifetime, starting_at: int, name: str, make: Callable[[list[Plan]], list[Segment]]
) -> list[Segment]:
    """Call `make` with the plans that concern an item, once for the same plans."""
    plans = plans_for(lifetime.store, lifetime.item, starting_at)
    return lifetime.store.compute_once((name, id(plans)), lambda: make(plans))


@fact("next_job_in", ANYTHING, SPAN,
      "Time to the start of the next known job that concerns the item; never without one.", partial=True)  # fmt: skip
def next_job_in(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Fall to 0 at each start; NEVER without a job."""
    return _from_plans(lifetime, starting_at, f"next job from {starting_at}", partial(_next_of, starting_at))


def _next_of(starting_at: int, plans: list[Plan]) -> list[Segment]:
    ahead = [plan for plan in plans if plan.known_from < plan.starts and starting_at < min(plan.known_to, plan.starts)]
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
    lifetime: Lifetime, starting_at: int, interval: Callable[[Plan], tuple[int, int]], name: str
) -> list[Segment]:
    """Return a flag that is yes within `interval(plan)` while that plan was known."""

    def make(plans: list[Plan]) -> list[Segment]:
        intervals: list[tuple[int, int, Event]] = []
        for plan in plans:
            start, end = interval(plan)
            start, end = max(start, plan.known_from), min(end, plan.known_to)
            if start < end:
                intervals.append((start, end, plan.event))
        return covering(intervals)

    return _from_plans(lifetime, starting_at, name, make)


@fact("job_under_way", ANYTHING, FLAG,
      "A job that concerns the item has started and did not end more than 12 h ago.", partial=True)  # fmt: skip
def job_under_way(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes from a job's start to its end and GRACE."""
    return _while_known(lifetime, starting_at, lambda plan: (plan.starts, plan.ends + GRACE), "under way")


@fact("job_eve", ANYTHING, FLAG,
      "It is the evening or night before a job that concerns the item.", partial=True)  # fmt: skip
def job_eve(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes from the local hour of the eve, the day before, to the job's morning."""
    clocks = lifetime.store.clocks

    def eve(plan: Plan) -> tuple[int, int]:
        day = local_date(plan.starts, clocks.zone) - timedelta(days=1)
        return at_local(day, parse_clock(clocks.eve), clocks.zone), plan.starts - clocks.morning

    return _while_known(lifetime, starting_at, eve, "eve")


@fact("job_morning", ANYTHING, FLAG, "A job that concerns the item starts within 2 h 30 min.", partial=True)
def job_morning(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes in the last hours before a job's start."""
    return _while_known(
        lifetime, starting_at, lambda plan: (plan.starts - lifetime.store.clocks.morning, plan.starts), "morning"
    )


@fact(
    "starts_in", ("job",), SPAN, "Time to the job's start; never once it has started or been cancelled.", partial=True
)
def starts_in(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return next_job_in: only the job itself concerns a job."""
    return next_job_in(lifetime, starting_at)
