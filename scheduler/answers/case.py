"""Make a case of a rule from what was logged, ready to paste into its file."""

import re

from scheduler.answers.desk import Desk
from scheduler.answers.explain import verdicts_named
from scheduler.base.findings import Refused
from scheduler.verdicts.case_from_history import Case, Subject, case_of
from scheduler.verdicts.rule import make_rule
from scheduler.verdicts.verdict import Verdict


def case_text(at: Desk, rule: str, item: str) -> str:
    """Return the case at this instant as YAML.

    Raises Refused where one item's entries do not make one.
    """
    if rule not in at.setup.rules:
        verdicts_named(at, [rule, item])  # says which of the two is unknown, and what is near
    (verdict,) = verdicts_named(at, [rule, item])
    case = case_of(subject_of(at, verdict), at.now)
    if case is None:
        raise Refused.because(
            f"{rule} on {item} at {at.stamp(at.now)} rests on more than one item's entries, or rang before "
            "from the same ones: a case holds one item and its first opening. Try --at an instant at which it was open."
        )
    adjusted = f", which an adjustment changes for {item}: a case tests the rule as written"
    note = adjusted if verdict.rule.adjusted else ""
    return f"# {rule}, from the history of {item}{note}. Paste it under `cases:` of the rule.\n{as_yaml(case)}"


def subject_of(at: Desk, verdict: Verdict) -> Subject:
    """Return the rule as its file says it, applied to the item."""
    raw = at.setup.rules.raw(verdict.rule.id)
    written = make_rule(raw, verdict.store.catalogue)
    plate = at.setup.fleet.raw(verdict.item.id) if verdict.item.id in at.setup.fleet else {}
    return Subject(raw, Verdict(written, verdict.item, verdict.store, at.setup.rules), at.setup.fleet, plate)


def as_yaml(case: Case) -> str:
    """Write a case in the form of the rule files: one line an event."""
    head, *rest = [*(f"{name}: {_flow(case[name])}" for name in case if name != "given"), "given:"]
    lines = [f"- {head}", *(f"  {line}" for line in rest)]
    lines += [f"    - {_flow(event)}" for event in case["given"]]  # type: ignore[attr-defined]
    return "\n".join(f"      {line}" for line in lines)


def _flow(value: object) -> str:
    """Write a value in YAML on one line; times unquoted: the loader keeps them text."""
    import yaml

    text = yaml.safe_dump(value, default_flow_style=True, width=10**6, sort_keys=False, allow_unicode=True)
    return re.sub(r"'(\d{4}-\d\d-\d\dT[^']*)'", r"\1", text.removesuffix("\n").removesuffix("\n..."))
