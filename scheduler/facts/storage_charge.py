"""Facts of packs on the shelf: how charge falls, and how they share the work."""

from collections.abc import Iterator
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

from scheduler.base.instants import DAY, HOUR, MAX_INSTANT, MINUTE
from scheduler.base.units import FLAG, SHARE, SPAN
from scheduler.events.event import Event
from scheduler.events.source import latest_and_after
from scheduler.facts.charge import charge_curve, self_discharge
from scheduler.facts.declare import PACK, fact
from scheduler.facts.event_times import airtime_of
from scheduler.facts.fact_store import FactStore, Lifetime
from scheduler.facts.jobs import Plan, find_job, plans_for
from scheduler.facts.shapes import covering, since_last
from scheduler.facts.timeline import FALLING, NEVER, Segment

LOW = 20
"""Percent below which a stored pack should not fall: the conservative "empty" of the trade."""
FOR_A_JOB = 48 * HOUR
"""A charge at most so long before a job's start was for that job. Common practice, no source."""
SHARE_OVER = 90 * DAY
"""The time over which packs share the work."""
LEAST_WORK = 60 * MINUTE
"""Airtime per pack in SHARE_OVER below which shares say nothing. Common practice, no source."""


@fact("going_low_in", PACK, SPAN, f"Time until self-discharge brings it down to {LOW} % (estimate).",
      unknown="no charge, reading or flight tells what it holds",
      record="shelfbell log measured {item} PERCENT", partial=True)  # fmt: skip
def going_low_in(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Divide by the self_discharge; never while it drains itself, charges or flies."""
    percent = float(lifetime.item.plate["self_discharge"])
    loss, falling = percent / (30 * DAY), self_discharge(percent)
    segments = []
    for start, value, slope, evidence in charge_curve(lifetime).segments(starting_at):
        if value is None:
            segments.append(Segment(start, None, None, evidence))
        elif slope is not None and slope == falling:
            segments.append(Segment(start, round((float(value) - LOW) / loss), FALLING, evidence))
        else:
            segments.append(Segment(start, NEVER, None, evidence))
    return segments


@fact("since_charged", PACK, SPAN, "Time since its last charge; never before the first.", partial=True)
def since_charged(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Rise from each charge."""
    return since_last(lifetime.of_kind("charged"), starting_at)


@fact("charged_for_cancelled_job", PACK, FLAG,
      "The job that it was charged for was called off, and it has not been charged, drained or flown since.",
      partial=True)  # fmt: skip
def charged_for_cancelled_job(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes from the cancellation to the next charge, drain or flight."""
    handled = lifetime.of_kind("charged", "drained", "flown")
    last = [event.at for event in latest_and_after(handled, starting_at)[:1]]
    intervals = []
    for cancelled, charged in _called_off(lifetime, handled, min([starting_at, *last])):
        end = next((event.at for event in handled if event.at > cancelled.at), MAX_INSTANT)
        intervals.append((cancelled.at, end, charged))
    return covering(intervals)


def _called_off(lifetime: Lifetime, handled: list[Event], starting_at: int) -> list[tuple[Event, Event]]:
    """Return what cancelled or moved a plan before its end, with the charge for it."""
    store = lifetime.store
    pairs = []
    for plan in plans_for(store, lifetime.item, starting_at):
        off = _next_of(store, plan) if plan.known_to <= plan.ends else None
        if off is None:
            continue
        last = next((event for event in reversed(handled) if event.at <= off.at), None)
        if last and last.what == "charged" and last.at >= max(plan.known_from, plan.starts - FOR_A_JOB):
            pairs.append((off, last))
    return pairs


def _next_of(store: FactStore, plan: Plan) -> Event | None:
    """Return the event that cancelled or replaced a plan."""
    job = find_job(store, str(plan.event.get("job")))
    return next((after for first, after in pairwise(job.events) if first.id == plan.event.id), None) if job else None


@fact("share_of_work", PACK, SHARE, "Its airtime in 90 days, over the mean of all packs that flew its aircraft.",
      unknown="too few flights of it and the packs like it in 90 days", partial=True)  # fmt: skip
def share_of_work(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Divide; 1 is an even share. Known once the pack has been in use for the 90 days."""
    if lifetime.born is None:
        return []
    own, segments = 0, [Segment(lifetime.born, None)]
    for at, changed, flown, packs in _work(lifetime.store, tuple(lifetime.item.plate.get("fits") or ()), starting_at):
        own = changed.get(lifetime.item.id, own)
        if at >= lifetime.born + SHARE_OVER:
            segments.append(Segment(at, _share(own, flown, packs)))
    return segments


class _Work(NamedTuple):
    """The work of the last 90 days as it is from `at` on.

    `changed`: the airtime of the packs for which it changed then. `flown`: the airtime of all packs together. `packs`:
    how many flew at all.
    """

    at: int
    changed: dict[str, int]
    flown: int
    packs: int


def _work(store: FactStore, crafts: tuple[str, ...], starting_at: int) -> list[_Work]:
    """Return the work of the packs that flew some aircraft: one sum for all of them."""
    return store.compute_once(("work", crafts, starting_at), lambda: list(_works(store, crafts, starting_at)))


def _works(store: FactStore, crafts: tuple[str, ...], starting_at: int) -> Iterator[_Work]:
    flights = sorted((event for name in crafts for event in store.filed(name, "flown")), key=itemgetter(0))
    flights = latest_and_after(flights, starting_at - SHARE_OVER)
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
    """Return a pack's airtime over the mean of those that flew at all, this included."""
    packs += not own
    return own * packs / flown if packs > 1 and flown >= LEAST_WORK * packs else None
