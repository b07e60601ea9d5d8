"""`shelfbell rules [RULE]`: the rules that are on, or one; `--markdown`: all."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.rules import listing, reference_page, rule_page, rules_json
from scheduler.cli.common import desk, print_json
from scheduler.home.folder import Home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("rule", nargs="?", metavar="RULE", help="show this one whole")
    parser.add_argument("--markdown", action="store_true", help="the page of all shipped rules")
    parser.add_argument("--json", action="store_true", help="for programs")


def run(home: Home, args: Namespace) -> int:
    """Print the list, one rule, or the page."""
    if args.markdown:
        print(reference_page(), end="")
        return 0
    at = desk(home)
    if args.json:
        print_json(rules_json(at, args.rule))
    else:
        print(rule_page(at, args.rule) if args.rule else listing(at.setup.rules))
    return 0
