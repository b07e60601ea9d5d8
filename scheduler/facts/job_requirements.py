"""Facts of jobs: what each needs, and what of that is not fit."""

from bisect import bisect_left
from collections.abc import Callable, Iterator
from functools import partial
from operator import itemgetter
from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MINUTE
from scheduler.base.units import FLAG, PERCENT, count, word
from scheduler.events.event import Event
from scheduler.facts.condition import GROUNDING_FACTS
from scheduler.facts.declare import JOB, fact
from scheduler.facts.fact_store import FactStore, Lifetime
from scheduler.facts.fitting import controllers_for, fittings, packs_for, parts_of
from scheduler.facts.jobs import Plan, plans_for
from scheduler.facts.papers import sort_of
from scheduler.facts.service import in_service
from scheduler.facts.shapes import covering
from scheduler.facts.timeline import Evidence, Segment, Value, events_of, evidence_of
from scheduler.fleet.fleet import Item

PARTS = ("propellers", "gimbal", "guards")


def candidates(store: FactStore, plan: Plan, instant: int) -> list[str]:
    """Return the aircraft that could fly a job: the one it names, else all in service."""
    crafts = _crafts(store, plan)
    return [name for name in crafts if name == plan.aircraft or _in_service(store, store.fleet[name], plan, instant)]


def _in_service(store: FactStore, item: Item, plan: Plan, instant: int) -> bool:
    """Return whether an item is in service by a job's start, as known at an instant."""
    return in_service(store, item, instant, max(instant, plan.starts))


def _crafts(store: FactStore, plan: Plan) -> list[str]:
    """Return the aircraft that a plan names, else all of the fleet."""
    name = str(plan.aircraft)
    return [name] if store.fleet.kind(name) == "aircraft" else store.fleet.ids("aircraft")


def items_needed(store: FactStore, plan: Plan, instant: int) -> list[Item]:
    """Return what a flight needs besides packs: aircraft, parts on it, controllers.

    Parts as fitted at an instant. Guards count only if the job is near people.
    """
    craft = str(plan.aircraft)
    kinds = PARTS if plan.event.get("near_people") else PARTS[:2]
    parts = [part for part in parts_of(store, craft, *kinds) if _fitted(store, part, craft, instant)]
    controllers = [each for each in controllers_for(store, craft) if _in_service(store, each, plan, instant)]
    return [store.fleet[craft], *parts, *controllers]


def _fitted(store: FactStore, part: Item, aircraft: str, instant: int) -> bool:
    return any(craft == aircraft and start <= instant < end for start, end, craft in fittings(store, part))


def papers_for(store: FactStore, aircraft: str | None) -> list[Item]:
    """Return the papers a flight needs: the pilot's, the aircraft's, and general ones.

    Waivers are needed in some places only, so they are left out.
    """

    def find() -> list[Item]:
        names = [*store.fleet.papers_of(None), *(store.fleet.papers_of(aircraft) if aircraft is not None else ())]
        return [paper for paper in map(store.fleet.__getitem__, names) if sort_of(paper) != "waiver"]

    return store.compute_once(("papers for", aircraft), find)


Evaluate = Callable[[Plan, int], object]
"""The value of a fact of a job by its plan, as known at an instant."""
Changes = Callable[[Plan, int, int], Iterator[int]]
"""When within (start, end) that value may change."""


def _while_planned(lifetime: Lifetime, evaluate: Evaluate, changes: Changes) -> list[Segment]:
    """Return a fact of a job, evaluated at each change while planned and not begun."""
    segments = []
    for plan in plans_for(lifetime.store, lifetime.item):
        end = min(plan.known_to, plan.starts)
        for turn in sorted({plan.known_from, *changes(plan, plan.known_from, end)}):
            segments.append(Segment(turn, evaluate(plan, turn), None, (plan.event, None)))  # type: ignore[arg-type]
        segments.append(Segment(max(end, plan.known_from), None))
    return segments


@fact("airtime_covered", JOB, PERCENT, "How much of the airtime booked its packs last, down to the reserve (estimate).",
      unknown="no airtime booked, or no flight with the charge at landing")  # fmt: skip
def airtime_covered(lifetime: Lifetime) -> list[Segment]:
    """Add up the endurance of the fit packs; an unknown one counts as their mean.

    A job that names no aircraft takes the candidate that lasts longest.
    """
    store = lifetime.store

    def changes(plan: Plan, start: int, end: int) -> Iterator[int]:
        for craft in _crafts(store, plan):
            for pack in packs_for(store, craft):
                for name in ("usable", "grounded", "endurance"):
                    yield from store.fact(pack, name).starts_in(start, end)
        if plan.aircraft is None:
            yield from _changes(store, plan, start, end)

    def evaluate(plan: Plan, instant: int) -> object:
        minutes = plan.event.get("airtime_minutes")
        if minutes is None:
            return None
        crafts = candidates(store, plan, instant) or _crafts(store, plan)
        fit = [craft for craft in crafts if not grounded_items_at(store, plan.flown_with(craft), instant)]
        lasts = [_airtime(store, craft, instant) for craft in fit or crafts]
        known = [each for each in lasts if each is not None]
        return 100 * max(known) / (float(minutes) * MINUTE) if known else None

    return _while_planned(lifetime, evaluate, changes)


def _airtime(store: FactStore, aircraft: str, instant: int) -> float | None:
    """Return how long the fit packs of an aircraft last, one after the other.

    Down to the reserve; None if no endurance is known.
    """
    packs = [pack for pack in packs_for(store, aircraft) if fit_to_fly(store, pack, instant)]
    endurances = [store.fact(pack, "endurance").at(instant) for pack in packs]
    known = [int(each) for each in endurances if each is not None]
    if packs and not known:
        return None
    return sum(known) * len(packs) / len(known) if known else 0


def fit_to_fly(store: FactStore, pack: Item, instant: int) -> bool:
    """Return whether a pack is in service and nothing grounds it."""
    return store.fact(pack, "usable").at(instant) == "yes" and store.fact(pack, "grounded").at(instant) != "yes"


class Unfit(NamedTuple):
    """Something a flight needs that is not fit, with the reason and the evidence."""

    item: str
    why: str
    evidence: Evidence = None


def grounded_items_at(store: FactStore, plan: Plan, instant: int) -> list[Unfit]:
    """Return what a plan needs besides packs and is grounded, or out of service."""
    craft, *rest = items_needed(store, plan, instant)
    if not _in_service(store, craft, plan, instant):
        return [Unfit(craft.id, "not in service")]
    return [each for item in (craft, *rest) if (each := _grounded(store, item, instant))]


def _grounded(store: FactStore, item: Item, instant: int) -> Unfit | None:
    """Return an item with the first reason that grounds it; None if none does."""
    segment = store.fact(item, "grounded").segment(instant)
    if segment.value != "yes":
        return None
    why = next(
        words for name, words in GROUNDING_FACTS[item.kind].items() if store.fact(item, name).at(instant) == "yes"
    )
    return Unfit(item.id, why, segment.evidence)


def grounded_packs(store: FactStore, plan: Plan, instant: int) -> list[Unfit]:
    """Return the packs for a plan if all are grounded or none is in service; else []."""
    packs = packs_for(store, plan.aircraft)
    down = [_grounded(store, pack, instant) for pack in packs if _in_service(store, pack, plan, instant)]
    if None in down:
        return []
    gone = [Unfit(pack.id, "not in service", store.fact(pack, "retired").segment(instant).evidence) for pack in packs]
    return [each for each in down if each is not None] or gone


def lapsing_papers(store: FactStore, plan: Plan, instant: int) -> list[Unfit]:
    """Return the papers a plan needs that, by what is known, lapse before it starts."""
    unfit = []
    for paper in papers_for(store, plan.aircraft):
        end = good_until(store, paper, instant)
        if end is not None and end <= plan.starts:
            evidence = store.fact(paper, "days_to_expiry").segment(instant).evidence
            unfit.append(Unfit(paper.id, "not valid when the job starts", evidence))
    return unfit


def good_until(store: FactStore, paper: Item, instant: int) -> int | None:
    """Return when a paper ends, as known at an instant; None without a renewal.

    That is the end of its last valid day.
    """
    segment = store.fact(paper, "days_to_expiry").segment(instant)
    return None if segment.value is None else segment.start + int(segment.value)


class Blockers(NamedTuple):
    """What keeps every candidate from a job: grounded items and lapsing papers."""

    grounded: list[Unfit]
    lapsing: list[Unfit]


def find_blockers(store: FactStore, plan: Plan, instant: int) -> Blockers:
    """Return what keeps a job from being flown; nothing if one aircraft can take it."""
    grounded: dict[str, Unfit] = {}
    lapsed: dict[str, Unfit] = {}
    for craft in candidates(store, plan, instant) or _crafts(store, plan):
        with_craft = plan.flown_with(craft)
        down = [*grounded_items_at(store, with_craft, instant), *grounded_packs(store, with_craft, instant)]
        papers = lapsing_papers(store, with_craft, instant)
        if not down and not papers:
            return Blockers([], [])
        grounded |= {each.item: each for each in down}
        lapsed |= {each.item: each for each in papers}
    return Blockers(list(grounded.values()), list(lapsed.values()))


def _changes(store: FactStore, plan: Plan, start: int, end: int) -> Iterator[int]:
    """Yield when in (start, end) anything that `find_blockers` asks about may change."""
    for craft in _crafts(store, plan):
        parts = parts_of(store, craft, *PARTS)
        for item in (store.fleet[craft], *parts, *controllers_for(store, craft), *packs_for(store, craft)):
            for name in ("grounded", "age", "retired"):
                yield from store.fact(item, name).starts_in(start, end)
        for part in parts:
            yield from (turn for fitting in fittings(store, part) for turn in fitting[:2] if start < turn < end)
        for paper in papers_for(store, craft):
            yield from store.fact(paper, "days_to_expiry").starts_in(start, end)


def _from_blockers(lifetime: Lifetime, value: Callable[[Blockers], Value]) -> list[Segment]:
    """Return a fact of a job by what keeps it from being flown."""

    def compute() -> list[Segment]:
        store = lifetime.store
        return _while_planned(lifetime, partial(find_blockers, store), partial(_changes, store))

    return [_with_value(segment, value) for segment in lifetime.compute_once("blockers", compute)]


def _with_value(segment: Segment, value: Callable[[Blockers], Value]) -> Segment:
    blockers: Blockers | None = segment.value  # type: ignore[assignment]
    if blockers is None:
        return segment
    events = [event for each in (*blockers.grounded, *blockers.lapsing) for event in events_of(each.evidence)]
    return segment._replace(value=value(blockers), evidence=evidence_of([*events_of(segment.evidence), *events]))


@fact(
    "grounded_items",
    JOB,
    count("item"),
    "Items that it needs and that are grounded: aircraft, parts, controllers, and packs if all of them are. If it "
    "names no aircraft: those of all aircraft, as soon as none could fly it.",
)
def grounded_items(lifetime: Lifetime) -> list[Segment]:
    """Count the grounded blockers."""
    return _from_blockers(lifetime, lambda blockers: len(blockers.grounded))


@fact(
    "papers_lapsing",
    JOB,
    count("paper"),
    "Papers that it needs and that lapse before it starts, waivers not counted. If it names no aircraft: those of all "
    "aircraft, as soon as none could fly it.",
)
def papers_lapsing(lifetime: Lifetime) -> list[Segment]:
    """Count the lapsing papers."""
    return _from_blockers(lifetime, lambda blockers: len(blockers.lapsing))


@fact("not_fit", JOB, word(), "What it needs and is not fit, in words.")
def not_fit(lifetime: Lifetime) -> list[Segment]:
    """List the blockers, for texts."""

    def describe(blockers: Blockers) -> str:
        return "; ".join(f"{each.item} ({each.why})" for each in (*blockers.grounded, *blockers.lapsing)) or "nothing"

    return _from_blockers(lifetime, describe)


@fact("unlogged", JOB, FLAG, "It has ended, and no flight of its aircraft has been logged since its start.")
def unlogged(lifetime: Lifetime) -> list[Segment]:
    """Return yes from its end, as last planned, to the next flight that counts for it."""
    return covering(unlogged_intervals(lifetime.store, plans_for(lifetime.store, lifetime.item)))


def unlogged_intervals(store: FactStore, plans: list[Plan]) -> list[tuple[int, int, Event]]:
    """Return (start, end, booking) of each time that an ended plan lacked a flight.

    `end` is MAX_INSTANT if no flight came.
    """
    intervals = []
    for plan in plans:
        if plan.known_to <= plan.ends or plan.known_from > plan.ends:
            continue
        crafts = [plan.aircraft] if str(plan.aircraft) in store.fleet else store.fleet.ids("aircraft")
        first = min((_first_flight(store, str(craft), plan.starts) for craft in crafts), default=MAX_INSTANT)
        intervals.append((plan.ends, min(first, plan.known_to), plan.event))
    return [interval for interval in intervals if interval[0] < interval[1]]


def _first_flight(store: FactStore, aircraft: str, instant: int) -> int:
    """Return the first landing of an aircraft from `instant` on, else MAX_INSTANT."""
    flights = store.filed(aircraft, "flown")
    place = bisect_left(flights, instant, key=itemgetter(0))
    return flights[place].at if place < len(flights) else MAX_INSTANT
