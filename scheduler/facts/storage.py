"""Facts of packs on the shelf: where their charge is heading, for what they were charged, who does the work."""

from itertools import pairwise
from operator import itemgetter
from typing import TYPE_CHECKING

from scheduler.events.log import Event
from scheduler.facts.charge import charge_fold
from scheduler.facts.condition import since_last
from scheduler.facts.declare import fact
from scheduler.facts.jobs import Plan, covering, plans_for
from scheduler.facts.pack import PACK
from scheduler.facts.timeline import FALLING, NEVER, Piece
from scheduler.instants import DAY, DUSK, HOUR
from scheduler.units import FLAG, RATIO, SPAN

if TYPE_CHECKING:
    from scheduler.facts.book import Book, Life

LOW = 20
"""Percent that a stored pack should not sink to: the conservative empty of the trade."""
FOR_A_JOB = 48 * HOUR
"""A charge so long before a job's start was for that job. Common practice, no source."""
SHARE_OVER = 90 * DAY
"""The stretch over which packs share the work."""
LEAST_WORK = 60.0
"""Minutes a pack in that stretch below which shares tell nothing. Common practice, no source."""


@fact("going_low_in", PACK, SPAN, f"Time until self-discharge will have brought it to {LOW} % (estimate).",
      unknown="no charge, reading or flight tells what it holds",
      record="shelfbell log measured {item} PERCENT")  # fmt: skip
def going_low_in(life: "Life") -> list[Piece]:
    """From the nameplate's self_discharge; never while the pack empties itself, charges or flies."""
    loss = float(life.item.plate["self_discharge"]) / (30 * DAY)
    pieces = []
    for piece in charge_fold(life).pieces:
        value: int | float | None = None
        if piece.value is not None:
            falls = loss > 0 and piece.slope is not None and abs(piece.slope[0] / piece.slope[1] + loss) <= 1e-9 * loss
            value = round((float(piece.value) - LOW) / loss) if falls else NEVER
        pieces.append(Piece(piece.start, value, FALLING if isinstance(value, int) else None, piece.trail))
    return pieces


@fact("since_charged", PACK, SPAN, "Time since its last charge; never before the first.")
def since_charged(life: "Life") -> list[Piece]:
    """Rises from each charge."""
    return since_last(life.those("charged"))


@fact("charged_for_cancelled_job", PACK, FLAG, "The job that it was charged for was called off; it was not used since.")
def charged_for_cancelled_job(life: "Life") -> list[Piece]:
    """From the cancellation to the next charge, drain or flight."""
    handled = life.those("charged", "drained", "flown")
    found = []
    for cancelled, charged in _called_off(life, handled):
        end = next((event.at for event in handled if event.at > cancelled.at), DUSK)
        found.append((cancelled.at, end, charged))
    return covering(found)


def _called_off(life: "Life", handled: list[Event]) -> list[tuple[Event, Event]]:
    """The entries that took a plan back before it began, each with the charge that was made for it."""
    book = life.book
    found = []
    for plan in plans_for(book, life.item):
        off = _next_of(book, plan)
        if off is None or off.at > plan.ends:
            continue
        last = next((event for event in reversed(handled) if event.at <= off.at), None)
        if last and last.what == "charged" and last.at >= max(plan.known_from, plan.starts - FOR_A_JOB):
            found.append((off, last))
    return found


def _next_of(book: "Book", plan: Plan) -> Event | None:
    """The entry that took a plan back or its place."""
    job = book.job(str(plan.event.get("job")))
    return next((after for first, after in pairwise(job.events) if first.id == plan.event.id), None) if job else None


@fact("share_of_work", PACK, RATIO, "Its airtime over 90 days, over the mean of all that flew its aircraft.",
      unknown="too few flights of it and its sisters in 90 days")  # fmt: skip
def share_of_work(life: "Life") -> list[Piece]:
    """1 is an even share; known once it has been in use for the 90 days."""
    if life.born is None:
        return []
    crafts: list[str] = list(life.item.plate.get("fits") or ())
    flights = sorted((event for name in crafts for event in life.book.filed(name, "flown")), key=itemgetter(0))
    entering = [(event.at, 1, event) for event in flights]
    turns = sorted([*entering, *((at + SHARE_OVER, -1, event) for at, _, event in entering)], key=itemgetter(0, 1))
    flown: dict[str, float] = {life.item.id: 0.0}
    pieces = [Piece(life.born, None)]
    for at, sign, event in turns:
        for pack in event.get("packs"):
            flown[pack] = flown.get(pack, 0.0) + sign * float(event.fields["minutes"])
        if at >= life.born + SHARE_OVER:
            pieces.append(Piece(at, _share(flown, life.item.id)))
    return pieces


def _share(flown: dict[str, float], pack: str) -> float | None:
    """A pack's minutes over the mean of those that flew at all, itself among them."""
    counted = [minutes for name, minutes in flown.items() if minutes > 0.01 or name == pack]
    mean = sum(counted) / len(counted)
    return flown[pack] / mean if len(counted) > 1 and mean >= LEAST_WORK else None
