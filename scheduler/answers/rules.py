"""Show the rules that are on, with their limits and basis."""

from typing import Any

from scheduler.answers.desk import Desk
from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.shipped import folder
from scheduler.base.strict_yaml import read
from scheduler.facts.catalogue import CATALOGUE
from scheduler.verdicts.reference import adjustment_words, facts_table, page, urgency_words
from scheduler.verdicts.rule import Ruleset

_INTRODUCTION = """\
# The shipped rules

Made from the files of this folder by `shelfbell rules --markdown`; edit those. A home switches files on under
`practice:` in shelfbell.yaml, and changes limits under `adjust:` in its own files. Limits without a source are defaults
with their reasoning, not truths: where a maker's manual gives a figure, that figure comes first. Nothing here is legal
advice.

Urgency says how loud: `now` rings at once, in quiet hours too where an entry opened it; `today` at once outside quiet
hours; `this week` and `whenever` come with the digest."""


def rules_json(desk: Desk, rule: str | None = None) -> list[dict[str, Any]]:
    """Return the rules that are on, or one, as written and adjusted. Raises Refused."""
    rules = desk.setup.rules
    named = list(rules) if rule is None else [_require_on(rules, rule)]
    return [written | {"adjusted": rules.adjustments(written["id"])} for written in _written(desk, named)]


def rule_page(desk: Desk, rule: str) -> str:
    """Return one rule in full, with its cases and adjustments. Raises Refused."""
    rules = desk.setup.rules
    (written,) = _written(desk, [_require_on(rules, rule)])
    return page(written, rules.adjustments(rule))


def _require_on(rules: Ruleset, rule: str) -> str:
    if rule not in rules:
        raise Refused.because(f"no rule {rule!r} is on{did_you_mean(rule, rules)}")
    return rule


def _written(desk: Desk, names: list[str]) -> list[dict[str, Any]]:
    cases = desk.home.cases(desk.setup)
    return [desk.setup.rules.raw(name) | ({"cases": cases[name]} if name in cases else {}) for name in names]


def listing(rules: Ruleset) -> str:
    """List the rules that are on by kind of item: limits, basis, adjustments."""
    kinds = dict.fromkeys(rules.raw(name)["about"] for name in rules)
    blocks = [
        "\n".join([f"About {kind}", *(line for name in rules.about(kind) for line in _lines(rules, name))])
        for kind in kinds
    ]
    return "\n\n".join(blocks) if blocks else "No rule is on: shelfbell.yaml names shipped ones under practice."


def _lines(rules: Ruleset, name: str) -> list[str]:
    rule = rules.raw(name)
    limits = ", ".join(f"{limit} {value}" for limit, value in rule.get("limits", {}).items())
    urgency = urgency_words(
        [each if isinstance(each, str) else next(iter(each)) for each in _rungs(rule["urgency"])], {}
    )
    lines = [f"  {name}: {rule['title'].strip()} [{urgency}; {rule['basis']['kind']}]"]
    lines += [f"      limits: {limits}"] if limits else []
    return lines + [f"      adjusted: {adjustment_words(change)}" for change in rules.adjustments(name)]


def _rungs(urgency: object) -> list[Any]:
    return urgency if isinstance(urgency, list) else [urgency]


def reference_page() -> str:
    """Return the page of all shipped rules and of all facts for rules."""
    blocks = [_INTRODUCTION]
    for path in sorted(folder("rules").glob("*.yaml")):
        data = read(path.read_bytes(), path.name).data
        blocks.append(f"## {path.stem}\n\n{' '.join(data['about'].split())}")
        blocks += [page(rule) for rule in data["rules"]]
    blocks.append(f"## Facts\n\nWhat a condition can ask for.\n\n{facts_table(CATALOGUE)}")
    return "\n\n".join(blocks) + "\n"
