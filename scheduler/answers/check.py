"""Check the files of a home: findings in each, and the cases of rules that fail."""

from collections.abc import Iterator
from typing import NamedTuple

from scheduler.base.findings import Finding
from scheduler.base.text import numbered
from scheduler.facts.catalogue import CATALOGUE
from scheduler.home.file_check import file_advice, read_files
from scheduler.home.folder import Home
from scheduler.verdicts.cases import advice, failures
from scheduler.verdicts.reading import RuleFile


class Checked(NamedTuple):
    """The findings of a check, and how many rules and cases it covered."""

    findings: list[Finding]
    rules: int
    cases: int


def check_home(home: Home, now: int) -> Checked:
    """Check every file of a home and every case. Raises Refused without a home."""
    home.require()
    read = read_files(home)
    found, files = read.findings, [] if read.findings else read.rules
    if not found:
        found = file_advice(read, now)
        found += sorted(finding for file in files for finding in case_findings(file))
        home.setup()  # compiled and kept: what is answered while a file is refused rests on it
    cases = sum(len(rule.get("cases", ())) for file in files for rule in file.rules)
    return Checked(found, sum(len(file.rules) for file in files), cases)


def to_lines(checked: Checked) -> list[str]:
    """Return the findings and their count for people, or that all is well."""
    found = checked.findings
    if not found:
        return [f"All well: {checked.rules} rules, {checked.cases} cases."]
    return [*map(str, found), f"{numbered(len(found), 'finding')}."]


def case_findings(file: RuleFile) -> Iterator[Finding]:
    """Yield the failed cases of one file, and advice on its rules."""
    for index, rule in enumerate(file.rules):
        for number, case in enumerate(rule.get("cases", ())):
            for outcome in failures(rule, case, CATALOGUE):
                name = f" ({case['name']})" if "name" in case else ""
                text = f"{rule['id']}, case {number + 1}{name}: expected: {outcome.expected}; came: {outcome.came}"
                yield file.document.finding(("rules", index, "cases", number), text)
        for text in advice(rule):
            yield file.document.finding(("rules", index, "id"), f"{rule['id']} {text}")
