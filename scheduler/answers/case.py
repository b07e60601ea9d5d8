"""A case for a rule, made from what was logged."""

import re

from scheduler.answers.desk import Desk
from scheduler.verdicts.case_from_history import Case, Subject
from scheduler.verdicts.rule import make_rule
from scheduler.verdicts.verdict import Verdict


def subject_of(at: Desk, verdict: Verdict) -> Subject:
    """The rule as its file has it, applied to the item."""
    raw = at.setup.rules.raw(verdict.rule.id)
    written = make_rule(raw, verdict.store.catalogue)
    plate = at.setup.fleet.raw(verdict.item.id) if verdict.item.id in at.setup.fleet else {}
    return Subject(raw, Verdict(written, verdict.item, verdict.store, at.setup.rules), at.setup.fleet, plate)


def as_yaml(case: Case) -> str:
    """The case as the rule files have it: one line an event."""
    head, *rest = [*(f"{name}: {_flow(case[name])}" for name in case if name != "given"), "given:"]
    lines = [f"- {head}", *(f"  {line}" for line in rest)]
    lines += [f"    - {_flow(event)}" for event in case["given"]]  # type: ignore[attr-defined]
    return "\n".join(f"      {line}" for line in lines)


def _flow(value: object) -> str:
    """A value in YAML on one line; times stand plain, as they are text to the loader of the rule files."""
    import yaml

    text = yaml.safe_dump(value, default_flow_style=True, width=10**6, sort_keys=False, allow_unicode=True)
    return re.sub(r"'(\d{4}-\d\d-\d\dT[^']*)'", r"\1", text.removesuffix("\n").removesuffix("\n..."))
