"""The answer of `ready`, in sentences."""

from collections.abc import Callable

from scheduler.base.instants import MINUTE, moment_near
from scheduler.base.text import listed
from scheduler.base.units import count, show, show_span
from scheduler.cells.estimate import Estimate
from scheduler.facts.fact_store import FactStore
from scheduler.facts.flight_time import RESERVE
from scheduler.facts.service import retired_at
from scheduler.reminders.ready import PackState, Paper, Ready, Todo, other_ready, ready_for
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Verdict

IN_THE_AIR = (
    "Look before each flight and at every change of packs. Come down with sideways movement, never straight into your "
    "own downwash. Do not trust obstacle sensors. On any warning, or when the pack says low: land, and do not take off "
    "again."
)
"""What practice teaches. The sideways descent keeps the rotors out of their own wake; common practice, no source."""
NEAR_PEOPLE = (
    "Near people: guards fitted and checked, sensors free of them. Guards do not make flying over people lawful "
    "(14 CFR 107.39)."
)
CHARGE = (
    "attended, on a hard surface, away from anything that burns and from your way out, packs cool, 0 to 40 C; stop on "
    "heat, smell or swelling"
)
NONE_IN_SERVICE = "There is no aircraft in service: fleet.yaml names them."
Say = Callable[[int], str]


def ready_text(verdict: Verdict, now: int) -> str:
    """Return a job's message: whether it can be flown, then what to do, line by line."""
    store, zone = verdict.store, verdict.store.clocks.zone
    answers = ready_for(store, verdict.rules, now, verdict.item.id)
    lines = [] if answers else [NONE_IN_SERVICE]
    for answer in answers:
        head, *rest = sentences(store, verdict.rules, now, answer, lambda at: moment_near(at, now, zone))
        lines += [head, *(f"- {line}" for line in rest)]
    near = [NEAR_PEOPLE] if answers and answers[0].plan.event.get("near_people") else []
    return "\n".join([*lines, *near, IN_THE_AIR])


def sentences(store: FactStore, rules: Ruleset | None, now: int, answer: Ready, say: Say) -> list[str]:
    """Return the answer for one aircraft, most important first."""
    found = [headline(answer, now, say)]
    if answer.blockers:
        found += _instead(other_ready(store, rules, now, answer), answer.job is not None)
    found += pack_sentences(answer)
    if answer.open_first:
        found.append(f"Open, and better done before you go: {'; '.join(map(_todo, answer.open_first))}.")
    found += fresh_propellers(store, answer, now)
    found += controller_sentences(store, answer, now)
    return found + paper_sentences(answer.papers, say)


def _todo(todo: Todo) -> str:
    return f"{todo.title.lower()} ({todo.item}, {todo.urgency.replace('_', ' ')})"


def headline(answer: Ready, now: int, say: Say) -> str:
    """Say whether the aircraft is ready as far as the log knows."""
    begun = "under way since " if answer.plan.starts <= now else ""
    when = f"{answer.job}, {begun}{say(answer.plan.starts)}: " if answer.job else ""
    if answer.blockers:
        return f"{when}do not fly {answer.aircraft} until this is settled: {'; '.join(answer.blockers)}."
    if not answer.packs:
        return f"{when}no reason on record not to fly {answer.aircraft}, but no pack for it is fit."
    if all(pack.charge is None for pack in answer.packs):
        holds = "pack holds" if len(answer.packs) == 1 else f"{_packs(answer)} hold"
        return f"{when}no reason on record not to fly {answer.aircraft}, but nothing tells how much its {holds}."
    if not answer.job and not any(pack.charge is not None and pack.charge > RESERVE for pack in answer.packs):
        return f"no reason on record not to fly {answer.aircraft}, but charge {_empty(answer)}."
    return f"{when}{answer.aircraft} ready as far as I know, {_packs(answer)}."


def _empty(answer: Ready) -> str:
    """Say what to charge where no pack is known to be above the reserve."""
    if len(answer.packs) == 1:
        return f"its pack first: it holds {answer.packs[0].charge:.0f} %"
    return f"first: none of its {_packs(answer)} is known to hold more than {RESERVE} %"


def _packs(answer: Ready) -> str:
    return show(len(answer.packs), count("pack"))


def _instead(answers: list[Ready], for_job: bool) -> list[str]:
    if not answers:
        return ["No other aircraft is ready: call the client."] if for_job else []
    said = [f"{each.aircraft} ({_packs(each)}{_about(each.if_full)})" for each in answers]
    return [f"No time? Take {' or '.join(said)}{', or call the client' if for_job else ''}."]


def _about(minutes: Estimate | None) -> str:
    return f", about {minutes.value:.0f} min when full" if minutes else ""


def pack_sentences(answer: Ready) -> list[str]:
    """Say which packs are full, which to charge, how long they last, which to leave."""
    full = [pack.item for pack in answer.packs if pack.is_full]
    rest = [pack for pack in answer.packs if not pack.is_full and pack.charge is not None]
    unread = [pack.item for pack in answer.packs if pack.charge is None]
    found = []
    if answer.unsure:
        found.append(
            f"{listed(answer.unsure)} may have taken a knock: a mishap names no pack. Before you charge or fly one, "
            "say which it was, or look at each a day or more after it (`shelfbell due`)."
        )
    if answer.unfit_chargers and rest:
        found.append(
            f"Do not charge with {listed(answer.unfit_chargers)}: what was found on it has not been put right."
        )
    found += [f"Full: {listed(full)}."] if full else []
    if rest and answer.job:
        time = (
            f" about {show_span(round(answer.charging.value) * MINUTE)}, {answer.charging.basis} (estimate);"
            if answer.charging
            else ""
        )
        found.append(f"To charge: {listed([_held(pack) for pack in rest])}:{time} {CHARGE}.")
    elif rest:
        found.append(f"Not full: {listed([_held(pack) for pack in rest])}.")
    if unread:
        found.append(f"Read first: {listed(unread)}; nothing on record tells the charge.")
    found += _minutes(answer)
    found += [f"Leave {item}: {why}." for item, why in answer.left_behind]
    return found


def _held(pack: PackState) -> str:
    return f"{pack.item} ({'about ' if pack.reckoned else ''}{pack.charge:.0f} %)"


def _minutes(answer: Ready) -> list[str]:
    if not answer.packs:
        return []
    full = all(pack.is_full for pack in answer.packs)
    lasting = answer.minutes if full or not answer.job else answer.if_full
    if lasting is None:
        return ["I cannot tell yet how long they last: log flights with the charge at landing."]
    when = "" if full or not answer.job else "Charged, "
    low, high = f"{lasting.low:.0f}", f"{lasting.high:.0f}"
    spread = f"{'' if low == high else f'{low} to {high}, '}estimate from {lasting.basis}"
    together = "in all, each pack " if len(answer.packs) > 1 else ""
    about = f"{when}about {lasting.value:.0f} min {together}down to {RESERVE} % ({spread})"
    if answer.booked is None:
        return [about[0].upper() + about[1:] + "."]
    short = " That is short: plan a charge in between, or more packs." if lasting.low < answer.booked else ""
    return [f"{about[0].upper() + about[1:]}; booked {answer.booked:.0f}.{short}"]


def fresh_propellers(store: FactStore, answer: Ready, now: int) -> list[str]:
    """Return a line if a set has not flown since it was put on."""
    fresh = []
    for name in store.fleet.ids("propellers"):
        item = store.fleet[name]
        put_on = [e.at for e in store.filed(name) if e.what in ("fitted", "replaced") and e.at <= now]
        flown = [e.at for e in store.filed(answer.aircraft) if e.what == "flown" and e.at <= now]
        if item.fits(answer.aircraft) and put_on and not any(at > put_on[-1] for at in flown):
            fresh.append(name)
    return (
        [f"Fresh propellers ({listed(fresh)}): check snug by hand, pack out, and again after the first landing."]
        if fresh
        else []
    )


def controller_sentences(store: FactStore, answer: Ready, now: int) -> list[str]:
    """Return a line on each controller with what is known of its charge."""
    found = []
    for name in store.fleet.ids("controller") if answer.job else ():
        item = store.fleet[name]
        charges = [e for e in store.filed(name) if e.what == "charged" and e.at <= now]
        if retired_at(store, item) > now and (item.fits(answer.aircraft) or not item.plate.get("fits")):
            last = f"charged {show_span(now - charges[-1].at)} ago" if charges else "no charge on record"
            found.append(f"Look at the charge of {name} and your screens ({last}).")
    return found


def paper_sentences(papers: list[Paper], say: Say) -> list[str]:
    """Return lines on papers that are not valid on the day, or have nothing on record."""
    undated = [paper.item for paper in papers if paper.until is None]
    found = [f"No date on record for {listed(undated)}: look it up."] if undated else []
    for paper in papers:
        if paper.until is not None and paper.waiver:
            found.append(f"{paper.item} is good until {say(paper.until - 1)} only: see whether this place needs it.")
    return found
