"""Three-valued intervals of time against truth tables, brute force and an outside monitor."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT
from scheduler.facts.intervals import NO, UNKNOWN, YES, Intervals, every, some

VALUES = (NO, UNKNOWN, YES)
LAST = 40
AXIS = range(-5, 3 * LAST)

# Kleene's strong three-valued logic (Introduction to Metamathematics, 1952, section 64; from memory).
AND = {NO: (NO, NO, NO), UNKNOWN: (NO, UNKNOWN, UNKNOWN), YES: (NO, UNKNOWN, YES)}
OR = {NO: (NO, UNKNOWN, YES), UNKNOWN: (UNKNOWN, UNKNOWN, YES), YES: (YES, YES, YES)}
NOT = {NO: YES, UNKNOWN: UNKNOWN, YES: NO}


@st.composite
def intervals(draw: st.DrawFn) -> Intervals:
    """Any partition whose turns lie within 0 to LAST."""
    turns = sorted(draw(st.sets(st.integers(0, LAST), max_size=6)))
    return Intervals.of([(start, draw(st.sampled_from(VALUES))) for start in (MIN_INSTANT, *turns)])


def column(partition: Intervals) -> list[int]:
    """The value at every instant of the axis."""
    return [partition.at(instant) for instant in AXIS]


def is_canonical(partition: Intervals) -> bool:
    """It covers all time, its starts rise, and neighbours differ."""
    starts, values = partition.starts, partition.values
    return (
        starts[0] == MIN_INSTANT
        and len(starts) == len(values)
        and all(one < two for one, two in zip(starts, starts[1:], strict=False))
        and all(one != two for one, two in zip(values, values[1:], strict=False))
    )


@pytest.mark.parametrize("left", VALUES)
@pytest.mark.parametrize("right", VALUES)
@pytest.mark.parametrize(("join", "table"), [(every, AND), (some, OR)], ids=["all", "any"])
def test_all_and_any_follow_the_truth_tables(
    join: Callable[[list[Intervals]], Intervals], table: dict[int, tuple[int, ...]], left: int, right: int
) -> None:
    # The second pair has a turn, so that no part is constant and no shortcut is taken.
    constant = join([Intervals.always(left), Intervals.always(right)])
    turning = join(
        [
            Intervals.of([(MIN_INSTANT, left), (5, NOT[left]), (6, left)]),
            Intervals.of([(MIN_INSTANT, right), (9, right)]),
        ]
    )

    assert constant.at(0) == turning.at(0) == table[left][right]


@pytest.mark.parametrize("value", VALUES)
def test_not_follows_the_truth_table(value: int) -> None:
    assert (~Intervals.always(value)).at(0) == NOT[value]


@given(st.lists(intervals(), min_size=1, max_size=4))
def test_every_is_the_minimum_and_some_the_maximum_at_every_instant(parts: list[Intervals]) -> None:
    columns = list(zip(*map(column, parts), strict=True))

    assert column(every(parts)) == list(map(min, columns))
    assert column(some(parts)) == list(map(max, columns))


@given(st.lists(intervals(), min_size=1, max_size=4))
def test_de_morgan(parts: list[Intervals]) -> None:
    assert ~every(parts) == some([~part for part in parts])
    assert ~some(parts) == every([~part for part in parts])
    assert ~~parts[0] == parts[0]


@given(intervals(), st.integers(0, LAST))
def test_lasting_needs_every_instant_of_the_closed_interval(partition: Intervals, duration: int) -> None:
    """No where any instant of [t - d, t] is no, else unknown where any is unknown, else yes."""
    expected = [min(partition.at(t - back) for back in range(duration + 1)) for t in AXIS]
    assert column(partition.lasting(duration)) == expected


@given(intervals(), st.integers(0, LAST), st.integers(0, LAST))
def test_lasting_twice_is_lasting_the_sum(partition: Intervals, first: int, second: int) -> None:
    assert partition.lasting(first).lasting(second) == partition.lasting(first + second)


def test_an_interval_lasts_from_its_start_plus_the_duration() -> None:
    assert Intervals.of([(MIN_INSTANT, NO), (100, YES)]).lasting(24) == Intervals.of([(MIN_INSTANT, NO), (124, YES)])


@given(intervals(), intervals(), st.integers(0, LAST))
def test_every_result_covers_all_time_and_has_no_needless_turn(one: Intervals, two: Intervals, duration: int) -> None:
    results = [one, ~one, every([one, two]), some([one, two]), one.lasting(duration), one.clipped(3, 9)]
    assert all(map(is_canonical, results))


@given(intervals(), st.integers(-3, LAST + 3), st.integers(-3, LAST + 3), st.sampled_from(VALUES))
def test_clipped_keeps_the_inside_and_sets_the_outside(one: Intervals, start: int, end: int, outside: int) -> None:
    expected = [one.at(t) if start <= t < end else outside for t in AXIS]
    assert column(one.clipped(start, end, outside)) == expected


@given(intervals(), st.integers(-5, LAST + 5))
def test_level_before_keeps_what_comes_and_levels_what_came(one: Intervals, since: int) -> None:
    found = one.level_before(since)
    assert column(found) == [one.at(max(instant, since)) for instant in AXIS]
    assert is_canonical(found)


@given(intervals(), st.integers(-5, LAST + 5))
def test_since_and_next_change_bound_the_interval_at_an_instant(one: Intervals, instant: int) -> None:
    since, change = one.since(instant), one.next_change(instant)
    start, end, value = next(episode for episode in one if episode[0] <= instant < episode[1])
    assert (since, MAX_INSTANT if change is None else change, one.at(instant)) == (start, end, value)


@given(intervals())
def test_a_duration_longer_than_all_time_is_handled(one: Intervals) -> None:
    held = one.lasting(2 * MAX_INSTANT)
    assert is_canonical(held)
    assert held.starts[-1] < MAX_INSTANT
    assert every([held, one]).at(LAST) == min(held.at(LAST), one.at(LAST))


# The outside monitor: rtamt, dense-time signal temporal logic, offline. It reads samples as steps and refuses two
# at one instant; before the longest lasting it sees only part of the interval, so comparison begins there.

Formula = tuple[Any, ...]
NAMES = ("a", "b", "c")


def formulas() -> st.SearchStrategy[Formula]:
    """Formulas of all, any, not and bounded historically over three signals."""
    return st.recursive(
        st.sampled_from([("signal", name) for name in NAMES]),
        lambda inner: st.one_of(
            st.tuples(st.just("not"), inner),
            st.tuples(st.sampled_from(["and", "or"]), inner, inner),
            st.tuples(st.just("historically"), st.integers(1, 15), inner),
        ),
        max_leaves=5,
    )


def written(formula: Formula, scale: int) -> str:
    """The formula as the monitor reads it."""
    match formula:
        case ("signal", name):
            return f"({name})"
        case ("not", inner):
            return f"(not {written(inner, scale)})"
        case ("historically", duration, inner):
            return f"(historically[0:{duration * scale}]{written(inner, scale)})"
    join, left, right = formula
    return f"({written(left, scale)} {join} {written(right, scale)})"


def solved(formula: Formula, signals: dict[str, Intervals], scale: int) -> Intervals:
    """The formula as this project reads it."""
    match formula:
        case ("signal", name):
            return signals[name]
        case ("not", inner):
            return ~solved(inner, signals, scale)
        case ("historically", duration, inner):
            return solved(inner, signals, scale).lasting(duration * scale)
    join = every if formula[0] == "and" else some
    return join([solved(part, signals, scale) for part in formula[1:]])


def memory(formula: Formula) -> int:
    """How far back the formula looks."""
    deepest = max((memory(part) for part in formula[1:] if isinstance(part, tuple)), default=0)
    return deepest + (formula[1] if formula[0] == "historically" else 0)


def switches(samples: Iterator[tuple[float, float]], start: int, end: int) -> list[tuple[float, bool]]:
    """The truth at `start`, then every instant within (start, end) at which it turns."""
    found: list[tuple[float, bool]] = []
    for at, value in samples:
        if at < end and (not found or found[-1][1] != (value > 0)):
            if at <= start:
                found.clear()
            found.append((max(at, start), value > 0))
    return found


@settings(deadline=None, max_examples=120)
@given(
    formula=formulas(),
    turns=st.fixed_dictionaries({n: st.sets(st.integers(1, 80), max_size=8) for n in NAMES}),
    first=st.fixed_dictionaries({n: st.booleans() for n in NAMES}),
    scale=st.sampled_from([1, 999_983]),
)
def test_switching_instants_agree_to_the_microsecond_with_an_outside_monitor(
    formula: Formula, turns: dict[str, set[int]], first: dict[str, bool], scale: int
) -> None:
    rtamt = pytest.importorskip("rtamt")
    end = 160 * scale
    steps = {
        name: [(at * scale, first[name] == (index % 2 == 0)) for index, at in enumerate([0, *sorted(turns[name])])]
        for name in NAMES
    }
    monitor = rtamt.StlDenseTimeSpecification()
    for name in NAMES:
        monitor.declare_var(name, "float")
    monitor.spec = written(formula, scale)
    monitor.parse()
    samples = [[n, [[at, 1.0 if on else -1.0] for at, on in [*s, (end, s[-1][1])]]] for n, s in steps.items()]
    signals = {n: Intervals.of([(at or MIN_INSTANT, YES if on else NO) for at, on in s]) for n, s in steps.items()}

    outside = monitor.evaluate(*samples)
    ours = solved(formula, signals, scale)

    start = memory(formula) * scale
    own = ((begin, 1 if value == YES else -1) for begin, _, value in ours)
    assert switches(own, start, end) == switches(((at, value) for at, value in outside), start, end)
