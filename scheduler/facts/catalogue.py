"""Every fact there is, by name."""

from scheduler.facts import aircraft, house, jobs, pack, wear
from scheduler.facts.declare import DECLARED, Fact

MODULES = (pack, wear, aircraft, house, jobs)
CATALOGUE: dict[str, Fact] = DECLARED
