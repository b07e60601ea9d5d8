"""The schema layer: each error of a JSON Schema becomes one sentence at the right place."""

import time
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from scheduler.base.findings import did_you_mean, nearest
from scheduler.base.schema_check import check
from scheduler.base.strict_yaml import YamlFile, read


def mapping(*required: str, **properties: Any) -> dict[str, Any]:
    return {
        "type": "object", "properties": properties, "required": list(required), "additionalProperties": False,
    }  # fmt: skip


TEXT = {"type": "string"}
DURATION = TEXT | {"pattern": r"^\d+ (s|min|h|d)$", "x-expects": "a duration such as '24 h' or '10 d'"}
CONDITION = {"$ref": "#/$defs/condition"}
CONDITIONS = {"type": "array", "items": CONDITION, "minItems": 1}
COMPARISONS = ["at_least", "at_most", "is"]
VALUE = {"type": ["string", "number"]}
LEAF = {"fact": TEXT, "lasting": DURATION, **dict.fromkeys(COMPARISONS, VALUE)}

SCHEMA: dict[str, Any] = {
    "$defs": {
        "condition": {
            **mapping(all=CONDITIONS, any=CONDITIONS, **{"not": CONDITION}, **LEAF),
            "x-expects": "a condition: all, any, not or a fact",
            "oneOf": [{"required": [key]} for key in ("all", "any", "not", "fact")],
            "dependentRequired": {name: ["fact"] for name in LEAF if name != "fact"},
            "dependentSchemas": {"fact": {"oneOf": [{"required": [name]} for name in COMPARISONS]}},
        },
    },
    **mapping(
        about={"enum": ["pack", "aircraft", "home"]},
        basis=mapping("kind", kind={"enum": ["published", "manual"], "x-expects": "a basis"}, cite=TEXT),
        cells={"type": "integer", "minimum": 1, "maximum": 24},
        title=TEXT | {"minLength": 1, "maxLength": 20},
        id=TEXT | {"pattern": "^[a-z-]+$", "description": "lower-case letters and hyphens"},
        code=TEXT | {"pattern": "^[0-9]+$"},
        do={
            "type": ["string", "object"],
            "allOf": [{"if": {"type": "object"}, "then": mapping("one", "many", one=TEXT, many=TEXT)}],
        },
        fits={"type": "array", "uniqueItems": True, "maxItems": 3, "items": TEXT},
        limits={
            "type": "object",
            "propertyNames": {"pattern": "^[a-z]+$", "x-expects": "a limit's name, in lower-case letters"},
            "additionalProperties": DURATION,
        },
        share={"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1},
        step={"type": "number", "multipleOf": 5},
        span=mapping(**{"from": TEXT, "to": TEXT}) | {"dependentRequired": {"from": ["to"]}},
        never={"not": {}},
        off={"not": {"const": "maybe"}},
        old={"type": "boolean"},
        again={"anyOf": [{"enum": ["daily", "weekly"]}, DURATION]},
        urgency={"anyOf": [{"const": "now"}, {"enum": ["today", "whenever"]}]},
        when=CONDITION,
        rest=mapping(volts={"type": "number", "minimum": 3, "maximum": 90}, cells={"type": "integer"})
        | {"anyOf": [{"required": ["volts"]}, {"required": ["cells"]}]},
        found={"enum": ["swollen", "hot"], "x-meant": {"puffy": "swollen"}},
        dates={"not": {"required": ["expires", "issued"]}},
        kept={"type": "array", "contains": {"const": 1}},
    ),
}

CASES = [
    ("abuot: pack", 1, 1, "'abuot' is not a known key here, did you mean 'about'?"),
    ("basis: {kind: manual, leaf: 3}", 1, 23, "'leaf' is not a known key here: known are 'cite' and 'kind'"),
    ("about: pak", 1, 8, "'pak' is not one of 'pack', 'aircraft' or 'home', did you mean 'pack'?"),
    ("about: 3", 1, 8, "3 is not one of 'pack', 'aircraft' or 'home'"),
    ("about:", 1, 7, "nothing is given here: one of 'pack', 'aircraft' or 'home' is needed"),
    ("cells: 4S", 1, 8, "'4S' is not a whole number, did you mean 4?"),
    ("cells: 0", 1, 8, "0 is too small: at least 1 is needed"),
    ("cells: 25", 1, 8, "25 is too large: at most 24 is allowed"),
    ("title: 3", 1, 8, "3 is not text: put quotes around it"),
    ("title: true", 1, 8, "true is not text: put quotes around it"),
    ("title: ''", 1, 8, "'' is too short: the least length is 1"),
    ("title: [a]", 1, 8, "a list is not text"),
    ("title: {}", 1, 8, "an empty mapping is not text"),
    ("id: A b", 1, 5, "'A b' does not fit: lower-case letters and hyphens"),
    ("code: x", 1, 7, "'x' does not fit the pattern ^[0-9]+$"),
    ("limits: {sit: 24 parsecs}", 1, 15, "'24 parsecs' is not a duration such as '24 h' or '10 d'"),
    ("limits: {sit: 24}", 1, 15, "24 is not a duration such as '24 h' or '10 d'"),
    ("limits:\n  Sit: 24 h", 2, 3, "'Sit' is not a limit's name, in lower-case letters"),
    ("fits: [a, b, a]", 1, 14, "'a' is in the list twice"),
    ("fits: [a, b, c, d]", 1, 7, "the list is too long: it takes at most 3"),
    ("fits: a", 1, 7, "'a' is not a list"),
    ("share: 0", 1, 8, "0 is too small: more than 0 is needed"),
    ("share: 1", 1, 8, "1 is too large: less than 1 is needed"),
    ("step: 7", 1, 7, "7 is not a multiple of 5"),
    ("span: {from: a}", 1, 8, "'from' needs 'to' beside it"),
    ("never: 1", 1, 8, "1 is not allowed here"),
    ("off: maybe", 1, 6, "'maybe' is not allowed here"),
    ("old: yes", 1, 6, "'yes' is not true or false"),
    ("do: 3", 1, 5, "3 is not text or a mapping"),
    ("do: {one: x}", 1, 5, "'many' is missing"),
    ("do: {one: x, many: 3}", 1, 20, "3 is not text: put quotes around it"),
    ("again: weakly", 1, 8,
     "'weakly' is not 'daily' or 'weekly' or a duration such as '24 h' or '10 d', did you mean 'weekly'?"),
    ("again: 3", 1, 8, "3 is not 'daily' or 'weekly' or a duration such as '24 h' or '10 d'"),
    ("urgency: tody", 1, 10, "'tody' is not 'now' or 'today' or 'whenever', did you mean 'today'?"),
    ("basis: {kind: publishd, cite: x}", 1, 15, "'publishd' is not a basis, did you mean 'published'?"),
    ("basis: {kind: published, cite: 3}", 1, 32, "3 is not text: put quotes around it"),
    ("basis: {cite: x}", 1, 8, "'kind' is missing: a basis"),
    ("rest: {volts: '16,5'}", 1, 15, "'16,5' is not a number, did you mean 16.5?"),
    ("rest: {cells: 4S}", 1, 15, "'4S' is not a whole number, did you mean 4?"),
    ("rest: {volts: 99 V}", 1, 15, "'99 V' is not a number"),
    ("rest: {}", 1, 7, "one of 'volts' or 'cells' is missing"),
    ("found: puffy", 1, 8, "'puffy' is not one of 'swollen' or 'hot', did you mean 'swollen'?"),
    ("dates: {expires: x, issued: y}", 1, 21, "'expires' and 'issued' exclude each other: keep one of them"),
    ("when: charge", 1, 7, "'charge' is not a condition: all, any, not or a fact"),
    ("when: {al: []}", 1, 8, "'al' is not a known key here, did you mean 'all'?"),
    ("when: {an: [{fact: x, is: y}]}", 1, 8, "'an' is not a known key here, did you mean 'any'?"),
    ("when: {all: []}", 1, 13, "the list is too short: it needs at least 1"),
    ("when: {all: {fact: x}}", 1, 13, "a mapping with 'fact' is not a list"),
    ("when: {all: [{fact: x, is: y}], any: [{fact: x, is: y}]}", 1, 33,
     "'all' and 'any' exclude each other: keep one of them"),
    ("when: {all: [{fact: x, is: y}], lasting: 24 h}", 1, 33, "'lasting' needs 'fact' beside it"),
    ("when: {}", 1, 7, "one of 'all', 'any', 'not' or 'fact' is missing"),
    ("when: {fact: x}", 1, 7, "one of 'at_least', 'at_most' or 'is' is missing"),
    ("when: {fact: x, at_leest: 3}", 1, 17, "'at_leest' is not a known key here, did you mean 'at_least'?"),
    ("when: {fact: x, at_least: 3, at_most: 4}", 1, 30,
     "'at_least' and 'at_most' exclude each other: keep one of them"),
    ("when: {fakt: x, is: 3}", 1, 8, "'fakt' is not a known key here, did you mean 'fact'?"),
    ("when:\n  not:\n    all:\n      - {fact: x, is: y, lasting: 1 parsec}", 4, 35,
     "'1 parsec' is not a duration such as '24 h' or '10 d'"),
    ("kept: [2]", 1, 7, "a list does not fit the schema's 'contains': a mapping with 'const'"),
    ("[a]", 1, 1, "a list is not a mapping"),
]  # fmt: skip


def test_the_schema_of_these_tests_is_one() -> None:
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize(("source", "line", "column", "text"), CASES, ids=[case[0] for case in CASES])
def test_each_mistake_is_one_sentence_at_its_place(source: str, line: int, column: int, text: str) -> None:
    assert check(read(source, "f.yaml"), SCHEMA) == [("f.yaml", line, column, text)]


def test_a_correct_document_has_no_findings() -> None:
    source = """
        about: pack
        basis: {kind: published, cite: x}
        rest: {volts: 16.5, cells: 4}
        do: {one: x, many: y}
        limits: {sit: 24 h}
        when: {all: [{fact: x, is: y}, {not: {any: [{fact: x, at_least: 3, lasting: 24 h}]}}]}
    """
    assert check(read(source, "f.yaml"), SCHEMA) == []


def test_all_findings_come_at_once_in_the_order_of_the_file_and_once_each() -> None:
    source = "titel: x\nfits: [3, 4]\nlimits:\n  sit: x\n  Sat: y\nabout: pak\ncells: 0\n"
    places = [finding[1:3] for finding in check(read(source, "f.yaml"), SCHEMA)]
    assert places == [(1, 1), (2, 8), (2, 11), (4, 8), (5, 3), (5, 8), (6, 8), (7, 8)]


def test_a_missing_key_is_told_at_its_mapping_and_a_misspelt_one_only_as_misspelt() -> None:
    schema = mapping("id", "title", "about", id=TEXT, title=TEXT, about=TEXT)
    assert [str(f) for f in check(read("# rule\nid: a\ntitel: x\n", "f.yaml"), schema)] == [
        "f.yaml:2:1: 'about' is missing",
        "f.yaml:3:1: 'titel' is not a known key here, did you mean 'title'?",
    ]


def test_long_and_odd_values_are_shortened_and_escaped() -> None:
    (finding,) = check(read('about: "\\e[31m' + "x" * 500 + '"', "f"), SCHEMA)
    assert "\x1b" not in finding.text
    assert "…' is not one of" in finding.text
    assert len(finding.text) < 150


def test_a_long_list_of_known_names_is_cut() -> None:
    schema = mapping(**{f"name{i}": TEXT for i in range(50)})
    (finding,) = check(read("zzz: 1", "f"), schema)
    assert finding.text.endswith("'name19' and more")


KEYS = st.sampled_from(["all", "any", "not", "fact", "is", "at_least", "lasting", "kind", "cite", "page", "x"])
VALUES = st.recursive(
    st.sampled_from([None, True, 0, 3.5, "x", "24 h", "pack", "published", "manual"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(st.sampled_from(sorted(SCHEMA["properties"])), VALUES, max_size=3) | VALUES)
def test_there_are_findings_exactly_where_the_validator_says_no(data: Any) -> None:
    findings = check(YamlFile(data, {(): (1, 1)}, {}, "f"), SCHEMA)
    assert bool(findings) == (not Draft202012Validator(SCHEMA).is_valid(data))
    assert all(finding.text and finding[:3] == ("f", 1, 1) for finding in findings)


def test_mistakes_deep_within_alternatives_are_told_in_reasonable_time() -> None:
    """Alternatives within alternatives do not multiply the work: some 0.3 s here, bounded loosely."""
    nested = "{all: [" * 10 + "{fact: x, at_leest: y}" + "]}" * 10
    source = "".join(f"- {nested}\n" for _ in range(30))
    schema = {"type": "array", "items": CONDITION, "$defs": SCHEMA["$defs"]}
    begin = time.process_time()
    findings = check(read(source, "f"), schema)
    assert len(findings) == 30
    assert time.process_time() - begin < 5


@pytest.mark.parametrize(
    ("word", "name"),
    [("chrage", "charge"), ("CHARGE", "charge"), ("hard-landing", "hard_landing"),
     ("lipo", "LiPo"), ("zzz", None)],
)  # fmt: skip
def test_the_nearest_known_name_is_found_whatever_the_case(word: str, name: str | None) -> None:
    assert nearest(word, ["charge", "hard_landing", "LiPo", "usable"]) == name


def test_did_you_mean_is_the_end_of_a_sentence_or_nothing() -> None:
    assert did_you_mean("chrage", ["charge"]) == ", did you mean 'charge'?"
    assert did_you_mean("zzz", ["charge"]) == did_you_mean("x", []) == ""
