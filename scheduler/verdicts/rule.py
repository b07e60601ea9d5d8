"""One rule, and the set of rules that are on with the operator's adjustments."""

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import NamedTuple

from scheduler.base.instants import HOUR, parse_span
from scheduler.facts.declare import Fact
from scheduler.verdicts.conditions import Condition, build

URGENCIES = ("now", "today", "this_week", "whenever")
"""Most urgent first."""
_AGAIN = {"now": 4 * HOUR, "today": 24 * HOUR}


class Rule(NamedTuple):
    """One rule as it applies to some item, its limits adjusted.

    `urgency`: (urgency, condition) pairs, the first true condition counts; the last pair has none. `do`: the texts for
    one item and for many. `again`: the first spacing of repeats, microseconds, 0 for the default by urgency.
    `adjusted`: what the operator changed, as written, or None. `grounds`: the item is not flown while a reminder of
    this rule is open.
    """

    id: str
    about: str
    title: str
    limits: dict[str, object]
    when: Condition
    until: Condition | None
    urgency: tuple[tuple[str, Condition | None], ...]
    do: tuple[str, str]
    why: str
    caution: str
    basis: dict[str, str]
    log_then: str
    again: int
    outlives_retirement: bool
    adjusted: dict[str, object] | None
    grounds: bool = False

    @property
    def conditions(self) -> list[Condition]:
        """All its conditions: to open, to settle, and for its urgency."""
        parts = (self.when, self.until, *(part for _, part in self.urgency))
        return [part for part in parts if part is not None]

    def spacing(self, urgency: str) -> int:
        """Return the first pause between repeats, microseconds; 0: only digests list it."""
        return self.again or _AGAIN.get(urgency, 0)


def make_rule(raw: dict, catalogue: Mapping[str, Fact], adjusted: dict | None = None) -> Rule:
    """Build a rule from checked YAML data, its limits and urgency adjusted.

    Raises ValueError where the reference checks would find fault.
    """
    adjusted = adjusted or None
    change = adjusted or {}
    limits = raw.get("limits", {}) | change.get("limits", {})
    about = raw["about"]

    def condition(part: dict) -> Condition:
        return build(part, limits, about, catalogue)

    written = change.get("urgency", raw["urgency"])
    do = raw["do"]
    return Rule(
        id=raw["id"],
        about=about,
        title=raw["title"],
        limits=limits,
        when=condition(raw["when"]),
        until=condition(raw["until"]) if "until" in raw else None,
        urgency=tuple(_rung(rung, condition) for rung in (written if isinstance(written, list) else [written])),
        do=(do, do) if isinstance(do, str) else (do["one"], do["many"]),
        why=raw["why"],
        caution=raw.get("caution", ""),
        basis=raw["basis"],
        log_then=raw.get("log_then", ""),
        again=_again(raw.get("remind", {}) | change.get("remind", {})),
        outlives_retirement=raw.get("outlives") == "retired",
        adjusted=adjusted,
        grounds=raw.get("grounds", False),
    )


def _rung(rung: object, condition: object) -> tuple[str, Condition | None]:
    if isinstance(rung, dict):
        ((urgency, part),) = rung.items()
        return urgency, condition(part)  # type: ignore[operator]
    return str(rung), None


def _again(remind: dict) -> int:
    return parse_span(str(remind["again"])) if "again" in remind else 0  # type: ignore[return-value]


class Ruleset:
    """The rules that are on, built lazily; adjustments are by rule and item."""

    def __init__(self, raw: list[dict], adjustments: dict[str, list[dict]], catalogue: Mapping[str, Fact]) -> None:
        self._raw = {rule["id"]: rule for rule in raw}
        self._adjustments = adjustments
        self._catalogue = catalogue
        self._ready: dict[tuple[str, int], Rule] = {}

    def __iter__(self) -> Iterator[str]:
        return iter(self._raw)

    def __contains__(self, rule: str) -> bool:
        return rule in self._raw

    def raw(self, rule: str) -> dict:
        """Return a rule as its file has it."""
        return self._raw[rule]

    def about(self, kind: str) -> list[str]:
        """Return the ids of the rules about an item kind."""
        return self._by_kind.get(kind, [])

    @cached_property
    def _by_kind(self) -> dict[str, list[str]]:
        by_kind: dict[str, list[str]] = {}
        for name, rule in self._raw.items():
            by_kind.setdefault(rule["about"], []).append(name)
        return by_kind

    def applying(self, kind: str, item: str) -> list[Rule]:
        """Return the active rules about an item kind as they apply to an item."""
        return [rule for name in self.about(kind) if (rule := self.get(name, item)) is not None]

    def adjustments(self, rule: str) -> list[dict]:
        """Return the adjustments of a rule, as written."""
        return self._adjustments.get(rule, [])

    def get(self, rule: str, item: str) -> Rule | None:
        """Return a rule as it applies to an item; None if it is off for it."""
        index = self._narrowest(rule, item)
        change = self._adjustments[rule][index] if index >= 0 else None
        if change and change.get("off"):
            return None
        if (rule, index) not in self._ready:
            self._ready[rule, index] = make_rule(self._raw[rule], self._catalogue, change)
        return self._ready[rule, index]

    def all_off(self, kind: str, item: str) -> bool:
        """Return True if there are rules about the item's kind and all are off for it."""
        return bool(self.about(kind)) and not self.applying(kind, item)

    def _narrowest(self, rule: str, item: str) -> int:
        """Return the index of the adjustment for the fewest items; -1 without one."""
        changes = self._adjustments.get(rule)
        if not changes:
            return -1
        fitting = [
            (len(change["only"]) if "only" in change else 10**9, index)
            for index, change in enumerate(changes)
            if item in change.get("only", (item,))
        ]
        return min(fitting)[1] if fitting else -1
