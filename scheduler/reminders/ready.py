"""Can I fly, with which packs, for about how many minutes, and what comes first.

Answers `shelfbell ready`; the messages on a job's eve and morning use it.
"""

from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT
from scheduler.cells.energy import minutes_to_charge
from scheduler.cells.estimate import Estimate, median
from scheduler.events.event import Event
from scheduler.facts.charge import is_calculated
from scheduler.facts.condition import reason_grounded
from scheduler.facts.fact_store import FactStore
from scheduler.facts.fitting import packs_for
from scheduler.facts.flight_time import RESERVE, legs
from scheduler.facts.job_requirements import candidates, fit_to_fly, good_until, grounded_items_at, items_needed
from scheduler.facts.jobs import Plan, all_jobs, find_job
from scheduler.facts.pack import may_have_been_knocked
from scheduler.facts.papers import sort_of
from scheduler.facts.service import in_service, retired_at
from scheduler.facts.travel import energy_of
from scheduler.fleet.fleet import Item
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Verdict, verdicts

FULL = 95.0
"""Percent from which a pack counts as charged for a job. Common practice, no source."""
RECENT = 9
"""Flights of a pack, the last ones, from which its minutes are estimated."""


class Todo(NamedTuple):
    """An open reminder on something that a flight needs, with its urgency."""

    rule: str
    item: str
    title: str
    urgency: str


class PackState(NamedTuple):
    """A pack that may fly, with its charge and minutes.

    `charge`: percent, None unknown. `reckoned`: it is an estimate. `now`, `full`: minutes down to the reserve.
    """

    item: str
    charge: float | None
    reckoned: bool
    now: Estimate | None
    full: Estimate | None

    @property
    def is_full(self) -> bool:
        """True if it need not be charged for a job."""
        return self.charge is not None and self.charge >= FULL


class Paper(NamedTuple):
    """A paper that is not valid on the day.

    `until`: the end of its last valid day, None if none is on record.
    """

    item: str
    until: int | None
    waiver: bool


class Ready(NamedTuple):
    """What is known about one aircraft for a job or, if `job` is None, a flight now.

    `blockers`: what has to be settled before anything flies. `open_first`: what is better done. `left_behind`: packs
    not to take, with the reason. `minutes`: of all packs as they are, down to the reserve; `if_full`: once all are
    charged. `charging`: minutes that charging takes. `unsure`: packs that may have been in a mishap. `unfit_chargers`:
    those with an open doubt after a finding.
    """

    aircraft: str
    job: str | None
    plan: Plan
    blockers: list[str]
    open_first: list[Todo]
    packs: list[PackState]
    left_behind: list[tuple[str, str]]
    papers: list[Paper]
    minutes: Estimate | None
    if_full: Estimate | None
    charging: Estimate | None
    unsure: list[str]
    unfit_chargers: list[str]

    @property
    def ready(self) -> bool:
        """True if nothing on record forbids a flight and a pack is there.

        It does not mean fit to fly.
        """
        return not self.blockers and bool(self.packs)

    @property
    def booked(self) -> float | None:
        """Minutes in the air that were booked; None if the entry gives none."""
        minutes = self.plan.event.get("airtime_minutes")
        return None if minutes is None else float(minutes)


def next_job(store: FactStore, now: int) -> str | None:
    """Return the job that starts next, as known at an instant; None without one."""
    plans = [
        (plan.starts, job.name) for job in all_jobs(store).values() if (plan := job.plan_at(now)) and plan.starts > now
    ]
    return min(plans)[1] if plans else None


def ready_for(store: FactStore, rules: Ruleset | None, now: int, job: str | None = None) -> list[Ready]:
    """Return the answer for the job's aircraft, or for all in service without one."""
    booked = find_job(store, job) if job else None
    plan = (booked.plan_at(now) if booked else None) or Plan(
        now, MAX_INSTANT, now, now, Event(now, now, "", 0, "booked", {})
    )
    return [_ready(store, rules, now, job, plan.flown_with(aircraft)) for aircraft in candidates(store, plan, now)]


def other_ready(store: FactStore, rules: Ruleset | None, now: int, answer: Ready) -> list[Ready]:
    """Return the answers for other aircraft that are ready."""
    crafts = (name for name in store.fleet.ids("aircraft") if name != answer.aircraft)
    found = [_ready(store, rules, now, answer.job, answer.plan.flown_with(name)) for name in crafts]
    return [each for each in found if each.ready]


def _ready(store: FactStore, rules: Ruleset | None, now: int, job: str | None, plan: Plan) -> Ready:
    items = items_needed(store, plan, now)
    packs = [pack for pack in packs_for(store, plan.aircraft) if in_service(store, pack, now, now)]
    opened = open_verdicts(store, rules, now, [*items, *packs, *_pilots(store)])
    flying = [pack for pack in packs if fit_to_fly(store, pack, now) and not _grounding(opened, pack)]
    states = [_state(store, pack, packs, plan, now) for pack in flying]
    papers = _papers(store, plan, now)
    return Ready(
        str(plan.aircraft), job, plan,
        blockers=_blockers(store, plan, now, items, opened, papers),
        open_first=_first(opened, items, packs, now),
        packs=states,
        left_behind=[(pack.id, _why_left(store, pack, opened, now)) for pack in packs
                     if pack not in flying and store.fact(pack, "handed_in").at(now) != "yes"],
        papers=papers,
        minutes=_sum([state.now for state in states]),
        if_full=_sum([state.full for state in states]),
        charging=_charging(store, [state for state in states if not state.is_full], now),
        unsure=[pack.id for pack in flying if may_have_been_knocked(store, pack, now)],
        unfit_chargers=[charger.id for charger in _chargers(store, now) if _unfit(store, charger, now)],
    )  # fmt: skip


def _pilots(store: FactStore) -> list[Item]:
    return [store.fleet[name] for name in store.fleet.ids("pilot")]


def open_verdicts(store: FactStore, rules: Ruleset | None, now: int, items: list[Item]) -> list[Verdict]:
    """Return the verdicts on some items whose reminders are open, jobs excepted."""
    if rules is None:
        return []
    found = verdicts(store, rules, [item.id for item in items])
    return [verdict for verdict in found if verdict.item.kind != "job" and verdict.open_at(now)]


def _grounding(opened: list[Verdict], item: Item) -> list[Verdict]:
    return [verdict for verdict in opened if verdict.rule.grounds and verdict.item.id == item.id]


def _blockers(
    store: FactStore, plan: Plan, now: int, items: list[Item], opened: list[Verdict], papers: list[Paper]
) -> list[str]:
    grounded = grounded_items_at(store, plan, now)
    found = [f"{each.item} {each.why}" for each in grounded]
    for item in [*items, *_pilots(store)]:
        if item.id not in [each.item for each in grounded]:
            found += [f"{item.id} ({verdict.rule.title.lower()})" for verdict in _grounding(opened, item)]
    return found + [
        f"{paper.item} will have lapsed" for paper in papers if paper.until is not None and not paper.waiver
    ]


def _first(opened: list[Verdict], items: list[Item], packs: list[Item], now: int) -> list[Todo]:
    """Return what is open on aircraft, parts, controller and pilot but lets it fly."""
    open_packs = {pack.id for pack in packs}
    calm = [verdict for verdict in opened if not verdict.rule.grounds and verdict.item.id not in open_packs]
    order = {item.id: place for place, item in enumerate(items)}
    calm.sort(key=lambda verdict: order.get(verdict.item.id, len(order)))
    return [Todo(each.rule.id, each.item.id, each.rule.title, each.urgency(now)) for each in calm]


def _why_left(store: FactStore, pack: Item, opened: list[Verdict], now: int) -> str:
    titles = [verdict.rule.title.lower() for verdict in _grounding(opened, pack)]
    return reason_grounded(store.lifetimes(pack)[-1], now) or next(iter(titles), "nothing on record of it")


def _state(store: FactStore, pack: Item, sisters: list[Item], plan: Plan, now: int) -> PackState:
    segment = store.fact(pack, "charge").segment(now)
    charge = segment.at(now)
    rates = _rates(store, pack, str(plan.aircraft), now)
    basis = f"its last {len(rates)} flights" if len(rates) > 1 else "its last flight"
    if not rates:
        rates = [rate for sister in sisters for rate in _rates(store, sister, str(plan.aircraft), now)]
        basis = "its sisters' flights"

    def lasting(percent: object) -> Estimate | None:
        if not rates or not isinstance(percent, int | float):
            return None
        span = max(0.0, float(percent) - RESERVE)
        return Estimate(median(rates) * span, min(rates) * span, max(rates) * span, basis)

    held = float(charge) if isinstance(charge, int | float) else None
    return PackState(pack.id, held, is_calculated(segment, now, pack.plate), lasting(held), lasting(100))


def _rates(store: FactStore, pack: Item, aircraft: str, now: int) -> list[float]:
    """Return minutes per percent of charge on the last flights with an aircraft."""
    rates = [leg.rate for leg in legs(store.lifetimes(pack)[-1]) if leg.aircraft == aircraft and leg.event.at <= now]
    return rates[-RECENT:]


def _sum(parts: list[Estimate | None]) -> Estimate | None:
    """Add the known estimates, None without any; the range is wider than likely."""
    known = [part for part in parts if part is not None]
    if not known:
        return None
    basis = "the packs' last flights" if len(known) == len(parts) else f"{len(known)} of {len(parts)} packs"
    return Estimate(sum(e.value for e in known), sum(e.low for e in known), sum(e.high for e in known), basis)


def _chargers(store: FactStore, now: int) -> list[Item]:
    """Return the chargers in service."""
    chargers = (store.fleet[name] for name in store.fleet.ids("charger"))
    return [charger for charger in chargers if in_service(store, charger, now, now)]


def _unfit(store: FactStore, charger: Item, now: int) -> bool:
    return store.fact(charger, "found_unfit").at(now) == "yes"


def _charging(store: FactStore, states: list[PackState], now: int) -> Estimate | None:
    """Return the minutes to charge packs on the fit charger with most ports, or None.

    None if that cannot be known.
    """
    chargers = [each for each in _chargers(store, now) if each.plate.get("power") and not _unfit(store, each, now)]
    if not chargers or not states or any(state.charge is None for state in states):
        return None
    best = max(chargers, key=lambda charger: int(charger.plate["ports"]))
    ports, watts = int(best.plate["ports"]), float(best.plate["power"])
    times = [minutes_to_charge(energy_of(store.fleet[s.item]), s.charge or 0.0, 100, watts) for s in states]
    times.sort(reverse=True)
    rounds = times[::ports]
    basis = f"{len(rounds)} rounds on {best.id}" if len(rounds) > 1 else f"one round on {best.id}"
    return Estimate(sum(t.value for t in rounds), sum(t.low for t in rounds), sum(t.high for t in rounds), basis)


def _papers(store: FactStore, plan: Plan, now: int) -> list[Paper]:
    """Return the papers not valid at the job's start, and those without an entry."""
    found = []
    for name in store.fleet.ids("paper"):
        paper = store.fleet[name]
        owner = str(paper.plate.get("of"))
        if retired_at(store, paper) <= now or (store.fleet.kind(owner) == "aircraft" and owner != plan.aircraft):
            continue
        until = good_until(store, paper, now)
        if until is None or until <= plan.starts:
            found.append(Paper(name, until, sort_of(paper) == "waiver"))
    return found
