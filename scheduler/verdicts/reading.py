"""Check rule files beyond their schema: whatever they refer to must exist."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from scheduler.base.findings import Finding, did_you_mean
from scheduler.base.strict_yaml import YamlFile
from scheduler.events.kinds import KINDS
from scheduler.facts.declare import Fact
from scheduler.fleet.plates import fields
from scheduler.verdicts import templates
from scheduler.verdicts.condition_faults import ConditionFault, faults

JOB_PLATE = ("id", "aircraft", "airtime_minutes", "near_people")


class RuleFile(NamedTuple):
    """One rule file that its schema accepts. `shipped`: it came with the program."""

    document: YamlFile
    shipped: bool

    @property
    def rules(self) -> list[dict]:
        """Its rules, as written."""
        return (self.document.data or {}).get("rules") or []

    @property
    def adjust(self) -> dict[str, list[dict]]:
        """Its adjustments, each a list."""
        written = (self.document.data or {}).get("adjust") or {}
        return {rule: change if isinstance(change, list) else [change] for rule, change in written.items()}


def check_references(files: list[RuleFile], catalogue: Mapping[str, Fact], items: set[str]) -> list[Finding]:
    """Yield references to nothing: facts, limits, names in texts, items, rules, kinds."""
    places: dict[str, str] = {}
    found: list[Finding] = []
    for file in files:
        for index, rule in enumerate(file.rules):
            path = ("rules", index)
            if rule["id"] in places:
                text = f"there is a rule {rule['id']!r} already, in {places[rule['id']]}"
                found.append(file.document.finding((*path, "id"), text))
            places.setdefault(rule["id"], file.document.file)
            found += [file.document.finding((*path, *wrong.path), wrong.text) for wrong in rule_faults(rule, catalogue)]
    rules = {rule["id"]: rule for file in files for rule in file.rules}
    for file in files:
        found += _adjustment_faults(file, rules, catalogue, items)
    return found


def rule_faults(rule: dict, catalogue: Mapping[str, Fact]) -> Iterator[ConditionFault]:
    """Yield what is wrong in one rule that its schema accepts."""
    limits, about = rule.get("limits", {}), rule["about"]
    for key in ("when", "until"):
        if key in rule:
            yield from (ConditionFault((key, *w.path), w.text) for w in faults(rule[key], limits, about, catalogue))
    yield from _urgency_faults(rule["urgency"], limits, about, catalogue)
    yield from _unused_limits(rule)
    known = known_names(about, limits, catalogue)
    do = rule["do"]
    for path, text in [(("do",), do)] if isinstance(do, str) else [(("do", key), do[key]) for key in do]:
        if wrong := templates.fault(text, known):
            yield ConditionFault(path, wrong)
    if wrong := _log_then_fault(rule.get("log_then", ""), known):
        yield ConditionFault(("log_then",), wrong)


def known_names(about: str, limits: dict, catalogue: Mapping[str, Fact]) -> list[str]:
    """Return the names that a text of a rule may use."""
    facts = [name for name, fact in catalogue.items() if about in fact.about]
    plate = JOB_PLATE if about == "job" else tuple(fields(about))
    special = [*templates.SPECIAL, *(templates.OF_A_JOB if about == "job" else ())]
    return [*special, *limits, *facts, *plate]


def _urgency_faults(
    urgency: object, limits: dict, about: str, catalogue: Mapping[str, Fact]
) -> Iterator[ConditionFault]:
    for index, rung in enumerate(urgency if isinstance(urgency, list) else ()):
        if isinstance(rung, dict):
            ((word, part),) = rung.items()
            for wrong in faults(part, limits, about, catalogue):
                yield ConditionFault(("urgency", index, word, *wrong.path), wrong.text)
    if isinstance(urgency, list) and not isinstance(urgency[-1], str):
        yield ConditionFault(
            ("urgency", len(urgency) - 1), "the last urgency stands alone, for when no condition holds"
        )


def _unused_limits(rule: dict) -> Iterator[ConditionFault]:
    written = str([rule.get("when"), rule.get("until"), rule.get("urgency"), rule["do"]])
    for name in rule.get("limits", {}):
        if f"'{name}'" not in written and f"{{{name}}}" not in written:
            yield ConditionFault(("limits", name), f"the limit {name} is used nowhere in the rule")


def _log_then_fault(text: str, known: list[str]) -> str | None:
    if not text:
        return None
    kind = text.split()[0]
    if kind not in KINDS:
        return f"there is no kind of event {kind!r}{did_you_mean(kind, KINDS)}"
    return templates.fault(text, known)


def _adjustment_faults(
    file: RuleFile, rules: dict[str, dict], catalogue: Mapping[str, Fact], items: set[str]
) -> Iterator[Finding]:
    for name, changes in file.adjust.items():
        if name not in rules:
            text = f"there is no rule {name!r} to adjust{did_you_mean(name, rules)}"
            yield file.document.finding(("adjust", name), text, key=True)
            continue
        for index, change in enumerate(changes):
            path = ("adjust", name) if len(changes) == 1 else ("adjust", name, index)
            for wrong in _change_faults(change, rules[name], catalogue, items):
                yield file.document.finding((*path, *wrong.path), wrong.text)


def _change_faults(
    change: dict, rule: dict, catalogue: Mapping[str, Fact], items: set[str]
) -> Iterator[ConditionFault]:
    limits = rule.get("limits", {})
    for name in change.get("limits", {}):
        if name not in limits:
            yield ConditionFault(("limits", name), f"{rule['id']} has no limit {name!r}{did_you_mean(name, limits)}")
    for index, item in enumerate(change.get("only", ())):
        if item not in items:
            yield ConditionFault(("only", index), f"fleet.yaml knows no item {item!r}{did_you_mean(item, items)}")
    if "off" in change and len(change.keys() - {"off", "only", "because"}):
        yield ConditionFault(("off",), "a rule that is off needs no other change")
    known = {name: value for name, value in change.get("limits", {}).items() if name in limits}
    adjusted = rule | {"limits": limits | known}
    if "urgency" in change:
        adjusted["urgency"] = change["urgency"]
    places = {name for name in known}
    for wrong in rule_faults(adjusted, catalogue):
        if wrong.path[0] == "urgency" and "urgency" in change:
            yield wrong
        elif wrong.path[0] in ("when", "until") and places:
            yield ConditionFault(("limits", next(iter(places))), wrong.text)
