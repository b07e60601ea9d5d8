"""The shipped rule files as the tests of this folder look at them."""

import re
from collections.abc import Iterator
from functools import cache
from typing import Any, NamedTuple

from scheduler.base.shipped import folder
from scheduler.base.strict_yaml import read
from scheduler.facts.catalogue import CATALOGUE
from scheduler.verdicts.cases import failures
from scheduler.verdicts.reading import RuleFile
from scheduler.verdicts.rule import make_rule

Raw = dict[str, Any]


class Change(NamedTuple):
    """One limit of one rule, made larger or smaller."""

    rule: str
    limit: str
    value: str

    def __str__(self) -> str:
        return f"{self.rule} {self.limit} {self.value}"


@cache
def files() -> tuple[RuleFile, ...]:
    """The shipped rule files."""
    return tuple(RuleFile(read(path.read_bytes(), path.name), True) for path in sorted(folder("rules").glob("*.yaml")))


@cache
def rules() -> dict[str, Raw]:
    """Every shipped rule, by id."""
    return {rule["id"]: rule for file in files() for rule in file.rules}


def texts(rule: Raw) -> str:
    """All that a rule says to a person, in one line."""
    do = rule["do"]
    said = [rule["title"], *([do] if isinstance(do, str) else do.values()), rule["why"], rule.get("caution", "")]
    return " ".join(" ".join(said).split())


def changes() -> Iterator[Change]:
    """Each limit of each rule once larger and once smaller: by a tenth, counts and calendar spans by one."""
    for name, rule in rules().items():
        for limit, value in rule.get("limits", {}).items():
            for sign in (1, -1):
                yield Change(name, limit, moved(str(value), sign))


def moved(value: str, sign: int) -> str:
    """A limit's value made larger or smaller."""
    amount, unit = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(.*)", value).groups()  # type: ignore[union-attr]
    whole = unit in ("y", "months", "calendar months") or re.fullmatch(r"[a-z]{3,}s?", unit) and unit != "min"
    number = float(amount) + sign if whole else float(amount) * (1 + sign / 10)
    return f"{number:g} {unit}".strip()


def notices(change: Change) -> bool:
    """True when a case of the rule fails once the limit is changed. A change that cannot be run fails loudly."""
    rule = rules()[change.rule]
    mutant = rule | {"limits": rule["limits"] | {change.limit: change.value}}
    make_rule(mutant, CATALOGUE)
    return any(outcome for case in rule["cases"] for outcome in failures(mutant, case, CATALOGUE))
