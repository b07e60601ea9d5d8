"""What is generated from the rules and committed beside them is what the code makes of them."""

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from scheduler.answers.rules import reference_page
from scheduler.base.shipped import folder
from scheduler.base.strict_yaml import read
from scheduler.cli.init import starters
from scheduler.home.schemas import published
from tests.homes import Bench
from tests.rules.library import files, rules

RULES = folder("rules")
HOME = Path(__file__).resolve().parents[2] / "examples" / "home"


def test_the_reference_page_is_what_the_rules_say() -> None:
    """Made by `shelfbell rules --markdown > rules/README.md`."""
    assert (RULES / "README.md").read_text(encoding="utf-8") == reference_page()


def test_the_page_has_every_rule_with_its_basis() -> None:
    page = reference_page()
    for name, rule in rules().items():
        assert f"### {name}: {rule['title']}" in page
    assert page.count("\nBasis: ") == len(rules())


@pytest.mark.parametrize("name", published())
def test_a_schema_is_what_the_code_publishes(name: str) -> None:
    """Made by `python -m scheduler.home.schemas`."""
    assert (RULES / name).read_text(encoding="utf-8") == published()[name]


def validator(name: str) -> Draft202012Validator:
    schema = json.loads((RULES / f"{name}.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def errors(name: str, data: object) -> list[str]:
    return [error.message for error in validator(name).iter_errors(data)]


@pytest.mark.parametrize("file", files(), ids=lambda file: file.document.file)
def test_the_published_schema_accepts_the_shipped_rules(file: object) -> None:
    assert errors("rules", file.document.data) == []  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", ["fleet", "shelfbell"])
def test_the_published_schema_accepts_the_demo_home(name: str) -> None:
    assert errors(name, read((HOME / f"{name}.yaml").read_bytes(), name).data) == []


def test_the_published_schema_accepts_the_demo_season_and_the_starters() -> None:
    check = validator("events")
    lines = (HOME.parent / "season.jsonl").read_text(encoding="utf-8").splitlines()
    assert [error.message for line in lines[::25] for error in check.iter_errors(json.loads(line))] == []
    for file, text in starters().items():
        name = "rules" if file.startswith("rules/") else file.removesuffix(".yaml")
        assert errors(name, read(text.encode(), file).data) == []


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("rules", {"rules": [{"id": "x"}]}),
        ("rules", {"rules": [rules()["pack-wet"] | {"when": {"fact": "wetness", "is": "yes"}}]}),
        ("fleet", {"packs": [{"id": "A", "chemistry": "lead"}]}),
        ("shelfbell", {"zone": "UTC", "quiet": {"from": "25:00", "to": "07:00"}}),
        ("events", {"at": "2026-04-01T09:00:00Z", "what": "chargd", "item": "B"}),
    ],
)
def test_an_editor_sees_what_is_wrong(name: str, data: object) -> None:
    assert errors(name, data)


@pytest.mark.parametrize("file", sorted(RULES.glob("*.yaml")), ids=lambda path: path.name)
def test_a_shipped_file_names_its_schema_for_editors(file: Path) -> None:
    assert file.read_text(encoding="utf-8").startswith("# yaml-language-server: $schema=./rules.schema.json\n")


def _schema_named(text: str, beside: Path) -> Path:
    first = text.splitlines()[0]
    assert first.startswith("# yaml-language-server: $schema="), first
    return (beside / first.partition("=")[2]).resolve()


@pytest.mark.parametrize("file", ["fleet.yaml", "shelfbell.yaml", "rules/own.yaml"])
def test_the_files_of_a_home_name_a_schema_that_is_there(file: str) -> None:
    wanted = RULES / f"{'rules' if '/' in file else file.removesuffix('.yaml')}.schema.json"
    assert _schema_named((HOME / file).read_text(encoding="utf-8"), (HOME / file).parent) == wanted
    assert _schema_named(starters()[file], Path("/")) == wanted


def test_the_list_tells_limits_basis_and_what_was_adjusted(bench: Bench) -> None:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs]\n")
    bench.write("rules/own.yaml", "adjust:\n  pack-left-full: {limits: {sit: 48 h}, because: flown daily}\n")

    listed = bench("rules").out

    assert "pack-left-full: Pack left fully charged [today; published]" in listed
    assert "limits: full 85 %, sit 24 h, calm 70 %, soon 24 h" in listed
    assert "adjusted: sit 48 h; because: flown daily" in listed


def test_one_rule_is_shown_whole(bench: Bench) -> None:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs]\n")
    bench.write("rules/own.yaml", "rules: []\n")

    shown = bench("rules", "pack-left-full").out

    for part in (
        "charge at least 85 % (full), for 24 h (sit)",
        "Do: ",
        "Why: ",
        "Caution: ",
        "Basis: published: ",
        "- cases: ",
    ):
        assert part in shown


def test_for_programs_a_rule_is_told_with_its_cases_as_its_file_has_it(bench: Bench) -> None:
    """Also once the files are compiled, when they are kept apart from it."""
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs]\n")
    bench.write("rules/own.yaml", "rules: []\n")
    bench.log("charged", "A")
    written = rules()["pack-left-full"]

    for _ in ("compiled now", "compiled before"):
        (told,) = json.loads(bench("rules", "pack-left-full", "--json").out)
        assert told == written | {"adjusted": []}


def test_an_unknown_rule_is_refused_with_the_nearest_name(bench: Bench) -> None:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs]\n")
    bench.write("rules/own.yaml", "rules: []\n")

    refused = bench("rules", "pack-left-fulll")

    assert refused.status == 2
    assert "pack-left-full" in refused.err


@pytest.fixture
def packs_on(bench: Bench) -> Bench:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs, aircraft]\n")
    bench.write("rules/own.yaml", "rules: []\n")
    return bench


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("pack-swollen", "- repeats: every 4 h\n"),
        ("pack-left-full", "- repeats: 24 h after the first time, then less and less often\n"),
        ("aircraft-wet", "- repeats: every 48 h while now; else 48 h after the first time, then less and less often\n"),
    ],
)
def test_the_page_tells_that_now_keeps_its_pace(rule: str, said: str, packs_on: Bench) -> None:
    assert said in packs_on("rules", rule).out


@pytest.mark.parametrize("command", ["rules", "explain"])
def test_the_beginning_of_a_name_is_enough_to_be_told_it(command: str, packs_on: Bench) -> None:
    assert "did you mean 'pack-left-full'?" in packs_on(command, "pack-left").err
