"""`shelfbell case RULE ITEM --at T`: one case of a rule from real history, ready to be pasted into its file."""

import re
from argparse import ArgumentParser, Namespace

from scheduler.base.findings import Refused
from scheduler.cli.common import Desk, desk
from scheduler.cli.explain import asked
from scheduler.home.folder import Home
from scheduler.verdicts.from_history import Case, Subject, case_of
from scheduler.verdicts.rule import make_rule
from scheduler.verdicts.verdict import Verdict


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("rule", metavar="RULE")
    parser.add_argument("item", metavar="ITEM")
    parser.add_argument("--at", metavar="TIME", help="the instant that the case is to hold; now unless given")


def run(home: Home, args: Namespace) -> int:
    """Print the case."""
    at = desk(home, args, past=True)
    if args.rule not in at.setup.rules:
        asked(at, [args.rule, args.item])
    (found,) = asked(at, [args.rule, args.item])
    subject = subject_of(at, found)
    case = case_of(subject, at.now)
    if case is None:
        raise Refused.because(
            f"{args.rule} on {args.item} at {at.stamp(at.now)} rests on more than one item's entries, or rang before "
            "from the same ones: a case holds one item and its first opening. Try --at an instant at which it was open."
        )
    note = (
        f", which an adjustment changes for {args.item}: a case tests the rule as written"
        if found.rule.adjusted
        else ""
    )
    print(f"# {args.rule}, from the history of {args.item}{note}. Paste it under `cases:` of the rule.")
    print(as_yaml(case))
    return 0


def subject_of(at: Desk, verdict: Verdict) -> Subject:
    """The rule as its file has it, applied to the item."""
    raw = at.setup.rules.raw(verdict.rule.id)
    written = make_rule(raw, verdict.book.catalogue)
    plate = at.setup.fleet.raw(verdict.item.id) if verdict.item.id in at.setup.fleet else {}
    return Subject(raw, Verdict(written, verdict.item, verdict.book, at.setup.rules), at.setup.fleet, plate)


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
