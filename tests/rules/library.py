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
    """One limit of one rule, made larger or smaller: `before` as the rule has it, `value` instead."""

    rule: str
    limit: str
    before: str
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
                yield Change(name, limit, str(value), moved(str(value), sign))


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


def unnoticed(change: Change) -> str:
    """Say which limit no case watches, and which case would."""
    low, high = sorted((change.before, change.value), key=lambda value: float(value.split()[0]))
    ends = " or ".join(sorted(set(_ends(rules()[change.rule], change.limit))))
    return (
        f"limit {change.limit} {change.before} -> {change.value}: no case of {change.rule} notices; add one in which "
        f"{ends} between {low} and {high} and nothing else decides, with `opens`, `settles` or `quiet` as it is now"
    )


def _ends(part: object, limit: str) -> Iterator[str]:
    """Yield where a part of a rule uses a limit, as what has to end between two values of it."""
    if isinstance(part, dict) and "fact" in part:
        for key, value in part.items():
            if value == limit and key not in ("fact", "of"):
                yield f"the comparison of {part['fact']} lasts" if key == "lasting" else f"{part['fact']} ends"
    elif isinstance(part, dict | list):
        for inner in part.values() if isinstance(part, dict) else part:
            yield from _ends(inner, limit)
