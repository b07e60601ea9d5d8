"""Conditions: built from what a rule says, solved as instant by instant they hold, refused with what would be right."""

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.instants import DAY, HOUR, MIN_INSTANT, CalendarSpan
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.intervals import NO, UNKNOWN, YES, Intervals
from scheduler.facts.timeline import RISING, Segment, Timeline
from scheduler.fleet.plates import SECTIONS
from scheduler.verdicts.condition_faults import faults
from scheduler.verdicts.conditions import AGES, Every, Leaf, Not, Some, build, intervals, leaves
from tests.support import book_of, moment

LIMITS: dict[str, object] = {"full": "85 %", "sit": "24 h"}
LAST = 24
AXIS = [hour * HOUR for hour in range(-2, 3 * LAST)]


def unreachable(_origin: int, _span: CalendarSpan) -> int:
    raise AssertionError("no calendar span stands in these conditions")


def test_a_leaf_takes_its_values_from_the_limits_of_the_rule() -> None:
    leaf = build({"fact": "charge", "at_least": "full", "lasting": "sit"}, LIMITS, "pack", CATALOGUE)

    assert leaf == Leaf("charge", None, "at_least", 85, "full", 24 * HOUR, "sit")


@pytest.mark.parametrize(
    ("raw", "limit"),
    [
        ({"fact": "charge", "at_most": "12.5 %"}, 12.5),
        ({"fact": "cycles", "more_than": 300}, 300),
        ({"fact": "cycles", "more_than": "300 cycles"}, 300),
        ({"fact": "usable", "is": "no"}, "no"),
        ({"fact": "usable", "is": False}, "no"),
        ({"fact": "usable", "one_of": ["yes", "no"]}, ("yes", "no")),
        ({"fact": "idle", "at_least": "6 months"}, CalendarSpan(6)),
        ({"fact": "idle", "less_than": "2 h 30 min"}, 150 * HOUR // 60),
        ({"fact": "airtime", "at_least": "10 h"}, 10 * HOUR),
    ],
)
def test_values_are_read_in_the_unit_of_the_fact(raw: dict, limit: object) -> None:
    built = build(raw, {}, "pack", CATALOGUE)
    assert isinstance(built, Leaf)
    assert built.limit == limit


def test_all_any_and_not_nest() -> None:
    full = {"fact": "charge", "at_least": "85 %"}
    usable = {"fact": "usable", "is": "yes"}

    built = build({"all": [full, {"not": {"any": [usable, full]}}]}, {}, "pack", CATALOGUE)

    assert isinstance(built, Every)
    assert isinstance(built.parts[1], Not)
    assert isinstance(built.parts[1].part, Some)
    assert [leaf.fact for leaf in leaves(built)] == ["charge", "usable", "charge"]


# Instant by instant: two facts as steps an hour apart, a condition over them, and its plain reading.

Reading = Callable[[int], int]
TESTS: dict[str, Callable[[int], bool]] = {
    "at_least": lambda value: value >= 50,
    "more_than": lambda value: value > 50,
    "at_most": lambda value: value <= 50,
    "less_than": lambda value: value < 50,
}


@st.composite
def steps(draw: st.DrawFn, values: list[Any]) -> Timeline:
    """A fact that steps at whole hours, unknown at times."""
    hours = sorted(draw(st.sets(st.integers(0, LAST), max_size=6)))
    return Timeline([Segment(hour * HOUR, draw(st.sampled_from([None, *values]))) for hour in hours])


def comparisons() -> st.SearchStrategy[dict]:
    """A leaf about the charge or about being usable, perhaps lasting."""
    charge = st.builds(lambda operator: {"fact": "charge", operator: "50 %"}, st.sampled_from(sorted(TESTS)))
    usable = st.builds(lambda operator: {"fact": "usable", operator: "yes"}, st.sampled_from(["is", "is_not"]))
    lasting = st.one_of(st.just({}), st.integers(1, 9).map(lambda hours: {"lasting": f"{hours} h"}))
    return st.builds(lambda leaf, hold: leaf | hold, charge | usable, lasting)


def conditions() -> st.SearchStrategy[dict]:
    """Any condition over the two facts."""
    several = {"min_size": 1, "max_size": 3}
    return st.recursive(
        comparisons(),
        lambda inner: st.one_of(
            st.lists(inner, **several).map(lambda parts: {"all": parts}),
            st.lists(inner, **several).map(lambda parts: {"any": parts}),
            inner.map(lambda part: {"not": part}),
        ),
        max_leaves=6,
    )


def read_plainly(raw: dict, facts: dict[str, Timeline], at: int) -> int:
    """What a condition says at an instant, by its words: Kleene's logic, `lasting` hour by hour."""
    if "all" in raw:
        return min(read_plainly(part, facts, at) for part in raw["all"])
    if "any" in raw:
        return max(read_plainly(part, facts, at) for part in raw["any"])
    if "not" in raw:
        return YES - read_plainly(raw["not"], facts, at)
    back = int(raw["lasting"].split()[0]) if "lasting" in raw else 0
    return min(_compare(raw, facts[raw["fact"]].at(at - hours * HOUR)) for hours in range(back + 1))


def _compare(raw: dict, value: Any) -> int:
    if value is None:
        return UNKNOWN
    if raw["fact"] == "usable":
        return YES if (value == "yes") == ("is" in raw) else NO
    operator = next(name for name in TESTS if name in raw)
    return YES if TESTS[operator](value) else NO


@settings(deadline=None)
@given(conditions(), steps([0, 49, 50, 51, 100]), steps(["yes", "no"]))
def test_a_condition_holds_where_its_words_say(raw: dict, charge: Timeline, usable: Timeline) -> None:
    facts = {"charge": charge, "usable": usable}

    solved = intervals(build(raw, {}, "pack", CATALOGUE), lambda name, *_: facts[name], unreachable)

    assert [solved.at(at) for at in AXIS] == [read_plainly(raw, facts, at) for at in AXIS]
    assert all(one != two for one, two in pairwise(solved.values))


@settings(deadline=None)
@given(conditions(), steps([0, 49, 50, 51, 100]), steps(["yes", "no"]), st.sampled_from(AXIS))
def test_a_condition_since_an_instant_is_that_of_all_time_from_then_on(
    raw: dict, charge: Timeline, usable: Timeline, since: int
) -> None:
    facts, built = {"charge": charge, "usable": usable}, build(raw, {}, "pack", CATALOGUE)

    late = intervals(built, lambda name, *_: facts[name], unreachable, since)

    assert late == intervals(built, lambda name, *_: facts[name], unreachable).level_before(since)


def test_lasting_counts_from_where_the_comparison_begins_to_hold() -> None:
    charge = Timeline([Segment(0, 40), Segment(5 * HOUR, 90), Segment(40 * HOUR, 60)])
    built = build({"fact": "charge", "at_least": "full", "lasting": "sit"}, LIMITS, "pack", CATALOGUE)

    solved = intervals(built, lambda *_: charge, unreachable)

    assert solved.clipped(0, 100 * HOUR) == Intervals.of([(MIN_INSTANT, NO), (29 * HOUR, YES), (40 * HOUR, NO)])


def test_a_variant_is_asked_of_the_fact() -> None:
    asked: list[tuple[str, str | None]] = []

    def ask(name: str, of: str | None, _since: int) -> Timeline:
        asked.append((name, of))
        return Timeline([Segment(0, "no")])

    intervals(build({"fact": "calibrated", "of": "compass", "is": "no"}, {}, "aircraft", CATALOGUE), ask, unreachable)

    assert asked == [("calibrated", "compass")]


def test_calendar_months_are_held_against_an_age_on_the_calendar() -> None:
    idle = Timeline([Segment(0, 0, RISING)])
    built = build({"fact": "idle", "at_least": "1 months"}, {}, "pack", CATALOGUE)

    solved = intervals(built, lambda *_: idle, lambda origin, span: origin + 31 * span.months * DAY)

    assert solved.next_change(0) == 31 * DAY


FAULTS: dict[str, tuple[str, dict, tuple[str | int, ...], str]] = {
    "a fact of another kind of item": (
        "aircraft", {"fact": "charge", "at_least": "85 %"}, ("fact",),
        "charge is a fact of pack, not of aircraft, which has ",
    ),
    "a variant that the fact has not": (
        "pack", {"fact": "charge", "of": "imu", "at_least": "85 %"}, ("of",), "charge asks of nothing",
    ),
    "a variant of another fact": (
        "aircraft", {"fact": "calibrated", "of": "motor", "is": "yes"}, ("of",), "calibrated asks of imu, compass, ",
    ),
    "a number compared as a word": (
        "pack", {"fact": "charge", "is": "85 %"}, ("is",),
        "charge is compared with at_least, more_than, at_most or less_than",
    ),
    "a word compared as a number": (
        "pack", {"fact": "usable", "at_least": "yes"}, ("at_least",), "usable is compared with is, is_not or one_of",
    ),
    "a unit of another kind": (
        "pack", {"fact": "charge", "at_least": "24 h"}, ("at_least",), "'24 h' is not a value such as '85 %'",
    ),
    "a number without its unit": (
        "pack", {"fact": "charge", "at_least": 85}, ("at_least",), "'85' is not a value such as '85 %'",
    ),
    "a limit that the rule has not": (
        "pack", {"fact": "charge", "at_least": "ful"}, ("at_least",),
        "'ful' is not a value such as '85 %', did you mean 'full'?",
    ),
    "a limit of another unit": (
        "pack", {"fact": "charge", "at_least": "sit"}, ("at_least",),
        "the limit sit: '24 h' is not a value such as '85 %'",
    ),
    "a word that is none of the fact's": (
        "pack", {"fact": "usable", "is": "maybe"}, ("is",), "'maybe' is not one of yes, no",
    ),
    "one word among several": (
        "pack", {"fact": "usable", "one_of": ["yes", "perhaps"]}, ("one_of",), "'perhaps' is not one of yes, no",
    ),
    "lasting that is no duration": (
        "pack", {"fact": "charge", "at_least": "full", "lasting": "a while"}, ("lasting",),
        "'a while' is not a span such as",
    ),
    "lasting in months": (
        "pack", {"fact": "charge", "at_least": "full", "lasting": "2 months"}, ("lasting",),
        "lasting takes a duration such as '24 h' or '10 d', not months or years",
    ),
}  # fmt: skip


@pytest.mark.parametrize("told", FAULTS)
def test_what_the_schema_cannot_see_is_found_at_its_place(told: str) -> None:
    about, raw, place, text = FAULTS[told]

    (wrong,) = faults({"any": [{"fact": "age", "at_least": "1 d"}, {"not": raw}]}, LIMITS, about, CATALOGUE)

    assert wrong.path == ("any", 1, "not", *place)
    assert wrong.text.startswith(text)


def test_every_fault_is_found_at_once() -> None:
    raw = {
        "all": [{"fact": "charge", "at_least": "24 h", "lasting": "1 y"}, {"fact": "days_to_expiry", "at_most": "7 d"}]
    }

    found = [wrong.path for wrong in faults(raw, {}, "pack", CATALOGUE)]

    assert found == [("all", 0, "at_least"), ("all", 0, "lasting"), ("all", 1, "fact")]


@pytest.mark.parametrize(
    ("fact", "about"), [("airtime", "pack"), ("next_job_in", "pack"), ("days_to_expiry", "paper"), ("starts_in", "job")]
)
def test_months_go_only_with_ages(fact: str, about: str) -> None:
    """Any other span either steps or falls: how long two months are could not be told."""
    (wrong,) = faults({"fact": fact, "at_most": "2 months"}, {}, about, CATALOGUE)

    assert wrong.path == ("at_most",)
    assert wrong.text.startswith(f"{fact} takes a duration such as '24 h' or '10 d': months and years go with age, ")


@pytest.mark.parametrize("fact", AGES)
def test_each_age_rises_from_nought_where_its_item_came_into_use(fact: str) -> None:
    about = CATALOGUE[fact].about[0]
    section = next(section for section, kind in SECTIONS.items() if kind == about)
    store = book_of({section: [{"id": "one", "in_service": "2026-03-01"}]})

    (_, segment) = store.fact(store.fleet["one"], fact).segments

    assert (segment.start, segment.value, segment.slope) == (moment("2026-03-01"), 0, RISING)
    assert not list(faults({"fact": fact, "at_least": "2 months"}, {}, about, CATALOGUE))
