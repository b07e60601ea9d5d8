"""Every fact there is, by name."""

from scheduler.facts import (
    aircraft,
    condition,
    endurance,
    house,
    jobs,
    needs,
    occurrence,
    pack,
    papers,
    quiet,
    readings,
    spares,
    storage,
    travel,
    wear,
)
from scheduler.facts.declare import DECLARED, Fact

MODULES = (
    pack, endurance, readings, storage, travel, wear, aircraft, condition, occurrence, house, papers, spares, jobs,
    needs, quiet,
)  # fmt: skip
CATALOGUE: dict[str, Fact] = DECLARED
