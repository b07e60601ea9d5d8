"""`shelfbell case RULE ITEM --at T`: one case of a rule from real history, ready to be pasted into its file."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.case import as_yaml, subject_of
from scheduler.answers.explain import asked
from scheduler.base.findings import Refused
from scheduler.cli.common import desk
from scheduler.home.folder import Home
from scheduler.verdicts.case_from_history import case_of


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
