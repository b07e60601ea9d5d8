"""The strict reader of YAML: what a scalar means, what is refused, and where everything stands."""

import json
import re
import time
from collections.abc import Iterator
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from scheduler.base import strict_yaml
from scheduler.base.findings import Finding, Refused
from scheduler.base.strict_yaml import MAX_CHARACTERS, MAX_DEPTH, MAX_VALUES, Path, read

# Regular expressions of the tag resolution table and the values beside them:
# https://yaml.org/spec/1.2.2/ section 10.3.2 (core schema), and its example 10.9.
CORE_SCHEMA = [
    ("", None), ("~", None), ("null", None), ("Null", None), ("NULL", None),
    ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
    ("0", 0), ("-0", 0), ("3", 3), ("-19", -19), ("+12", 12), ("0o7", 7), ("0o14", 12), ("0x3A", 58),
    ("0xC", 12), ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0),
    ("12e03", 12000.0), ("1e3", 1000.0), ("12.5", 12.5), ("1.", 1.0), ("0e0", 0.0),
]  # fmt: skip

# Typed by YAML 1.1, text in 1.2: none of the regular expressions of section 10.3.2 matches them.
TEXT_SINCE_1_2 = [
    "on", "On", "OFF", "off", "yes", "no", "NO", "y", "n", "12:30", "190:20:30", "2026-01-02",
    "2026-04-01T09:00:00Z", "1_000", "0b101",
    "+0x1F", "-0o7", "0o8", "0xG", "tRUE", "nULL", "=", "+", "-.", ".", "+.", "1e",
    "e3", "1.2.3", "85 %", "24 h", ".5.", "1 2",
]  # fmt: skip

# Our own narrowing, no source: see yaml_scalars.
TEXT_BY_CHOICE = ["010", "007", "-012", "00", "007.5", ".inf", "-.Inf", "+.INF", ".nan", ".NaN"]


def findings_of(source: str | bytes) -> list[Finding]:
    with pytest.raises(Refused) as refused:
        read(source, "f.yaml")
    return refused.value.findings


def places_of(source: str | bytes) -> list[tuple[int, int]]:
    return [finding[1:3] for finding in findings_of(source)]


@pytest.fixture(params=["CSafeLoader", "SafeLoader"])
def _either_parser(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """libyaml's parser, and the one in Python that stands in where PyYAML was built without it."""
    monkeypatch.setattr(strict_yaml, "_LOADER", getattr(yaml, request.param, yaml.SafeLoader))


@pytest.mark.usefixtures("_either_parser")
@pytest.mark.parametrize(("text", "value"), CORE_SCHEMA)
def test_an_unquoted_scalar_is_typed_as_in_the_core_schema(text: str, value: Any) -> None:
    got = read(f"a: {text}\n", "f").data["a"]
    assert (type(got), repr(got)) == (type(value), repr(value))


@pytest.mark.usefixtures("_either_parser")
@pytest.mark.parametrize("text", TEXT_SINCE_1_2 + TEXT_BY_CHOICE)
def test_everything_else_stays_text(text: str) -> None:
    assert read(f"- {text}\n", "f").data == [text]


@pytest.mark.parametrize("text", [text for text, _ in CORE_SCHEMA])
def test_a_quoted_scalar_is_text_whatever_it_looks_like(text: str) -> None:
    assert read(f"[\"{text}\", '{text}', ! '{text}', !!str '{text}']", "f").data == [text] * 4


@pytest.mark.parametrize(
    ("text", "value"),
    [("!!int 3", 3), ("!!float 3", 3.0), ("!!bool true", True), ("!!null ''", None), ("!!str on", "on"),
     ("! 12", "12"), ("!!seq [1]", [1]), ("!!map {b: 1}", {"b": 1})],
)  # fmt: skip
def test_core_tags_are_taken(text: str, value: Any) -> None:
    assert read(f"a: {text}", "f").data == {"a": value}


@pytest.mark.parametrize(
    "text",
    ["!!python/object:os.system []", "!!python/name:os.system ''", "!mine x", "!!set {a}",
     "!!binary aGk=", "!!timestamp 2026-01-02", "!!int x",
     "!!float true", "!!int true", "!!bool 1", "!!map [1]", "!!seq {a: 1}",
     "!!int [1]", "!<tag:example.org,2026:x> 1"],
)  # fmt: skip
def test_other_tags_and_tags_that_do_not_fit_are_refused_where_they_stand(text: str) -> None:
    assert places_of(f"a: 1\nb: {text}") == [(2, 4)]


@pytest.mark.parametrize(
    "text", [f"{2**53}", f"-{2**53}", "9" * 5000, "0x" + "f" * 5000, "1e999", "-1e999", "9" * 400 + ".5"]
)
def test_a_number_that_cannot_be_held_exactly_is_refused_with_the_advice_to_quote(text: str) -> None:
    (finding,) = findings_of(f"serial: {text}")
    assert finding.line == 1
    assert finding.column == 9
    assert "put quotes around it" in finding.text


def test_whole_numbers_are_exact_up_to_the_limit() -> None:
    """RFC 8259, section 6: whole numbers within +-(2**53 - 1) are exact in every reader of JSON."""
    assert read(f"[{2**53 - 1}, -{2**53 - 1}]", "f").data == [2**53 - 1, 1 - 2**53]


@pytest.mark.usefixtures("_either_parser")
def test_every_duplicate_key_is_found_at_its_own_place() -> None:
    source = "a: 1\nb: {x: 1, y: 2, x: 3}\n'a': 2\nc:\n  - d: 1\n    d: 2\n"
    assert places_of(source) == [(2, 17), (3, 1), (6, 5)]
    assert findings_of(source)[1].text == "the key 'a' is here twice, first in line 1: keep one"


@pytest.mark.parametrize(
    ("source", "place", "words"),
    [
        ("a: 1\n5: x", (2, 1), "the key 5 is not text: put quotes around it"),
        ("true: x", (1, 1), "the key true is not text"),
        ("~: x", (1, 1), "the key ~ is not text"),
        (f"{'9' * 400}: x", (1, 1), "is not text"),
        ("? \n: x", (1, 2), "the key is missing"),
        ("? [a, b]\n: 1", (1, 3), "a key must be text"),
        ("? {a: b}\n: 1", (1, 3), "a key must be text"),
        ("a: &k b\n*k : 1", (2, 1), "a key must be text"),
        ("!!str a: 1", (1, 1), "a key takes no tag"),
        ("a: &m {b: 1}\nc:\n  <<: *m\n  d: 2", (3, 3), "write the keys out"),
    ],
)
def test_a_key_that_is_not_plain_text_is_refused(source: str, place: tuple[int, int], words: str) -> None:
    (finding,) = findings_of(source)
    assert finding[1:3] == place
    assert words in finding.text


def test_quoted_keys_may_be_any_text() -> None:
    data = read("""{"5": 1, '<<': 2, "": 3, on: 4, 'true': 5}""", "f").data
    assert data == {"5": 1, "<<": 2, "": 3, "on": 4, "true": 5}


@pytest.mark.parametrize(
    ("source", "place", "words"),
    [
        ("", (1, 1), "is empty"),
        ("# only a comment\n\n", (1, 1), "is empty"),
        ("a: 1\n---\nb: 2\n", (2, 1), "a second document"),
        ("a: 1\n\tb: 2", (2, 1), "indent with spaces"),
        ("do: Drain it: now", (1, 13), "needs quotes"),
        ("do: {item} is full", (1, 12), "needs quotes"),
        ("a: @x", (1, 4), "needs quotes"),
        ("a: *nowhere", (1, 4), "*nowhere repeats nothing"),
        ("a: \x07", (1, 4), "U+0007"),
        ("a: b\nc: d\x00", (2, 5), "U+0000"),
        ("a: x\u2028y", (1, 5), "U+2028"),
        ("a: \ud800", (1, 4), "U+D800"),
        (b"a: \xff", (1, 4), "byte 0xff is not UTF-8"),
        (b"\xc3\xa9: 1\r\n \xc3\xa9\xe9: 2", (2, 3), "byte 0xe9 is not UTF-8"),
        ("a: é".encode("utf-16"), (1, 1), "is not UTF-8"),
        ("x" * (MAX_CHARACTERS + 1), (0, 0), "too large"),
    ],
    ids=str,
)
def test_what_cannot_be_read_says_where_and_what_would_be_right(
    source: str | bytes, place: tuple[int, int], words: str
) -> None:
    (finding,) = findings_of(source)
    assert finding[:3] == ("f.yaml", *place)
    assert words in finding.text


@pytest.mark.usefixtures("_either_parser")
@pytest.mark.parametrize("source", ["a: [1,", "a: 'x", "{a: b", "- a\n-b", "a:\n  b: 1\n c: 2", "%x", 'a: "\\q"', "]"])
def test_every_syntax_error_is_a_finding_with_a_place(source: str) -> None:
    (finding,) = findings_of(source)
    assert finding.line > 0
    assert finding.text.startswith("not YAML: ")


def test_findings_before_a_syntax_error_come_along_and_all_are_in_order() -> None:
    assert places_of("a: 1\na: 2\n5: !x y\n]") == [(2, 1), (3, 1), (3, 4), (4, 1)]


def test_a_byte_order_mark_is_passed_over() -> None:
    assert read("a: é".encode("utf-8-sig"), "f") == read("a: é", "f")


def test_an_alias_repeats_data_and_places_without_sharing_anything() -> None:
    document = read("a: &x {b: [1, 2]}\nc: *x\n", "f")
    assert document.data == {"a": {"b": [1, 2]}, "c": {"b": [1, 2]}}
    assert document.data["a"]["b"] is not document.data["c"]["b"]
    assert document.places["c",] == (2, 4)
    assert document.places["c", "b", 1] == document.places["a", "b", 1] == (1, 15)
    assert document.key_places["c", "b"] == (1, 8)


@pytest.mark.parametrize("source", ["&a [*a]", "&a {b: *a}", "x: &a 1\ny: &a [*a]", "&a [&b [*a, *b]]"])
def test_an_alias_within_what_it_repeats_is_refused(source: str) -> None:
    assert all("repeats nothing" in finding.text for finding in findings_of(source))


def bomb(levels: int) -> str:
    """The "billion laughs": nine references to nine references to ...: 9**levels values."""
    first = "a0: &a0 [x, x, x, x, x, x, x, x, x]\n"
    return first + "".join(f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]\n" for i in range(1, levels))


def test_a_bomb_of_aliases_is_refused_at_once() -> None:
    begin = time.process_time()
    (finding,) = findings_of(bomb(30))
    assert f"more than {MAX_VALUES:,} values" in finding.text
    assert time.process_time() - begin < 2  # some 0.1 s; unbounded it would not end


def test_a_modest_use_of_aliases_is_taken() -> None:
    assert len(read(bomb(4), "f").data["a3"]) == 9


def test_more_values_than_the_limit_are_refused_without_any_alias() -> None:
    assert f"{MAX_VALUES:,}" in findings_of(f"[{'1,' * MAX_VALUES}]")[0].text


@pytest.mark.usefixtures("_either_parser")
@pytest.mark.parametrize("depth", [MAX_DEPTH + 1, 500, 3_000, 100_000])
@pytest.mark.parametrize(("begin", "end"), [("[", "]"), ("- ", "x"), ("{a: ", "}"), ("? ", "")])
def test_deep_nesting_is_refused_however_deep(begin: str, end: str, depth: int) -> None:
    """By our limit, or by libyaml's own of 1,000 where it looks ahead so far."""
    assert re.search("nested more than|nesting depth", findings_of(begin * (depth + 1) + end)[-1].text)


def test_nesting_up_to_the_limit_is_taken_and_aliases_cannot_go_round_it() -> None:
    assert read("[" * MAX_DEPTH + "1" + "]" * MAX_DEPTH, "f").data
    tower = "a0: &a0 [x]\n" + "".join(f"a{i}: &a{i} [*a{i - 1}]\n" for i in range(1, MAX_DEPTH))
    assert "deep" in findings_of(tower)[0].text


TEXTS = st.text(st.characters(max_codepoint=0xFFFF, exclude_categories=["Cs"]), max_size=20)
NUMBERS = st.integers(1 - 2**53, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False)
JSON = st.recursive(
    st.none() | st.booleans() | NUMBERS | TEXTS,
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(TEXTS, inner, max_size=5),
    max_leaves=25,
)


def paths_of(data: Any, path: Path = ()) -> Iterator[Path]:
    yield path
    members = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for name, member in members:
        yield from paths_of(member, (*path, name))


@given(JSON, st.sampled_from([None, 1, 4]))
def test_json_is_read_as_what_it_is_and_everything_has_a_place(data: Any, indent: int | None) -> None:
    """JSON is YAML: https://yaml.org/spec/1.2.2/ section 1.2."""
    document = read(json.dumps(data, indent=indent), "f")
    assert document.data == data
    assert json.dumps(document.data) == json.dumps(data)  # also tells 1 from 1.0 and from true
    assert set(document.places) == set(paths_of(data))
    assert set(document.key_places) == {path for path in paths_of(data) if path and isinstance(path[-1], str)}


@pytest.mark.parametrize("loader", ["CSafeLoader", "SafeLoader"])
@given(data=JSON)
def test_blocks_with_explicit_core_tags_read_the_same_with_either_parser(loader: str, data: Any) -> None:
    source = yaml.safe_dump(data, default_style='"')
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(strict_yaml, "_LOADER", getattr(yaml, loader, yaml.SafeLoader))
        document = read(source, "f")
    assert json.dumps(document.data, sort_keys=True) == json.dumps(data, sort_keys=True)


@given(st.text(max_size=60) | st.binary(max_size=60))
def test_any_input_is_either_read_or_refused(source: str | bytes) -> None:
    try:
        document = read(source, "f")
    except Refused as refused:
        assert refused.findings
    else:
        assert () in document.places


@given(JSON)
def test_a_value_stands_where_its_place_says(data: Any) -> None:
    """The text at the place of each number and text begins with the value as JSON writes it."""
    source = json.dumps(data, indent=1)
    lines = source.split("\n")
    document = read(source, "f")
    for path, (line, column) in document.places.items():
        value: Any = data
        for step in path:
            value = value[step]
        written = "{" if isinstance(value, dict) else "[" if isinstance(value, list) else json.dumps(value)
        assert lines[line - 1][column - 1 :].startswith(written)


def test_a_finding_stands_at_the_value_the_key_or_the_nearest_parent() -> None:
    document = read("rules:\n  - id: a\n    when: {fact: x}\n", "r.yaml")
    assert document.finding(("rules", 0, "when"), "t") == ("r.yaml", 3, 11, "t")
    assert document.finding(("rules", 0, "when"), "t", key=True) == ("r.yaml", 3, 5, "t")
    assert document.finding(("rules", 0, "when", "lasting"), "t", key=True) == ("r.yaml", 3, 11, "t")
    assert document.place(["rules", 7, "id"]) == (2, 3)
    assert document.place(()) == (1, 1)


@pytest.mark.parametrize(
    ("finding", "text"),
    [(("f.yaml", 12, 7, "t"), "f.yaml:12:7: t"), (("f.yaml", 12, 0, "t"), "f.yaml:12: t"),
     (("f.yaml", 0, 0, "t"), "f.yaml: t"), (("", 3, 4, "t"), "3:4: t"), (("", 0, 0, "t"), "t")],
)  # fmt: skip
def test_a_finding_leaves_out_what_is_unknown(finding: tuple[str, int, int, str], text: str) -> None:
    assert str(Finding(*finding)) == text


def test_a_refusal_prints_one_line_for_each_finding() -> None:
    assert str(Refused([Finding("f", 1, 2, "a"), Finding("", 0, 0, "b")])) == "f:1:2: a\nb"
    assert Refused.because("no").findings == [Finding("", 0, 0, "no")]
