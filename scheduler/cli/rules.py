"""`shelfbell rules [RULE]`: the rules that are on, or one of them whole; `--markdown`: the page of all shipped ones."""

from argparse import ArgumentParser, Namespace
from typing import Any

from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.shipped import folder
from scheduler.base.strict_yaml import read
from scheduler.cli.common import desk, print_json
from scheduler.facts.catalogue import CATALOGUE
from scheduler.home.folder import Home
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


def listing(rules: Ruleset) -> str:
    """The rules that are on, by the kind of item, with limits, basis and what was adjusted."""
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
    """The page of all shipped rules, and of the facts that rules can ask for."""
    blocks = [_INTRODUCTION]
    for path in sorted(folder("rules").glob("*.yaml")):
        data = read(path.read_bytes(), path.name).data
        blocks.append(f"## {path.stem}\n\n{' '.join(data['about'].split())}")
        blocks += [page(rule) for rule in data["rules"]]
    blocks.append(f"## Facts\n\nWhat a condition can ask for.\n\n{facts_table(CATALOGUE)}")
    return "\n\n".join(blocks) + "\n"
