"""Say whether a job can be flown, for people and for programs."""

from typing import NamedTuple

from scheduler.answers.desk import Desk, no_such_job
from scheduler.base.findings import Refused
from scheduler.cells.estimate import Estimate
from scheduler.facts.fact_store import FactStore
from scheduler.facts.jobs import GRACE, Plan, all_jobs
from scheduler.reminders.ready import Ready, next_job, ready_for
from scheduler.reminders.ready_text import IN_THE_AIR, NEAR_PEOPLE, NONE_IN_SERVICE, sentences


class ReadyAnswer(NamedTuple):
    """The answer for a job (None: a flight now): one for each aircraft that could fly."""

    job: str | None
    aircraft: list[Ready]
    store: FactStore


def answer_ready(at: Desk, job: str | None = None) -> ReadyAnswer:
    """Return whether a booked job, the next one, or a flight now can be flown.

    Raises Refused.
    """
    store = at.store()
    named = _require_ahead(store, job, at) if job else next_job(store, at.now)
    return ReadyAnswer(named, ready_for(store, at.setup.rules, at.now, named), store)


def _require_ahead(store: FactStore, job: str, at: Desk) -> str:
    if job not in all_jobs(store):
        raise no_such_job(store, job, at.now)
    plan = all_jobs(store)[job].plan_at(at.now)
    if plan is None:
        raise Refused.because(f"{job} is not booked {at.say(at.now)}: it was cancelled, or is not booked yet")
    if over := _over(at, plan):
        raise Refused.because(
            f"{job} is over: it {over}. `shelfbell ready` answers for the next job, or for a flight now"
        )
    return job


def _over(at: Desk, plan: Plan) -> str:
    """Say when a job ended, or began if no end was booked; "" if it is not over."""
    if "ends" in plan.event.fields:
        return f"ended {at.say(plan.ends)}" if plan.ends <= at.now else ""
    return f"began {at.say(plan.starts)}" if plan.starts + GRACE <= at.now else ""


def to_text(at: Desk, found: ReadyAnswer) -> str:
    """Return the answer for people, a line a sentence."""
    if not found.aircraft:
        return NONE_IN_SERVICE
    blocks = []
    for answer in found.aircraft:
        head, *rest = sentences(found.store, at.setup.rules, at.now, answer, at.say)
        blocks.append("\n".join([head[0].upper() + head[1:], *(f"  - {line}" for line in rest)]))
    near = [NEAR_PEOPLE] if any(answer.plan.event.get("near_people") for answer in found.aircraft) else []
    closing = [*near, IN_THE_AIR, "Ready by the log does not mean fit to fly: your own look comes before each flight."]
    return "\n\n".join([*blocks, "\n".join(closing)])


def to_json(at: Desk, found: ReadyAnswer) -> dict[str, object]:
    """Return the answer for programs."""
    aircraft = [_aircraft_json(at, answer) for answer in found.aircraft]
    return {"at": at.stamp(at.now), "job": found.job, "aircraft": aircraft}


def _aircraft_json(at: Desk, answer: Ready) -> dict[str, object]:
    return {
        "aircraft": answer.aircraft,
        "ready": answer.ready,
        "starts": at.stamp(answer.plan.starts) if answer.job else None,
        "keeps_down": answer.blockers,
        "first": [todo._asdict() for todo in answer.open_first],
        "packs": [
            {
                "item": p.item,
                "charge": p.charge,
                "reckoned": p.reckoned,
                "minutes": _estimate(p.now),
                "minutes_full": _estimate(p.full),
            }
            for p in answer.packs
        ],
        "charge": [pack.item for pack in answer.packs if not pack.is_full],
        "leave": [{"item": item, "why": why} for item, why in answer.left_behind],
        "unsure": answer.unsure,
        "unfit_chargers": answer.unfit_chargers,
        "minutes": _estimate(answer.minutes),
        "minutes_full": _estimate(answer.if_full),
        "booked_minutes": answer.booked,
        "charging_minutes": _estimate(answer.charging),
        "papers": [
            {"item": paper.item, "good_until": None if paper.until is None else at.stamp(paper.until)}
            for paper in answer.papers
        ],
    }


def _estimate(value: Estimate | None) -> dict[str, object] | None:
    return (
        None
        if value is None
        else {name: round(part, 1) if isinstance(part, float) else part for name, part in value._asdict().items()}
    )
