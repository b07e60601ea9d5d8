"""`shelfbell check`: every file, every rule's cases."""

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator

from scheduler.base.findings import Finding
from scheduler.cli.common import clock, numbered, print_json
from scheduler.facts.catalogue import CATALOGUE
from scheduler.home.check import file_advice, read_files
from scheduler.home.folder import Home
from scheduler.verdicts.cases import advice, failures
from scheduler.verdicts.reading import RuleFile


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("--json", action="store_true", help="for programs")


def run(home: Home, args: Namespace) -> int:
    """Print all findings; exit 1 on any."""
    home.require()
    read = read_files(home)
    found, files = read.findings, [] if read.findings else read.rules
    cases = sum(len(rule.get("cases", ())) for file in files for rule in file.rules)
    if not found:
        found = file_advice(read, clock())
        found += sorted(finding for file in files for finding in case_findings(file))
        home.setup()  # kept: what is answered while a file is refused rests on it
    if args.json:
        print_json([finding._asdict() for finding in found])
    else:
        for finding in found:
            print(finding)
        rules = sum(len(file.rules) for file in files)
        print(f"{numbered(len(found), 'finding')}." if found else f"All well: {rules} rules, {cases} cases.")
    return 1 if found else 0


def case_findings(file: RuleFile) -> Iterator[Finding]:
    """Failed cases and advice, of one file."""
    for index, rule in enumerate(file.rules):
        for number, case in enumerate(rule.get("cases", ())):
            for outcome in failures(rule, case, CATALOGUE):
                name = f" ({case['name']})" if "name" in case else ""
                text = f"{rule['id']}, case {number + 1}{name}: expected: {outcome.expected}; came: {outcome.came}"
                yield file.document.finding(("rules", index, "cases", number), text)
        for text in advice(rule):
            yield file.document.finding(("rules", index, "id"), f"{rule['id']} {text}")
