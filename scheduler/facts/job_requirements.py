"""Facts of jobs: what they need, against what is fit."""

from bisect import bisect_left
from collections.abc import Callable, Iterator
from functools import partial
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.instants import MAX_INSTANT, MINUTE
from scheduler.base.units import FLAG, PERCENT, count, word
from scheduler.events.event import Event
from scheduler.facts.condition import GROUNDS
from scheduler.facts.declare import fact
from scheduler.facts.fitting import controllers_for, fittings, packs_for, parts_of
from scheduler.facts.jobs import Plan, plans_for
from scheduler.facts.papers import sort_of
from scheduler.facts.service import in_service
from scheduler.facts.shapes import covering
from scheduler.facts.timeline import Segment, Trail, events_of, trail_of
from scheduler.fleet.fleet import Item

if TYPE_CHECKING:
    from scheduler.facts.fact_store import FactStore, Lifetime

JOB = ("job",)
FREE = word()
"""Words made up from names: for texts, not for comparing."""
PARTS = ("propellers", "gimbal", "guards")


def candidates(store: "FactStore", plan: Plan, instant: int) -> list[str]:
    """The aircraft that could fly a job: the one that it names, or else each in service, as known at an instant."""
    crafts = _crafts(store, plan)
    return [name for name in crafts if name == plan.aircraft or _in_service(store, store.fleet[name], plan, instant)]


def _in_service(store: "FactStore", item: Item, plan: Plan, instant: int) -> bool:
    """True for what will have come when a job starts, and is not retired at an instant."""
    return in_service(store, item, instant, max(instant, plan.starts))


def _crafts(store: "FactStore", plan: Plan) -> list[str]:
    """The aircraft that a plan names, or else all of the fleet."""
    name = str(plan.aircraft)
    return [name] if store.fleet.kind(name) == "aircraft" else store.fleet.ids("aircraft")


def needed(store: "FactStore", plan: Plan, instant: int) -> list[Item]:
    """The aircraft that a plan names, the parts on it at an instant (guards only where the job is near people), and
    what controls it."""
    craft = str(plan.aircraft)
    kinds = PARTS if plan.event.get("near_people") else PARTS[:2]
    parts = [part for part in parts_of(store, craft, *kinds) if _fitted(store, part, craft, instant)]
    controllers = [each for each in controllers_for(store, craft) if _in_service(store, each, plan, instant)]
    return [store.fleet[craft], *parts, *controllers]


def _fitted(store: "FactStore", part: Item, aircraft: str, instant: int) -> bool:
    return any(craft == aircraft and start <= instant < end for start, end, craft in fittings(store, part))


def papers_for(store: "FactStore", aircraft: str | None) -> list[Item]:
    """The papers that a flight needs: the pilot's, those of no one in particular, and the aircraft's own. Waivers are
    needed in some places only, so they are no part of this."""

    def find() -> list[Item]:
        names = [*store.fleet.papers_of(None), *(store.fleet.papers_of(aircraft) if aircraft is not None else ())]
        return [paper for paper in map(store.fleet.__getitem__, names) if sort_of(paper) != "waiver"]

    return store.cached(("papers for", aircraft), find)


Look = Callable[[Plan, int], object]
Turns = Callable[[Plan, int, int], Iterator[int]]


def _steps(lifetime: "Lifetime", look: Look, turns: Turns) -> list[Segment]:
    """A fact of a job that `look(plan, instant)` tells, looked at anew at each of `turns(plan, start, end)` while the
    plan stands and its job has not begun."""
    segments = []
    for plan in plans_for(lifetime.store, lifetime.item):
        end = min(plan.known_to, plan.starts)
        for turn in sorted({plan.known_from, *turns(plan, plan.known_from, end)}):
            segments.append(Segment(turn, look(plan, turn), None, (plan.event, None)))  # type: ignore[arg-type]
        segments.append(Segment(max(end, plan.known_from), None))
    return segments


@fact("airtime_covered", JOB, PERCENT, "What its packs hold down to the reserve, of the airtime booked (estimate).",
      unknown="no airtime booked, or no flight with the charge at landing")  # fmt: skip
def airtime_covered(lifetime: "Lifetime") -> list[Segment]:
    """A pack that tells nothing of itself is taken to last as its sisters do. Of a job for no one aircraft it is told
    for the one that can take it and lasts longest."""
    store = lifetime.store

    def turns(plan: Plan, start: int, end: int) -> Iterator[int]:
        for craft in _crafts(store, plan):
            for pack in packs_for(store, craft):
                for name in ("usable", "grounded", "endurance"):
                    yield from store.fact(pack, name).starts_in(start, end)
        if plan.aircraft is None:
            yield from _turns(store, plan, start, end)

    def look(plan: Plan, instant: int) -> object:
        minutes = plan.event.get("airtime_minutes")
        if minutes is None:
            return None
        crafts = candidates(store, plan, instant) or _crafts(store, plan)
        fit = [craft for craft in crafts if not grounded_at(store, plan.flown_with(craft), instant)]
        lasts = [_airtime(store, craft, instant) for craft in fit or crafts]
        known = [each for each in lasts if each is not None]
        return 100 * max(known) / (float(minutes) * MINUTE) if known else None

    return _steps(lifetime, look, turns)


def _airtime(store: "FactStore", aircraft: str, instant: int) -> float | None:
    """How long the fit packs of an aircraft last together, down to the reserve; None where none of them tells."""
    packs = [pack for pack in packs_for(store, aircraft) if fit_to_fly(store, pack, instant)]
    told = [store.fact(pack, "endurance").at(instant) for pack in packs]
    known = [int(each) for each in told if each is not None]
    if packs and not known:
        return None
    return sum(known) * len(packs) / len(known) if known else 0


def fit_to_fly(store: "FactStore", pack: Item, instant: int) -> bool:
    """True when a pack is in service and nothing grounds it."""
    return store.fact(pack, "usable").at(instant) == "yes" and store.fact(pack, "grounded").at(instant) != "yes"


class Unfit(NamedTuple):
    """Something that a flight needs and that is not fit for it: why, and the entries that tell so."""

    item: str
    why: str
    trail: Trail = None


def grounded_at(store: "FactStore", plan: Plan, instant: int) -> list[Unfit]:
    """What a plan needs, packs apart, and is grounded at an instant; its aircraft where that is not in service."""
    craft, *rest = needed(store, plan, instant)
    if not _in_service(store, craft, plan, instant):
        return [Unfit(craft.id, "not in service")]
    return [each for item in (craft, *rest) if (each := _grounded(store, item, instant))]


def _grounded(store: "FactStore", item: Item, instant: int) -> Unfit | None:
    """An item with the first of its grounds at an instant; None where there is none."""
    segment = store.fact(item, "grounded").segment(instant)
    if segment.value != "yes":
        return None
    why = next(words for name, words in GROUNDS[item.kind].items() if store.fact(item, name).at(instant) == "yes")
    return Unfit(item.id, why, segment.trail)


def grounded_packs(store: "FactStore", plan: Plan, instant: int) -> list[Unfit]:
    """The packs for the aircraft of a plan, where each of them is grounded at an instant, or none is in service."""
    packs = packs_for(store, plan.aircraft)
    down = [_grounded(store, pack, instant) for pack in packs if _in_service(store, pack, plan, instant)]
    if None in down:
        return []
    gone = [Unfit(pack.id, "not in service", store.fact(pack, "retired").segment(instant).trail) for pack in packs]
    return [each for each in down if each is not None] or gone


def lapsing(store: "FactStore", plan: Plan, instant: int) -> list[Unfit]:
    """The papers that a plan needs and that, as known at an instant, will have lapsed when it starts."""
    found = []
    for paper in papers_for(store, plan.aircraft):
        end = good_until(store, paper, instant)
        if end is not None and end <= plan.starts:
            trail = store.fact(paper, "days_to_expiry").segment(instant).trail
            found.append(Unfit(paper.id, "will have lapsed", trail))
    return found


def good_until(store: "FactStore", paper: Item, instant: int) -> int | None:
    """The end of a paper's last good day, as known at an instant; None where no renewal is on record."""
    segment = store.fact(paper, "days_to_expiry").segment(instant)
    return None if segment.value is None else segment.start + int(segment.value)


class Hindered(NamedTuple):
    """What keeps every aircraft that could fly a job from it: what is grounded, and the papers that lapse."""

    grounded: list[Unfit]
    lapsing: list[Unfit]


def hindered(store: "FactStore", plan: Plan, instant: int) -> Hindered:
    """What keeps a job from being flown as things stand at an instant: nothing where one aircraft could take it."""
    grounded: dict[str, Unfit] = {}
    lapsed: dict[str, Unfit] = {}
    for craft in candidates(store, plan, instant) or _crafts(store, plan):
        its = plan.flown_with(craft)
        down = [*grounded_at(store, its, instant), *grounded_packs(store, its, instant)]
        papers = lapsing(store, its, instant)
        if not down and not papers:
            return Hindered([], [])
        grounded |= {each.item: each for each in down}
        lapsed |= {each.item: each for each in papers}
    return Hindered(list(grounded.values()), list(lapsed.values()))


def _turns(store: "FactStore", plan: Plan, start: int, end: int) -> Iterator[int]:
    """Where within (start, end) anything that `hindered` asks about may change."""
    for craft in _crafts(store, plan):
        parts = parts_of(store, craft, *PARTS)
        for item in (store.fleet[craft], *parts, *controllers_for(store, craft), *packs_for(store, craft)):
            for name in ("grounded", "age", "retired"):
                yield from store.fact(item, name).starts_in(start, end)
        for part in parts:
            yield from (turn for fitting in fittings(store, part) for turn in fitting[:2] if start < turn < end)
        for paper in papers_for(store, craft):
            yield from store.fact(paper, "days_to_expiry").starts_in(start, end)


def _told(lifetime: "Lifetime", tell: Callable[[Hindered], object]) -> list[Segment]:
    """A fact of a job that tells something of what keeps it from being flown."""

    def look() -> list[Segment]:
        return _steps(lifetime, partial(hindered, lifetime.store), partial(_turns, lifetime.store))

    return [_told_piece(segment, tell) for segment in lifetime.cached("hindered", look)]


def _told_piece(segment: Segment, tell: Callable[[Hindered], object]) -> Segment:
    found: Hindered | None = segment.value  # type: ignore[assignment]
    if found is None:
        return segment
    events = [event for each in (*found.grounded, *found.lapsing) for event in events_of(each.trail)]
    return segment._replace(value=tell(found), trail=trail_of([*events_of(segment.trail), *events]))  # type: ignore[arg-type]


@fact(
    "grounded_items",
    JOB,
    count("item"),
    "Items that it needs and that are grounded: aircraft, parts, controllers, all packs; where it names no aircraft, "
    "those of all once none could take it.",
)
def grounded_items(lifetime: "Lifetime") -> list[Segment]:
    """Counted as the plan stands."""
    return _told(lifetime, lambda found: len(found.grounded))


@fact(
    "papers_lapsing",
    JOB,
    count("paper"),
    "Papers that it needs and that will have lapsed when it starts, waivers apart; where it names no aircraft, those "
    "of all once none could take it.",
)
def papers_lapsing(lifetime: "Lifetime") -> list[Segment]:
    """Judged at the job's start."""
    return _told(lifetime, lambda found: len(found.lapsing))


@fact("not_fit", JOB, FREE, "What it needs and is not fit, in words.")
def not_fit(lifetime: "Lifetime") -> list[Segment]:
    """For texts."""

    def words(found: Hindered) -> str:
        return "; ".join(f"{each.item} ({each.why})" for each in (*found.grounded, *found.lapsing)) or "nothing"

    return _told(lifetime, words)


@fact("unlogged", JOB, FLAG, "It has ended, and no flight of its aircraft since its start is logged.")
def unlogged(lifetime: "Lifetime") -> list[Segment]:
    """From its end, as last planned, to the next flight that counts for it."""
    return covering(unlogged_stretches(lifetime.store, plans_for(lifetime.store, lifetime.item)))


def unlogged_stretches(store: "FactStore", plans: list[Plan]) -> list[tuple[int, int, Event]]:
    """Return (start, end, booking) of each time that a plan had ended without a flight; MAX_INSTANT if none came."""
    found = []
    for plan in plans:
        if plan.known_to <= plan.ends or plan.known_from > plan.ends:
            continue
        crafts = [plan.aircraft] if str(plan.aircraft) in store.fleet else store.fleet.ids("aircraft")
        first = min((_first_flight(store, str(craft), plan.starts) for craft in crafts), default=MAX_INSTANT)
        found.append((plan.ends, min(first, plan.known_to), plan.event))
    return [episode for episode in found if episode[0] < episode[1]]


def _first_flight(store: "FactStore", aircraft: str, instant: int) -> int:
    """The landing of the first flight of an aircraft at or after an instant; MAX_INSTANT without one."""
    flights = store.filed(aircraft, "flown")
    place = bisect_left(flights, instant, key=itemgetter(0))
    return flights[place].at if place < len(flights) else MAX_INSTANT
