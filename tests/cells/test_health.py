"""Capacity, its trend and the date it runs out; resistance."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.cells.health import (
    capacity_from_flight,
    capacity_from_test,
    health,
    reaches,
    why_no_crossing,
)
from scheduler.cells.wear import resistance_ratio

CYCLES = list(range(0, 100, 10))


def test_capacity_is_what_was_used_over_the_share_it_was() -> None:
    read = capacity_from_flight(3380, 96, 31)
    assert read is not None
    assert (read.value, read.low, read.high) == pytest.approx((5200, 3380 / 0.69, 3380 / 0.61))


@given(st.floats(1000, 20000), st.floats(60, 100), st.floats(0, 30), st.floats(-2, 2), st.floats(-2, 2))
def test_a_gauge_within_two_points_keeps_the_truth_in_range(
    capacity: float, start: float, end: float, slip: float, other: float
) -> None:
    read = capacity_from_flight(capacity * (start - end) / 100, start + slip, end + other)
    if read is not None:
        assert read.low * (1 - 1e-9) <= capacity <= read.high * (1 + 1e-9)


@pytest.mark.parametrize(("used", "start", "end"), [(500, 100, 71), (500, 30, 80), (0, 100, 20)])
def test_a_small_span_or_no_use_tells_no_capacity(used: float, start: float, end: float) -> None:
    assert capacity_from_flight(used, start, end) is None


def test_the_least_span_counts() -> None:
    assert capacity_from_flight(1500, 100, 70) is not None
    assert capacity_from_flight(500, 100, 90, least_span=10) is not None


def test_a_capacity_test_is_right_within_two_percent() -> None:
    assert capacity_from_test(5000)[:3] == pytest.approx((5000, 4900, 5100))


def test_health_is_the_median_of_the_last_readings_over_the_rating() -> None:
    """4000 of 5000 mAh is 80.0 %, the customary line."""
    assert health([5000] * 5 + [4000] * 9, 5000) == (
        80,
        80,
        80,
        "middle of the last 9 flights",
    )
    assert health([4000, 4100], 5000) is None
    assert health([4000, 4100, 4200], 5000) is not None


def test_one_wild_capacity_does_not_move_health() -> None:
    read = health([4500, 4510, 4490, 4505, 4495, 4500, 9000], 5000)
    assert read is not None
    assert read.value == pytest.approx(90)


def test_one_test_alone_is_the_health_right_within_two_percent() -> None:
    assert health([], 5000, [4000]) == pytest.approx((80, 78.4, 81.6, "middle of the last capacity test"))


def test_two_tests_outvote_the_flights_and_one_does_not() -> None:
    flights = [5000.0] * 9
    one, two = health(flights, 5000, [4000]), health(flights, 5000, [4000, 4000])
    assert one is not None and two is not None
    assert (one.value, two.value) == (100, 80)
    assert two.basis == "middle of the last 2 capacity tests and 9 flights"


@pytest.mark.parametrize(
    ("ys", "why"),
    [
        ([90.0] * 7, "a trend takes 8 readings, and there are 7"),
        ([90.0, 91.0] * 5, "its readings do not surely fall"),
        ([100 - n / 1000 for n in CYCLES], "it lies further ahead than 3 times what its readings span"),
        ([100 - n / 10 for n in CYCLES], None),
    ],
)
def test_without_a_crossing_there_is_a_reason(ys: list[float], why: str | None) -> None:
    xs = CYCLES[: len(ys)]
    assert why_no_crossing(xs, ys) == why
    assert (reaches(xs, ys) is None) == (why is not None)


@given(st.floats(0.03, 0.19), st.floats(96, 104))
def test_an_exact_fade_is_followed_to_its_crossing(fade: float, start: float) -> None:
    found = reaches(CYCLES, [start - fade * n for n in CYCLES])
    crossing = (start - 80) / fade
    if crossing > 4 * CYCLES[-1]:
        assert found is None
    else:
        assert found is not None
        assert found[:3] == pytest.approx((crossing, crossing, crossing))


def test_days_serve_as_well_as_cycles() -> None:
    days = [3 * n for n in CYCLES]
    by_days, by_cycles = (
        reaches(days, [100 - n / 10 for n in CYCLES]),
        reaches(CYCLES, [100 - n / 10 for n in CYCLES]),
    )
    assert by_days is not None and by_cycles is not None
    assert by_days.value == pytest.approx(3 * by_cycles.value)


def test_a_line_already_crossed_has_a_crossing_in_the_past() -> None:
    found = reaches(CYCLES, [85 - n / 10 for n in CYCLES])
    assert found is not None
    assert found.value == pytest.approx(50)


@pytest.mark.parametrize(
    "ys",
    [
        [95.0] * 10,
        [95.0 + n / 10 for n in CYCLES],
        [95, 99, 94, 98, 95, 97, 94, 99, 96, 95],
        [100.0 - n / 1000 for n in CYCLES],
    ],
    ids=["level", "rising", "scattered", "too far ahead"],
)
def test_there_is_no_crossing_where_it_cannot_be_known(ys: list[float]) -> None:
    assert reaches(CYCLES, ys) is None


def test_few_readings_give_no_crossing() -> None:
    assert reaches(CYCLES[:7], [100 - n / 10 for n in CYCLES[:7]]) is None
    assert reaches(CYCLES[:8], [100 - n / 10 for n in CYCLES[:8]]) is not None
    assert reaches([5] * 10, [100 - n / 10 for n in CYCLES]) is None


def test_a_trend_is_followed_three_times_its_span_and_no_further() -> None:
    """Readings at 1000 to 1090: a date up to 1360, wherever the axis begins."""
    xs = [1000 + n for n in CYCLES]
    assert reaches(xs, [80 + (1355 - x) / 20 for x in xs]) is not None
    assert reaches(xs, [80 + (1365 - x) / 20 for x in xs]) is None


def test_the_range_contains_its_value_and_widens_with_scatter() -> None:
    calm = reaches(CYCLES, [100 - n / 10 + (-1) ** (n // 10) * 0.2 for n in CYCLES])
    rough = reaches(CYCLES, [100 - n / 10 + (-1) ** (n // 10) * 1.5 for n in CYCLES])
    assert calm is not None and rough is not None
    assert calm.low <= calm.value <= calm.high
    assert rough.high - rough.low > 3 * (calm.high - calm.low)


def test_resistance_is_the_last_three_over_the_first_five() -> None:
    """10 to 20 mOhm is the doubling at which a pack is customarily retired."""
    read = resistance_ratio([10, 9, 11, 10, 10, 14, 20, 19, 21])
    assert read is not None
    assert read[:3] == pytest.approx((2.0, 19 / 11, 21 / 9))
    assert resistance_ratio([10] * 7) is None
    assert resistance_ratio([10] * 8) is not None
