"""Facts of mishaps that the law may want reported: injury, damage, time left."""

from datetime import timedelta

from scheduler.base.instants import HOUR, MIN_INSTANT, end_of_day, local_date
from scheduler.base.units import FLAG, SPAN, Unit
from scheduler.base.units import word as words
from scheduler.events.event import Event
from scheduler.facts.declare import AIRCRAFT, fact
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.shapes import switched
from scheduler.facts.timeline import FALLING, NEVER, Segment

INJURIES = ("none", "minor", "unconscious", "serious", "fatal")
USD = Unit("measure", "USD", digits=2)
CALENDAR_DAYS_US = 10
"""Calendar days after the operation within which a report is made (14 CFR 107.9)."""
HOURS_EUROPE = 72
"""Hours within which a report is made (Regulation (EU) No 376/2014, read in a secondary text only)."""
CEASE = ("strike", "collision", "crash", "fly_away", "part_lost", "water")
"""Mishaps assumed to be among those of CARs 901.49(1): contact with a person, damage that affects flight, collision or
its risk, an aircraft out of control or missing."""


def _unreported(lifetime: Lifetime) -> list[tuple[int, list[Event]]]:
    """Return (instant, the mishaps not yet reported from then on), in order."""
    turns: list[tuple[int, list[Event]]] = [(MIN_INSTANT, [])]
    for event in lifetime.of_kind("mishap", "reported"):
        if event.what == "mishap":
            turns.append((event.at, [*turns[-1][1], event]))
        elif event.get("what_of", "report") == "report":
            turns.append((event.at, []))
    return turns


@fact("injury", AIRCRAFT, words(*INJURIES), "The worst injury in its mishaps that have not been reported yet.")
def injury(lifetime: Lifetime) -> list[Segment]:
    """Count an injury that was not logged as none."""
    segments = []
    for turn, mishaps in _unreported(lifetime):
        worst = max(mishaps, key=lambda event: INJURIES.index(str(event.get("injury", "none"))), default=None)
        word = str(worst.get("injury", "none")) if worst else "none"
        segments.append(Segment(turn, word, None, (worst, None) if worst else None))
    return segments


def _damage(event: Event) -> tuple[float, float]:
    """Return repair cost and value of others' property; one alone counts for both."""
    cost, value = event.get("others_repair_cost"), event.get("others_value")
    known = [float(each) for each in (cost, value) if each is not None]
    return (known[0], known[-1]) if known else (0.0, 0.0)


def _costliest(lifetime: Lifetime, part: int) -> list[Segment]:
    segments = []
    for turn, mishaps in _unreported(lifetime):
        worst = max(mishaps, key=lambda event: min(_damage(event)), default=None)
        segments.append(Segment(turn, _damage(worst)[part] if worst else 0.0, None, (worst, None) if worst else None))
    return segments


@fact(
    "others_repair_cost", AIRCRAFT, USD, "Repair cost of what belongs to others, in its worst mishap not reported yet."
)
def others_repair_cost(lifetime: Lifetime) -> list[Segment]:
    """Count parts and labour, never the aircraft itself."""
    return _costliest(lifetime, 0)


@fact("others_value", AIRCRAFT, USD, "Value of what belongs to others, in its worst mishap not reported yet.")
def others_value(lifetime: Lifetime) -> list[Segment]:
    """Take the fair market value as logged."""
    return _costliest(lifetime, 1)


@fact("report_due_in", AIRCRAFT, SPAN,
      "Time left to report its first mishap not reported yet, in case it must be reported; never without one.",
      of=("us", "europe"))  # fmt: skip
def report_due_in(lifetime: Lifetime, of: str) -> list[Segment]:
    """Fall to the end of the tenth calendar day after it (us), or to 72 h (europe)."""
    zone = lifetime.store.clocks.zone
    segments = []
    for turn, mishaps in _unreported(lifetime):
        if not mishaps:
            segments.append(Segment(turn, NEVER))
            continue
        first = mishaps[0]
        last = end_of_day(local_date(first.at, zone) + timedelta(days=CALENDAR_DAYS_US), zone)
        due = last if of == "us" else first.at + HOURS_EUROPE * HOUR
        segments.append(Segment(turn, due - turn, FALLING, (first, None)))
    return segments


@fact("analysis_due", AIRCRAFT, FLAG,
      "It had a mishap after which flying must stop until the cause is found and put right.")  # fmt: skip
def analysis_due(lifetime: Lifetime) -> list[Segment]:
    """Return yes from such a mishap to a reported analysis."""
    grave = [e for e in lifetime.of_kind("mishap") if e.get("severity") in CEASE or e.get("injury", "none") != "none"]
    return switched(lifetime, on=grave, off=[e for e in lifetime.of_kind("reported") if e.get("what_of") == "analysis"])
