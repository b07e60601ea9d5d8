"""All facts by name.

A module of facts is loaded when one of its facts is first asked for, so that `log` stays fast.
"""

from collections.abc import Iterator, Mapping
from importlib import import_module

from scheduler.facts.declare import DECLARED, Fact

MODULES = (
    "pack", "flight_time", "readings", "storage_charge", "travel", "airtime", "aircraft", "condition",
    "mishap_reports", "papers", "spares", "job_times", "job_requirements", "home_facts",
)  # fmt: skip
"""The modules that declare facts, in the order in which documents list them."""


class Catalogue(Mapping[str, Fact]):
    """Facts by name, in the order of their modules.

    `where`: the module of each fact; empty until it is known.
    """

    def __init__(self) -> None:
        self.where: dict[str, str] = {}

    def __getitem__(self, name: str) -> Fact:
        if name not in DECLARED:
            if name in self.where:
                import_module(self.where[name])
            if name not in DECLARED:  # no fact, or it moved since `where` was saved
                self.places()
        return DECLARED[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.places())

    def __len__(self) -> int:
        return len(self.places())

    def __contains__(self, name: object) -> bool:
        return name in (self.where or self.places())

    def places(self) -> dict[str, str]:
        """Load all modules of facts, and return the module of each fact by its name."""
        modules = [f"{__package__}.{module}" for module in MODULES]
        for module in modules:
            import_module(module)
        facts = sorted(DECLARED.values(), key=lambda fact: modules.index(fact.compute.__module__))
        self.where = {fact.name: fact.compute.__module__ for fact in facts}
        return self.where


CATALOGUE = Catalogue()
