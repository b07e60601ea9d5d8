"""Facts of jobs: what they need, against what is fit."""

from bisect import bisect_left
from collections.abc import Callable, Iterator
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

from scheduler.facts.condition import GROUNDS
from scheduler.facts.declare import fact
from scheduler.facts.fitting import fittings, packs_for, parts_of
from scheduler.facts.jobs import Plan, covering, plans_for
from scheduler.facts.papers import sort_of
from scheduler.facts.timeline import Piece, Timeline
from scheduler.fleet.fleet import Item
from scheduler.instants import DUSK, MINUTE
from scheduler.units import FLAG, PERCENT, count, word

if TYPE_CHECKING:
    from scheduler.facts.book import Book, Life

JOB = ("job",)
FREE = word()
"""Words made up from names: for texts, not for comparing."""
PARTS = ("propellers", "gimbal", "guards")


def needed(book: "Book", plan: Plan, instant: int) -> list[Item]:
    """The aircraft of a plan with the parts on it at an instant; guards only where the job is near people."""
    if plan.aircraft is None or plan.aircraft not in book.fleet:
        return []
    kinds = PARTS if plan.event.get("near_people") else PARTS[:2]
    parts = parts_of(book, plan.aircraft, *kinds)
    return [book.fleet[plan.aircraft], *(part for part in parts if _fitted(book, part, plan.aircraft, instant))]


def _fitted(book: "Book", part: Item, aircraft: str, instant: int) -> bool:
    return any(craft == aircraft and start <= instant < end for start, end, craft in fittings(book, part))


def papers_for(book: "Book", aircraft: str | None) -> list[Item]:
    """The papers that a flight needs: the pilot's, those of no one in particular, and the aircraft's own. Waivers are
    needed in some places only, so they are no part of this."""

    def find() -> list[Item]:
        names = [*book.fleet.papers_of(None), *(book.fleet.papers_of(aircraft) if aircraft is not None else ())]
        return [paper for paper in map(book.fleet.__getitem__, names) if sort_of(paper) != "waiver"]

    return book.once(("papers for", aircraft), find)  # type: ignore[return-value]


Look = Callable[[Plan, int], object]
Turns = Callable[[Plan], Iterator[Timeline]]


def _steps(life: "Life", look: Look, turns: Turns) -> list[Piece]:
    """A fact of a job that `look(plan, instant)` tells, looked at anew wherever a timeline turns while the plan stands
    and its job has not begun."""
    pieces = []
    for plan in plans_for(life.book, life.item):
        end = min(plan.known_to, plan.starts)
        found = {plan.known_from}
        for timeline in turns(plan):
            found.update(timeline.starts_in(plan.known_from, end))
        for turn in sorted(found):
            pieces.append(Piece(turn, look(plan, turn), None, (plan.event, None)))  # type: ignore[arg-type]
        pieces.append(Piece(max(end, plan.known_from), None))
    return pieces


@fact("airtime_covered", JOB, PERCENT, "What its packs hold down to the reserve, of the airtime booked (estimate).",
      unknown="no airtime booked, or no flight with the charge at landing")  # fmt: skip
def airtime_covered(life: "Life") -> list[Piece]:
    """A pack that tells nothing of itself is taken to last as its sisters do."""
    book = life.book

    def turns(plan: Plan) -> Iterator[Timeline]:
        for pack in packs_for(book, plan.aircraft):
            yield from (book.fact(pack, name) for name in ("usable", "grounded", "endurance"))

    def look(plan: Plan, instant: int) -> object:
        minutes = plan.event.get("airtime_minutes")
        packs = [p for p in packs_for(book, plan.aircraft) if fit_to_fly(book, p, instant)]
        told = [book.fact(pack, "endurance").at(instant) for pack in packs]
        known = [int(each) for each in told if each is not None]
        if minutes is None or packs and not known:
            return None
        total = sum(known) * len(packs) / len(known) if known else 0
        return 100 * total / (float(minutes) * MINUTE)

    return _steps(life, look, turns)


def fit_to_fly(book: "Book", pack: Item, instant: int) -> bool:
    """True when a pack is in service and nothing grounds it."""
    return book.fact(pack, "usable").at(instant) == "yes" and book.fact(pack, "grounded").at(instant) != "yes"


class Grounded(NamedTuple):
    """An item that is grounded at an instant, and why."""

    item: str
    why: str


def grounded_at(book: "Book", plan: Plan, instant: int) -> list[Grounded]:
    """What a plan needs and what is grounded at an instant."""
    found = []
    for item in needed(book, plan, instant):
        for name, words in GROUNDS[item.kind].items():
            if book.fact(item, name).at(instant) == "yes":
                found.append(Grounded(item.id, words))
                break
    return found


def _needed_turns(life: "Life") -> Turns:
    book = life.book

    def turns(plan: Plan) -> Iterator[Timeline]:
        if plan.aircraft is None or plan.aircraft not in book.fleet:
            return iter(())
        items = [book.fleet[plan.aircraft], *parts_of(book, plan.aircraft, *PARTS)]
        return (book.fact(item, "grounded") for item in items)

    return turns


@fact("grounded_items", JOB, count("item"), "Items that it needs and that are grounded: the aircraft and its parts.")
def grounded_items(life: "Life") -> list[Piece]:
    """Counted as the plan stands."""
    book = life.book
    return _steps(life, lambda plan, at: len(grounded_at(book, plan, at)), _needed_turns(life))


def lapsing(book: "Book", plan: Plan, instant: int) -> list[Item]:
    """The papers that a plan needs and that, as known at an instant, will have lapsed when it starts."""
    ends = [(paper, good_until(book, paper, instant)) for paper in papers_for(book, plan.aircraft)]
    return [paper for paper, end in ends if end is not None and end <= plan.starts]


def good_until(book: "Book", paper: Item, instant: int) -> int | None:
    """The end of a paper's last good day, as known at an instant; None where no renewal is on record."""
    piece = book.fact(paper, "days_to_expiry").piece(instant)
    return None if piece.value is None else piece.start + int(piece.value)


def _paper_turns(life: "Life") -> Turns:
    book = life.book
    return lambda plan: (book.fact(paper, "days_to_expiry") for paper in papers_for(book, plan.aircraft))


@fact(
    "papers_lapsing",
    JOB,
    count("paper"),
    "Papers that it needs and that will have lapsed when it starts, waivers apart.",
)
def papers_lapsing(life: "Life") -> list[Piece]:
    """Judged at the job's start."""
    book = life.book
    return _steps(life, lambda plan, at: len(lapsing(book, plan, at)), _paper_turns(life))


@fact("not_fit", JOB, FREE, "What it needs and is not fit, in words.")
def not_fit(life: "Life") -> list[Piece]:
    """For texts."""
    book = life.book

    def look(plan: Plan, at: int) -> object:
        words = [f"{item} ({why})" for item, why in grounded_at(book, plan, at)]
        words += [f"{paper.id} (will have lapsed)" for paper in lapsing(book, plan, at)]
        return "; ".join(words) or "nothing"

    def turns(plan: Plan) -> Iterator[Timeline]:
        yield from _needed_turns(life)(plan)
        yield from _paper_turns(life)(plan)

    return _steps(life, look, turns)


@fact("unlogged", JOB, FLAG, "It has ended, and no flight of its aircraft since its start is logged.")
def unlogged(life: "Life") -> list[Piece]:
    """From its end, as last planned, to the next flight that counts for it."""
    book = life.book
    found = []
    for plan in plans_for(book, life.item):
        if plan.known_to <= plan.ends or plan.known_from > plan.ends:
            continue
        crafts = [plan.aircraft] if str(plan.aircraft) in book.fleet else book.fleet.ids("aircraft")
        first = min((_first_flight(book, str(craft), plan.starts) for craft in crafts), default=DUSK)
        found.append((plan.ends, min(first, plan.known_to), plan.event))
    return covering([stretch for stretch in found if stretch[0] < stretch[1]])


def _first_flight(book: "Book", aircraft: str, instant: int) -> int:
    """The landing of the first flight of an aircraft at or after an instant; DUSK without one."""
    flights = book.filed(aircraft, "flown")
    place = bisect_left(flights, instant, key=itemgetter(0))
    return flights[place].at if place < len(flights) else DUSK
