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
from scheduler.facts.jobs import Plan, covering, plans_for
from scheduler.facts.papers import sort_of
from scheduler.facts.timeline import Segment, Trail, events_of, trail_of
from scheduler.fleet.fleet import Item

if TYPE_CHECKING:
    from scheduler.facts.fact_store import FactStore, Lifetime

JOB = ("job",)
FREE = word()
"""Words made up from names: for texts, not for comparing."""
PARTS = ("propellers", "gimbal", "guards")


def candidates(book: "FactStore", plan: Plan, instant: int) -> list[str]:
    """The aircraft that could fly a job: the one that it names, or else each in service, as known at an instant."""
    crafts = _crafts(book, plan)
    return [name for name in crafts if name == plan.aircraft or _in_service(book, book.fleet[name], plan, instant)]


def _in_service(book: "FactStore", item: Item, plan: Plan, instant: int) -> bool:
    """True for what will have come when a job starts, and is not retired at an instant."""
    return book.in_service(item, instant, max(instant, plan.starts))


def _crafts(book: "FactStore", plan: Plan) -> list[str]:
    """The aircraft that a plan names, or else all of the fleet."""
    name = str(plan.aircraft)
    return [name] if book.fleet.kind(name) == "aircraft" else book.fleet.ids("aircraft")


def needed(book: "FactStore", plan: Plan, instant: int) -> list[Item]:
    """The aircraft that a plan names, the parts on it at an instant (guards only where the job is near people), and
    what controls it."""
    craft = str(plan.aircraft)
    kinds = PARTS if plan.event.get("near_people") else PARTS[:2]
    parts = [part for part in parts_of(book, craft, *kinds) if _fitted(book, part, craft, instant)]
    controllers = [each for each in controllers_for(book, craft) if _in_service(book, each, plan, instant)]
    return [book.fleet[craft], *parts, *controllers]


def _fitted(book: "FactStore", part: Item, aircraft: str, instant: int) -> bool:
    return any(craft == aircraft and start <= instant < end for start, end, craft in fittings(book, part))


def papers_for(book: "FactStore", aircraft: str | None) -> list[Item]:
    """The papers that a flight needs: the pilot's, those of no one in particular, and the aircraft's own. Waivers are
    needed in some places only, so they are no part of this."""

    def find() -> list[Item]:
        names = [*book.fleet.papers_of(None), *(book.fleet.papers_of(aircraft) if aircraft is not None else ())]
        return [paper for paper in map(book.fleet.__getitem__, names) if sort_of(paper) != "waiver"]

    return book.once(("papers for", aircraft), find)  # type: ignore[return-value]


Look = Callable[[Plan, int], object]
Turns = Callable[[Plan, int, int], Iterator[int]]


def _steps(life: "Lifetime", look: Look, turns: Turns) -> list[Segment]:
    """A fact of a job that `look(plan, instant)` tells, looked at anew at each of `turns(plan, start, end)` while the
    plan stands and its job has not begun."""
    pieces = []
    for plan in plans_for(life.book, life.item):
        end = min(plan.known_to, plan.starts)
        for turn in sorted({plan.known_from, *turns(plan, plan.known_from, end)}):
            pieces.append(Segment(turn, look(plan, turn), None, (plan.event, None)))  # type: ignore[arg-type]
        pieces.append(Segment(max(end, plan.known_from), None))
    return pieces


@fact("airtime_covered", JOB, PERCENT, "What its packs hold down to the reserve, of the airtime booked (estimate).",
      unknown="no airtime booked, or no flight with the charge at landing")  # fmt: skip
def airtime_covered(life: "Lifetime") -> list[Segment]:
    """A pack that tells nothing of itself is taken to last as its sisters do. Of a job for no one aircraft it is told
    for the one that can take it and lasts longest."""
    book = life.book

    def turns(plan: Plan, start: int, end: int) -> Iterator[int]:
        for craft in _crafts(book, plan):
            for pack in packs_for(book, craft):
                for name in ("usable", "grounded", "endurance"):
                    yield from book.fact(pack, name).starts_in(start, end)
        if plan.aircraft is None:
            yield from _turns(book, plan, start, end)

    def look(plan: Plan, instant: int) -> object:
        minutes = plan.event.get("airtime_minutes")
        if minutes is None:
            return None
        crafts = candidates(book, plan, instant) or _crafts(book, plan)
        fit = [craft for craft in crafts if not grounded_at(book, plan.flown_with(craft), instant)]
        lasts = [_airtime(book, craft, instant) for craft in fit or crafts]
        known = [each for each in lasts if each is not None]
        return 100 * max(known) / (float(minutes) * MINUTE) if known else None

    return _steps(life, look, turns)


def _airtime(book: "FactStore", aircraft: str, instant: int) -> float | None:
    """How long the fit packs of an aircraft last together, down to the reserve; None where none of them tells."""
    packs = [pack for pack in packs_for(book, aircraft) if fit_to_fly(book, pack, instant)]
    told = [book.fact(pack, "endurance").at(instant) for pack in packs]
    known = [int(each) for each in told if each is not None]
    if packs and not known:
        return None
    return sum(known) * len(packs) / len(known) if known else 0


def fit_to_fly(book: "FactStore", pack: Item, instant: int) -> bool:
    """True when a pack is in service and nothing grounds it."""
    return book.fact(pack, "usable").at(instant) == "yes" and book.fact(pack, "grounded").at(instant) != "yes"


class Unfit(NamedTuple):
    """Something that a flight needs and that is not fit for it: why, and the entries that tell so."""

    item: str
    why: str
    trail: Trail = None


def grounded_at(book: "FactStore", plan: Plan, instant: int) -> list[Unfit]:
    """What a plan needs, packs apart, and is grounded at an instant; its aircraft where that is not in service."""
    craft, *rest = needed(book, plan, instant)
    if not _in_service(book, craft, plan, instant):
        return [Unfit(craft.id, "not in service")]
    return [each for item in (craft, *rest) if (each := _grounded(book, item, instant))]


def _grounded(book: "FactStore", item: Item, instant: int) -> Unfit | None:
    """An item with the first of its grounds at an instant; None where there is none."""
    piece = book.fact(item, "grounded").piece(instant)
    if piece.value != "yes":
        return None
    why = next(words for name, words in GROUNDS[item.kind].items() if book.fact(item, name).at(instant) == "yes")
    return Unfit(item.id, why, piece.trail)


def grounded_packs(book: "FactStore", plan: Plan, instant: int) -> list[Unfit]:
    """The packs for the aircraft of a plan, where each of them is grounded at an instant, or none is in service."""
    packs = packs_for(book, plan.aircraft)
    down = [_grounded(book, pack, instant) for pack in packs if _in_service(book, pack, plan, instant)]
    if None in down:
        return []
    gone = [Unfit(pack.id, "not in service", book.fact(pack, "retired").piece(instant).trail) for pack in packs]
    return [each for each in down if each is not None] or gone


def lapsing(book: "FactStore", plan: Plan, instant: int) -> list[Unfit]:
    """The papers that a plan needs and that, as known at an instant, will have lapsed when it starts."""
    found = []
    for paper in papers_for(book, plan.aircraft):
        end = good_until(book, paper, instant)
        if end is not None and end <= plan.starts:
            trail = book.fact(paper, "days_to_expiry").piece(instant).trail
            found.append(Unfit(paper.id, "will have lapsed", trail))
    return found


def good_until(book: "FactStore", paper: Item, instant: int) -> int | None:
    """The end of a paper's last good day, as known at an instant; None where no renewal is on record."""
    piece = book.fact(paper, "days_to_expiry").piece(instant)
    return None if piece.value is None else piece.start + int(piece.value)


class Hindered(NamedTuple):
    """What keeps every aircraft that could fly a job from it: what is grounded, and the papers that lapse."""

    grounded: list[Unfit]
    lapsing: list[Unfit]


def hindered(book: "FactStore", plan: Plan, instant: int) -> Hindered:
    """What keeps a job from being flown as things stand at an instant: nothing where one aircraft could take it."""
    grounded: dict[str, Unfit] = {}
    lapsed: dict[str, Unfit] = {}
    for craft in candidates(book, plan, instant) or _crafts(book, plan):
        its = plan.flown_with(craft)
        down = [*grounded_at(book, its, instant), *grounded_packs(book, its, instant)]
        papers = lapsing(book, its, instant)
        if not down and not papers:
            return Hindered([], [])
        grounded |= {each.item: each for each in down}
        lapsed |= {each.item: each for each in papers}
    return Hindered(list(grounded.values()), list(lapsed.values()))


def _turns(book: "FactStore", plan: Plan, start: int, end: int) -> Iterator[int]:
    """Where within (start, end) anything that `hindered` asks about may change."""
    for craft in _crafts(book, plan):
        parts = parts_of(book, craft, *PARTS)
        for item in (book.fleet[craft], *parts, *controllers_for(book, craft), *packs_for(book, craft)):
            for name in ("grounded", "age", "retired"):
                yield from book.fact(item, name).starts_in(start, end)
        for part in parts:
            yield from (turn for fitting in fittings(book, part) for turn in fitting[:2] if start < turn < end)
        for paper in papers_for(book, craft):
            yield from book.fact(paper, "days_to_expiry").starts_in(start, end)


def _told(life: "Lifetime", tell: Callable[[Hindered], object]) -> list[Segment]:
    """A fact of a job that tells something of what keeps it from being flown."""

    def look() -> list[Segment]:
        return _steps(life, partial(hindered, life.book), partial(_turns, life.book))

    return [_told_piece(piece, tell) for piece in life.once("hindered", look)]  # type: ignore[attr-defined]


def _told_piece(piece: Segment, tell: Callable[[Hindered], object]) -> Segment:
    found: Hindered | None = piece.value  # type: ignore[assignment]
    if found is None:
        return piece
    events = [event for each in (*found.grounded, *found.lapsing) for event in events_of(each.trail)]
    return piece._replace(value=tell(found), trail=trail_of([*events_of(piece.trail), *events]))  # type: ignore[arg-type]


@fact(
    "grounded_items",
    JOB,
    count("item"),
    "Items that it needs and that are grounded: aircraft, parts, controllers, all packs; where it names no aircraft, "
    "those of all once none could take it.",
)
def grounded_items(life: "Lifetime") -> list[Segment]:
    """Counted as the plan stands."""
    return _told(life, lambda found: len(found.grounded))


@fact(
    "papers_lapsing",
    JOB,
    count("paper"),
    "Papers that it needs and that will have lapsed when it starts, waivers apart; where it names no aircraft, those "
    "of all once none could take it.",
)
def papers_lapsing(life: "Lifetime") -> list[Segment]:
    """Judged at the job's start."""
    return _told(life, lambda found: len(found.lapsing))


@fact("not_fit", JOB, FREE, "What it needs and is not fit, in words.")
def not_fit(life: "Lifetime") -> list[Segment]:
    """For texts."""

    def words(found: Hindered) -> str:
        return "; ".join(f"{each.item} ({each.why})" for each in (*found.grounded, *found.lapsing)) or "nothing"

    return _told(life, words)


@fact("unlogged", JOB, FLAG, "It has ended, and no flight of its aircraft since its start is logged.")
def unlogged(life: "Lifetime") -> list[Segment]:
    """From its end, as last planned, to the next flight that counts for it."""
    return covering(unlogged_stretches(life.book, plans_for(life.book, life.item)))


def unlogged_stretches(book: "FactStore", plans: list[Plan]) -> list[tuple[int, int, Event]]:
    """From when to when the plans of a job had ended without a flight, each with its booking; DUSK where none came."""
    found = []
    for plan in plans:
        if plan.known_to <= plan.ends or plan.known_from > plan.ends:
            continue
        crafts = [plan.aircraft] if str(plan.aircraft) in book.fleet else book.fleet.ids("aircraft")
        first = min((_first_flight(book, str(craft), plan.starts) for craft in crafts), default=MAX_INSTANT)
        found.append((plan.ends, min(first, plan.known_to), plan.event))
    return [stretch for stretch in found if stretch[0] < stretch[1]]


def _first_flight(book: "FactStore", aircraft: str, instant: int) -> int:
    """The landing of the first flight of an aircraft at or after an instant; DUSK without one."""
    flights = book.filed(aircraft, "flown")
    place = bisect_left(flights, instant, key=itemgetter(0))
    return flights[place].at if place < len(flights) else MAX_INSTANT
