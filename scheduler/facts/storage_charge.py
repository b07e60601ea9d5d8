"""Facts of packs on the shelf: where their charge is heading, for what they were charged, who does the work."""

from collections.abc import Iterator
from itertools import pairwise
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

from scheduler.base.instants import DAY, HOUR, MAX_INSTANT, MINUTE
from scheduler.base.units import FLAG, RATIO, SPAN
from scheduler.events.event import Event
from scheduler.events.source import standing
from scheduler.facts.charge import charge_fold, self_discharge
from scheduler.facts.declare import fact
from scheduler.facts.event_times import airtime_of
from scheduler.facts.jobs import Plan, find_job, plans_for
from scheduler.facts.pack import PACK
from scheduler.facts.shapes import covering, since_last
from scheduler.facts.timeline import FALLING, NEVER, Segment

if TYPE_CHECKING:
    from scheduler.facts.fact_store import FactStore, Lifetime

LOW = 20
"""Percent that a stored pack should not sink to: the conservative empty of the trade."""
FOR_A_JOB = 48 * HOUR
"""A charge so long before a job's start was for that job. Common practice, no source."""
SHARE_OVER = 90 * DAY
"""The stretch over which packs share the work."""
LEAST_WORK = 60 * MINUTE
"""Airtime a pack in that stretch below which shares tell nothing. Common practice, no source."""


@fact("going_low_in", PACK, SPAN, f"Time until self-discharge will have brought it to {LOW} % (estimate).",
      unknown="no charge, reading or flight tells what it holds",
      record="shelfbell log measured {item} PERCENT", partial=True)  # fmt: skip
def going_low_in(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """From the nameplate's self_discharge; never while the pack empties itself, charges or flies."""
    percent = float(lifetime.item.plate["self_discharge"])
    loss, falling = percent / (30 * DAY), self_discharge(percent)
    segments = []
    for start, value, slope, trail in charge_fold(lifetime).segments(starting_at):
        if value is None:
            segments.append(Segment(start, None, None, trail))
        elif slope is not None and slope == falling:
            segments.append(Segment(start, round((float(value) - LOW) / loss), FALLING, trail))
        else:
            segments.append(Segment(start, NEVER, None, trail))
    return segments


@fact("since_charged", PACK, SPAN, "Time since its last charge; never before the first.", partial=True)
def since_charged(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """Rises from each charge."""
    return since_last(lifetime.of_kind("charged"), starting_at)


@fact(
    "charged_for_cancelled_job",
    PACK,
    FLAG,
    "The job that it was charged for was called off; it was not used since.",
    partial=True,
)
def charged_for_cancelled_job(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """From the cancellation to the next charge, drain or flight."""
    handled = lifetime.of_kind("charged", "drained", "flown")
    told = [event.at for event in standing(handled, starting_at)[:1]]
    found = []
    for cancelled, charged in _called_off(lifetime, handled, min([starting_at, *told])):
        end = next((event.at for event in handled if event.at > cancelled.at), MAX_INSTANT)
        found.append((cancelled.at, end, charged))
    return covering(found)


def _called_off(lifetime: "Lifetime", handled: list[Event], starting_at: int) -> list[tuple[Event, Event]]:
    """The entries that took a plan back before it began, each with the charge that was made for it; those before
    `since` may be left out."""
    store = lifetime.store
    found = []
    for plan in plans_for(store, lifetime.item, starting_at):
        off = _next_of(store, plan) if plan.known_to <= plan.ends else None
        if off is None:
            continue
        last = next((event for event in reversed(handled) if event.at <= off.at), None)
        if last and last.what == "charged" and last.at >= max(plan.known_from, plan.starts - FOR_A_JOB):
            found.append((off, last))
    return found


def _next_of(store: "FactStore", plan: Plan) -> Event | None:
    """The entry that took a plan back or its place."""
    job = find_job(store, str(plan.event.get("job")))
    return next((after for first, after in pairwise(job.events) if first.id == plan.event.id), None) if job else None


@fact("share_of_work", PACK, RATIO, "Its airtime over 90 days, over the mean of all that flew its aircraft.",
      unknown="too few flights of it and its sisters in 90 days", partial=True)  # fmt: skip
def share_of_work(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """1 is an even share; known once it has been in use for the 90 days."""
    if lifetime.born is None:
        return []
    own, segments = 0, [Segment(lifetime.born, None)]
    for at, changed, flown, packs in _work(lifetime.store, tuple(lifetime.item.plate.get("fits") or ()), starting_at):
        own = changed.get(lifetime.item.id, own)
        if at >= lifetime.born + SHARE_OVER:
            segments.append(Segment(at, _share(own, flown, packs)))
    return segments


class _Work(NamedTuple):
    """The work of 90 days from an instant on. `changed`: the airtime of the packs for which it became another then;
    `flown`: the airtime of all packs together; `packs`: how many flew at all."""

    at: int
    changed: dict[str, int]
    flown: int
    packs: int


def _work(store: "FactStore", crafts: tuple[str, ...], starting_at: int) -> list[_Work]:
    """The work of the packs that flew some aircraft, as it is from an instant on: one sum for all of them."""
    return store.cached(("work", crafts, starting_at), lambda: list(_works(store, crafts, starting_at)))


def _works(store: "FactStore", crafts: tuple[str, ...], starting_at: int) -> Iterator[_Work]:
    flights = sorted((event for name in crafts for event in store.filed(name, "flown")), key=itemgetter(0))
    flights = standing(flights, starting_at - SHARE_OVER)
    entering = [(event.at, airtime_of(event), event) for event in flights]
    leaving = [(at + SHARE_OVER, -airtime, event) for at, airtime, event in entering]
    airtimes: dict[str, int] = {}
    flown = packs = 0
    for at, airtime, event in sorted([*entering, *leaving], key=itemgetter(0)):
        for pack in event.fields["packs"]:
            before = airtimes.get(pack, 0)
            airtimes[pack] = before + airtime
            flown += airtime
            packs += (before + airtime > 0) - (before > 0)
        yield _Work(at, {pack: airtimes[pack] for pack in event.fields["packs"]}, flown, packs)


def _share(own: int, flown: int, packs: int) -> float | None:
    """A pack's airtime over the mean of those that flew at all, itself among them."""
    packs += not own
    return own * packs / flown if packs > 1 and flown >= LEAST_WORK * packs else None
