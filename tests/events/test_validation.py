"""Is this one well-formed event? One declaration answers, in sentences and as the published JSON Schema."""

import json
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker

from scheduler.events.fields import LIGHTS, Type
from scheduler.events.kinds import COMMON, FINDINGS, KINDS
from scheduler.events.validation import json_schema, problems
from tests.support import Fields

AT = "2026-04-01T18:40:00+02:00"

LATER = {"ends": "2026-04-03T12:00:00Z", "to": "2026-04-03T12:00:00Z"}
"""Fields that must come after another of the same event."""
APART = {"renewed": {"issued"}, "struck": {"instead_of"}}
"""Fields that another field, given as well, shuts out."""


def sample(schema: dict[str, Any]) -> object:
    """A value of a field's type."""
    match schema:
        case {"enum": [first, *_]}:
            return first
        case {"type": "boolean"}:
            return True
        case {"type": "array", "items": items}:
            return [sample(items)]
        case {"type": "string"}:
            return {LIGHTS.schema["pattern"]: "3 of 4"}.get(schema.get("pattern")) or FORMATS.get(
                schema.get("format"), "x"
            )
    return 1


FORMATS = {"date-time": AT, "date": "2026-04-01"}


def whole_event(what: str) -> Fields:
    """An event of a kind with every field that it can have at once."""
    fields = [f for f in (*COMMON, *KINDS[what].fields) if f.name not in APART.get(what, ())]
    return {f.name: LATER.get(f.name) or sample(f.type.schema) for f in fields} | {"what": what}


# JSON-Schema-Test-Suite, draft2020-12, optional/format: what is a date-time is looked up here, not asked of our reader.
TIMES = {AT, "2026-04-03T12:00:00Z", "1963-06-19T08:30:06.283185Z",
         "1998-12-31T23:59:60Z", "1998-12-31t23:59:60z", "1937-01-01T12:00:27.87+00:20"}  # fmt: skip
NO_TIMES = ["1998-12-31T23:59:61Z", "1998-12-31T22:59:60Z", "1990-02-31T15:59:59.123-08:00", "2026-04-01T18:40:00",
            "1990-12-31T15:59:59-24:00", "2013-350T01:01:01", "2026-04-01"]  # fmt: skip
ODD_VALUES = [
    None, True, False, 0, 1, -1, 2, 3.0, 0.5, 5, 5.5, 100, 100.5, 1440, 1441, 10**9, 10**9 + 1, 10**400, 1e300,
    -61, 151,
    "", " ", "x", " x", "x ", "a b", "a\nb", "x\n", "x" * 80, "x" * 81, "x" * 501, "x" * 20_001, "é", "🛩", "\ud800",
    "a\x7f", "a\u0085", "3 of 4", "3 of 0", "12 of 4", "٣ of 4", "3 of 4\n",
    "yes", "job", "imu", "motor", "fail", "swollen",
    "2026-02-28", "2026-02-30", "20260228", "1963-06-1৪", *sorted(TIMES), *NO_TIMES,
    [], ["x"], ["x", "x"], ["x", "y"], [1], ["x", 1], [[]], [3.7, 3.7], [6], ["noise"], ["noise", "noise"],
    {}, {"a": 1},
]  # fmt: skip
NAMES = sorted({f.name for kind in KINDS.values() for f in (*COMMON, *kind.fields)} | {"persent", "", "\ud800"})
COMPARES = (" is above percent_from ", " is not after ")
"""What compares two fields lies beyond JSON Schema."""


@cache
def validator() -> Draft202012Validator:
    Draft202012Validator.check_schema(json_schema())
    return validator_of(json_schema())


def validator_of(schema: dict[str, Any]) -> Draft202012Validator:
    formats = FormatChecker(formats=["date"])
    formats.checks("date-time")(lambda value: not isinstance(value, str) or value in TIMES)
    return Draft202012Validator(schema, format_checker=formats)


@st.composite
def near_valid(draw: st.DrawFn) -> Fields:
    """A whole event of some kind with up to three things changed."""
    event = dict(whole_event(draw(st.sampled_from(list(KINDS)))))
    for _ in range(draw(st.integers(0, 3))):
        name = draw(st.sampled_from(sorted(event) if draw(st.booleans()) and event else NAMES))
        if draw(st.integers(0, 2)):
            event[name] = draw(st.sampled_from(ODD_VALUES))
        else:
            event.pop(name, None)
    return event


@settings(deadline=None, max_examples=400)
@given(near_valid())
def test_the_check_and_the_published_schema_agree(event: Fields) -> None:
    found = problems(event)
    if len(found) == 1 and any(phrase in found[0] for phrase in COMPARES):
        found = []
    assert validator().is_valid(event) == (not found), found


@pytest.mark.parametrize("what", list(KINDS))
def test_every_kind_takes_all_its_fields_and_those_it_needs_alone(what: str) -> None:
    event = whole_event(what)
    needed = {"at", "what"} | {f.name for f in KINDS[what].fields if f.required}
    bare = {name: value for name, value in event.items() if name in needed}

    assert problems(event) == []
    assert problems(bare | {"percent": 5} if what == "measured" else bare) == []
    for name in needed - {"what"}:
        (told,) = problems({n: v for n, v in event.items() if n != name})
        assert told.startswith(f"{what}: {name!r} is missing")


TIME = "a time with offset such as 2026-04-01T18:40:00+02:00, of the years 1970 to 2199"
ONE_FAULT: list[tuple[str, Fields, str]] = [
    ("charged", {"percent": 130}, "percent: 130 is not a number from 0 to 100"),
    ("charged", {"percent": "80"}, "percent: '80' is not a number from 0 to 100"),
    ("charged", {"percent": "80,5"}, "percent: '80,5' is not a number from 0 to 100, did you mean 80.5?"),
    ("charged", {"percent": True}, "percent: true is not a number from 0 to 100"),
    ("charged", {"percent": None}, "percent: nothing is given here: a number from 0 to 100 is needed"),
    ("charged", {"persent": 80}, "charged: 'persent' is not a known key here, did you mean 'percent'?"),
    ("charged", {"at": "2026-04-01T18:40"}, f"at: '2026-04-01T18:40' is not {TIME}"),
    ("charged", {"at": "1026-04-01T18:40:00Z"}, f"at: '1026-04-01T18:40:00Z' is not {TIME}"),
    ("charged", {"item": ""}, "item: '' is not the id of one pack or controller"),
    ("charged", {"id": "a\nb"}, "id: 'a\\nb' is not a name of at most 80 characters on one line"),
    ("charged", {"via": "x" * 81}, f"via: '{'x' * 59}…' is not a name of at most 80 characters on one line"),
    ("charged", {"note": "\ud800"}, "note: '\\ud800' is not text of at most 20000 whole characters"),
    ("flown", {"minutes": 0}, "minutes: 0 is not a number above 0 and at most 100000"),
    ("flown", {"minutes": "45m"}, "minutes: '45m' is not a number above 0 and at most 100000, did you mean 45?"),
    ("flown", {"minutes": float("nan")}, "flown: a value that is no number of JSON"),
    ("flown", {"packs": "B"}, "packs: 'B' is not a list"),
    ("flown", {"packs": []}, "packs: the list is too short: it needs at least 1"),
    ("flown", {"packs": ["B", "B"]}, "packs: 'B' is in the list twice"),
    ("flown", {"packs": [7]}, "packs: 7 is not the id of one pack"),
    ("flown", {"purpose": "jobs"}, "purpose: 'jobs' is not one of job, practice, test, did you mean 'job'?"),
    ("flown", {"looked_before": "yes"}, "looked_before: 'yes' is not true or false"),
    ("flown", {"flights": 1.5}, "flights: 1.5 is not a whole number of at least 1"),
    ("flown", {"percent_from": 30, "percent_to": 31},
     "percent_to 31 is above percent_from 30: a flight only empties a pack"),
    ("counted", {"count": -1}, "count: -1 is not a whole number of at least 0"),
    ("mishap", {"others_value": -1}, "others_value: -1 is not a number of at least 0"),
    ("measured", {"lights": "3/4"}, "lights: '3/4' is not the lights that are lit, such as \"3 of 4\""),
    ("measured", {"cell_volts": [3.7, 37]}, "cell_volts: 37 is not a cell voltage from 0 to 5"),
    ("noticed", {"findings": ["puffy"]},
     f"findings: 'puffy' is not one of {', '.join(FINDINGS)}, did you mean 'swollen'?"),
    ("renewed", {"expires": "2026-02-30"},
     "expires: '2026-02-30' is not a date such as 2026-04-01, of the years 1970 to 2199"),
    ("renewed", {"issued": "2026-02-28"}, "renewed: 'expires' and 'issued' exclude each other: keep one of them"),
    ("booked", {"ends": AT}, f"ends {AT} is not after starts {AT}"),
    ("away", {"to": "2026-04-01T16:00:00Z"}, f"to 2026-04-01T16:00:00Z is not after from {AT}"),
    ("struck", {"instead_of": "k3f8"}, "struck: 'event' and 'instead_of' exclude each other: keep one of them"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("what", "fault", "told"), ONE_FAULT, ids=lambda value: value if isinstance(value, str) else ""
)
def test_one_fault_is_told_in_one_sentence(what: str, fault: Fields, told: str) -> None:
    assert problems(whole_event(what) | fault) == [told]


@pytest.mark.parametrize(
    ("event", "told"),
    [
        ([], ["an event: a list is not an object in braces"]),
        ({}, ["an event: 'at' is missing", "an event: 'what' is missing: a kind of event"]),
        ({"at": AT, "what": "chraged"}, ["what: 'chraged' is not a kind of event, did you mean 'charged'?"]),
        ({"at": AT, "what": 7}, ["what: 7 is not a kind of event"]),
        ({"at": AT, "what": ["charged"]}, ["what: a list is not a kind of event"]),
    ],
)
def test_what_is_no_event_is_told_so(event: object, told: list[str]) -> None:
    assert problems(event) == told


def test_a_measurement_needs_a_reading() -> None:
    (told,) = problems({"at": AT, "what": "measured", "item": "B", "rested_minutes": 60})
    assert told.startswith("measured: one of 'percent', 'lights', 'rest_volts', ")


def test_all_faults_of_an_event_come_at_once() -> None:
    event = {"at": "now", "what": "flown", "aircraft": "heron", "minutes": -1, "speed": 3}
    assert [text.split(":")[0] for text in problems(event)] == ["flown", "at", "minutes", "flown"]


def test_a_long_value_is_cut_short() -> None:
    (told,) = problems(whole_event("counted") | {"count": 10**4000})
    assert len(told) < 200


def types() -> list[tuple[str, Type]]:
    return [(f"{kind.what}.{f.name}", f.type) for kind in KINDS.values() for f in (*COMMON, *kind.fields)]


@pytest.mark.parametrize(
    "kind", {json.dumps(t.schema): t for _, t in types()}.values(), ids=lambda t: t.schema.get("x-expects", "")
)
def test_each_type_and_its_schema_agree_on_every_odd_value(kind: Type) -> None:
    schema = validator_of(kind.schema)
    assert [value for value in ODD_VALUES if schema.is_valid(value) != kind.fits(value)] == []


@given(st.sampled_from(types()), st.text(max_size=12))
def test_reading_a_word_never_raises(named: tuple[str, Type], typed: str) -> None:
    """A word that is no value is left for the check to refuse."""
    named[1].fits(named[1].read(typed))


@pytest.mark.parametrize(
    ("field", "typed", "value"),
    [
        ("flown.packs", "B,C", ["B", "C"]), ("flown.minutes", "17.5", 17.5), ("flown.percent_to", "31%", 31),
        ("flown.looked_before", "yes", True), ("flown.looked_before", "No", False), ("charged.item", "12", "12"),
        ("measured.cell_volts", "3.8,3.79", [3.8, 3.79]), ("counted.count", "4", 4),
    ],
)  # fmt: skip
def test_a_word_typed_becomes_a_value(field: str, typed: str, value: object) -> None:
    assert dict(types())[field].read(typed) == value


def test_the_schema_is_itself_json() -> None:
    assert json.loads(json.dumps(json_schema())) == json_schema()
    assert LIGHTS.fits("3 of 4")
