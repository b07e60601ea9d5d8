"""`shelfbell rules [RULE]`: the rules that are on, or one of them whole; `--markdown`: the page of all shipped ones."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.rules import listing, reference_page
from scheduler.base.findings import Refused, did_you_mean
from scheduler.cli.common import desk, print_json
from scheduler.home.folder import Home
from scheduler.verdicts.reference import page


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("rule", nargs="?", metavar="RULE", help="show this one whole")
    parser.add_argument("--markdown", action="store_true", help="the page of all shipped rules")
    parser.add_argument("--json", action="store_true", help="for programs")


def run(home: Home, args: Namespace) -> int:
    """Print the list, one rule, or the page."""
    if args.markdown:
        print(reference_page(), end="")
        return 0
    setup = desk(home).setup
    rules = setup.rules
    if args.rule is not None and args.rule not in rules:
        raise Refused.because(f"no rule {args.rule!r} is on{did_you_mean(args.rule, rules)}")
    named = [args.rule] if args.rule else list(rules)
    if not args.json and not args.rule:
        print(listing(rules))
        return 0
    cases = home.cases(setup)
    written = {name: rules.raw(name) | ({"cases": cases[name]} if name in cases else {}) for name in named}
    if args.json:
        print_json([rule | {"adjusted": rules.adjustments(name)} for name, rule in written.items()])
    else:
        print(page(written[args.rule], rules.adjustments(args.rule)))
    return 0
