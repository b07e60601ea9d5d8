"""How a fact is declared: once, beside the function that computes it."""

from collections.abc import Callable
from typing import NamedTuple

from scheduler.base.units import Unit, show
from scheduler.facts.timeline import Segment

PHYSICAL = ("aircraft", "pack", "controller", "charger", "propellers", "gimbal", "guards", "filter", "place")
FLOWN = ("aircraft", "pack", "propellers", "gimbal", "guards", "filter")
ANYTHING = ("aircraft", "pack", "propellers", "gimbal", "guards", "filter", "pilot", "paper", "spares", "charger",
            "controller", "place", "job", "home")  # fmt: skip


class Fact(NamedTuple):
    """A named quantity of an item at every instant.

    `about`: the item kinds that have it. `meaning`: one sentence. `unknown`: what is missing where it is unknown, ""
    for facts that recall events (what was not logged did not happen). `record`: the entry that would make it known.
    `of`: the variants a rule can ask for; the first is taken when it asks for none. `at`: its value at one instant, for
    what is asked for in texts only and costs much to tell for all time; None where `compute` tells that too. `partial`:
    `compute` can be told from when on it is asked, and then may tell anything of the time before, and no trails.
    """

    name: str
    about: tuple[str, ...]
    unit: Unit
    meaning: str
    unknown: str
    record: str
    of: tuple[str, ...]
    compute: Callable[..., list[Segment]]
    at: Callable[..., str] | None = None
    partial: bool = False


OF_JOBS = ("next_job_in", "starts_in")
"""The facts that are for ever away while no job is booked."""


def absent(fact: Fact) -> str:
    """What a value of a fact that is for ever away reads; "" for its plain value."""
    return "none booked" if fact.name in OF_JOBS else ""


def show_fact(fact: Fact, value: object) -> str:
    """The value of a fact as a person reads it."""
    return absent(fact) if value == float("inf") and absent(fact) else show(value, fact.unit)


DECLARED: dict[str, Fact] = {}


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
) -> Callable[[Callable[..., list[Segment]]], Callable[..., list[Segment]]]:
    """Declare the decorated function as the computation of a fact over one life of an item."""

    def declared(compute: Callable[..., list[Segment]]) -> Callable[..., list[Segment]]:
        DECLARED[name] = Fact(name, about, unit, meaning, unknown, record, of, compute, at, partial)
        return compute

    return declared
