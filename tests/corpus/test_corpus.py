"""Files with one fault each, the words expected beside them, and files without: as `check` tells of them.

`NAME.bad.yaml` stands with `NAME.txt`, all findings line by line ("[...]" for lists that grow); `NAME.good.yaml` has
none. The files stand in for fleet.yaml, shelfbell.yaml and rules/own.yaml of the small home. With
SHELFBELL_UPDATE_GOLDEN set the words are written anew: read what changed before it is kept.
"""

from collections import Counter
from pathlib import Path

import pytest

from tests.homes import Bench, golden

HERE = Path(__file__).parent
TARGETS = {"fleet": "fleet.yaml", "settings": "shelfbell.yaml", "rules": "rules/own.yaml"}
BAD = sorted(HERE.glob("*/*.bad.yaml"))
GOOD = sorted(HERE.glob("*/*.good.yaml"))


def name(path: Path) -> str:
    return f"{path.parent.name}/{path.name.split('.')[0]}"


def words_of(path: Path) -> Path:
    """The file with the words expected of a faulty one."""
    return path.with_name(path.name.replace(".bad.yaml", ".txt"))


ADVICE = {
    "case-books-no-job",
    "case-event-with-unknown-field",
    "case-expects-nothing",
    "case-fails",
    "case-not-quiet",
    "case-of-unknown-zone",
    "case-time-without-offset",
    "published-without-source",
    "fleet/hardly-meant",
    "settings/mail-kind",
    "settings/no-kind",
    "settings/unheard-urgencies",
}
"""What is told of a rule's cases and basis, and of what is hardly meant: it does not keep the file from being used."""


def is_advice(path: Path) -> bool:
    """Whether the file's fault is one that keeps nothing from working."""
    return name(path).removeprefix("rules/") in ADVICE


def put(bench: Bench, path: Path) -> None:
    """Let the file stand in for its like in the home."""
    if path in GOOD or is_advice(path):
        bench.watch_all()
    if path.parent.name == "fleet":
        bench.write("rules/own.yaml", "rules: []\n")
    if path.parent.name == "settings":
        bench.write("fleet.yaml", "packs:\n  - {id: A}\n")
    bench.write(TARGETS[path.parent.name], path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", BAD, ids=name)
def test_a_fault_is_told_with_its_place_and_what_would_be_right(path: Path, bench: Bench) -> None:
    put(bench, path)

    answer = bench("check")

    *findings, summary = answer.out.splitlines(keepends=True)
    golden(words_of(path), "".join(findings))
    assert (answer.status, answer.err) == (1, "")
    assert summary.startswith(f"{len(findings)} finding")
    assert all(line.startswith(f"{TARGETS[path.parent.name]}:") for line in findings)


@pytest.mark.parametrize("path", GOOD, ids=name)
def test_a_good_file_has_no_finding(path: Path, bench: Bench) -> None:
    put(bench, path)

    answer = bench("check")

    assert (answer.status, answer.out[:9]) == (0, "All well:")


@pytest.mark.parametrize("path", BAD, ids=name)
def test_a_faulty_file_is_refused_where_it_is_needed_and_rules_keep_no_entry_out(path: Path, bench: Bench) -> None:
    put(bench, path)

    answer = bench("log", "charged", "A")

    if is_advice(path):
        assert answer.status == 0
    elif path.parent.name == "rules":
        assert answer.status == 0
        assert "I cannot judge what follows" in answer.out
        assert bench("due").status == 2
    else:
        assert answer.status == 2
        golden(words_of(path), answer.err)
        assert bench.exported() == ""


def test_all_findings_of_all_files_come_at_once(bench: Bench) -> None:
    bench.write("fleet.yaml", "packs:\n  - {id: A, cells: 40}\n  - {id: A b}\n")
    bench.write("shelfbell.yaml", "zone: Europe/Lissabon\ndigest: late\n")
    bench.write("rules/own.yaml", "rules:\n  - {id: x}\n")

    files = Counter(line.split(":")[0] for line in bench("check").out.splitlines()[:-1])

    assert files["fleet.yaml"] == 2
    assert files["shelfbell.yaml"] == 2
    assert files["rules/own.yaml"] >= 1


def test_there_are_faults_of_every_layer() -> None:
    assert len(BAD) >= 45
    assert {path.parent.name for path in BAD} == set(TARGETS)
