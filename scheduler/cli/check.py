"""`shelfbell check`: every file, every rule's cases."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.case_findings import case_findings
from scheduler.base.text import numbered
from scheduler.cli.common import clock, print_json
from scheduler.home.file_check import file_advice, read_files
from scheduler.home.folder import Home


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
