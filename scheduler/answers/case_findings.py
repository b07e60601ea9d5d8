"""What is wrong with the files of a home, and the cases of rules that fail."""

from collections.abc import Iterator

from scheduler.base.findings import Finding
from scheduler.facts.catalogue import CATALOGUE
from scheduler.verdicts.cases import advice, failures
from scheduler.verdicts.reading import RuleFile


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
