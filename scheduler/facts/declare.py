"""How a fact is declared: once, beside the function that computes it.

The function gets a `Lifetime` and returns the segments of the fact over that lifetime, in order. With `of` it also gets
the variant that a rule asked for. With `partial` it gets an instant `starting_at`: its segments must be right from that
instant on. Of what came before it may leave out or return anything, and leave out evidence. That spares the
work of years where only today is asked about. `tests/facts/test_laws.py` compares every such fact with the one over all
time.
"""

from collections.abc import Callable
from typing import NamedTuple

from scheduler.base.units import Unit, show
from scheduler.facts.timeline import Segment

PHYSICAL = ("aircraft", "pack", "controller", "charger", "propellers", "gimbal", "guards", "filter", "place")
FLOWN = ("aircraft", "pack", "propellers", "gimbal", "guards", "filter")
ANYTHING = ("aircraft", "pack", "propellers", "gimbal", "guards", "filter", "pilot", "paper", "spares", "charger",
            "controller", "place", "job", "home")  # fmt: skip
AIRCRAFT = ("aircraft",)
PACK = ("pack",)
JOB = ("job",)

Compute = Callable[..., list[Segment]]


class Fact(NamedTuple):
    """A named quantity of an item at every instant.

    `about`: the item kinds that have it. `meaning`: one sentence, published. `unknown`: what is missing where it is
    unknown; "" for facts that only recall events (what was not logged did not happen). `record`: the command that
    makes it known. `of`: the variants a rule can ask for; the first is the default. `compute`, `partial`: see the
    module. `at`: its value at one instant, for texts that are costly to compute over all time; None: read it off
    `compute`.
    """

    name: str
    about: tuple[str, ...]
    unit: Unit
    meaning: str
    unknown: str
    record: str
    of: tuple[str, ...]
    compute: Compute
    at: Callable[..., str] | None = None
    partial: bool = False


OF_JOBS = ("next_job_in", "starts_in")
"""The facts that are infinite while no job is booked."""


def absent(fact: Fact) -> str:
    """Return the text for an infinite value of a fact, or "" to show the number."""
    return "none booked" if fact.name in OF_JOBS else ""


def show_fact(fact: Fact, value: object) -> str:
    """Return the value of a fact as a person reads it."""
    return absent(fact) if value == float("inf") and absent(fact) else show(value, fact.unit)


DECLARED: dict[str, Fact] = {}
"""The facts of all modules loaded so far, by name."""


def fact(
    name: str,
    about: tuple[str, ...],
    unit: Unit,
    meaning: str,
    unknown: str = "",
    record: str = "",
    of: tuple[str, ...] = (),
    at: Callable[..., str] | None = None,
    partial: bool = False,
) -> Callable[[Compute], Compute]:
    """Declare a function as the computation of a fact; parameters as in `Fact`."""

    def declared(compute: Compute) -> Compute:
        DECLARED[name] = Fact(name, about, unit, meaning, unknown, record, of, compute, at, partial)
        return compute

    return declared
