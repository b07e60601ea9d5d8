"""Full cycles and rainflow depths."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.cells.wear import depth_classes, depths, full_cycles, throughput_ah

HISTORIES = st.lists(st.integers(0, 100), max_size=40)
ASTM = [-2, 1, -3, 5, -1, 3, -4, 4, -2]


def test_rainflow_counts_the_example_of_the_standard() -> None:
    """ASTM E1049-85, 5.4.4, as tested by the rainflow library (MIT); the standard itself from memory."""
    assert depths(ASTM) == [(3, 0.5), (4, 1.5), (6, 0.5), (8, 1.0), (9, 0.5)]
    assert full_cycles(ASTM) * 100 == 23


@pytest.mark.parametrize(
    ("history", "cycles", "counts"),
    [
        ([100, 30, 100, 30, 100], 1.4, {70: 2.0}),
        ([100, 20, 60, 10, 100], 1.3, {40: 1.0, 90: 1.0}),
        ([50, 100, 20, 60, 25, 100, 50], 1.65, {35: 1, 50: 1, 80: 1}),
        ([50, 100, 50], 0.5, {50: 1.0}),
        ([80], 0, {}),
        ([], 0, {}),
    ],
)
def test_worked_histories(history: list[float], cycles: float, counts: dict[float, float]) -> None:
    """Computed with the rainflow library 3.2.0; the fourth is an industry encyclopedia's (read in a copy)."""
    assert full_cycles(history) == pytest.approx(cycles)
    assert dict(depths(history)) == counts


@given(HISTORIES)
def test_the_sum_of_depth_times_count_is_the_equivalent_full_cycles(history: list[float]) -> None:
    assert sum(depth * count for depth, count in depths(history)) / 100 == pytest.approx(full_cycles(history))


@given(HISTORIES, st.sampled_from([5, 10, 25]))
def test_classes_lose_no_cycle(history: list[float], width: float) -> None:
    classes = depth_classes(history, width)
    assert sum(classes.values()) == pytest.approx(sum(count for _, count in depths(history)))
    assert all(edge % width == 0 for edge in classes)


def test_a_depth_on_an_edge_counts_below_it() -> None:
    assert depth_classes([100, 80, 100, 79, 100]) == {20: 1.0, 30: 1.0}


@given(HISTORIES)
def test_readings_in_between_change_nothing(history: list[Any]) -> None:
    halfway = [p for a, b in zip(history, history[1:], strict=False) for p in (a, (a + b) / 2)] + history[-1:]
    assert full_cycles(halfway) == pytest.approx(full_cycles(history))
    assert depths(halfway) == depths(history)


def test_throughput_counts_both_ways() -> None:
    """Q = 2 x capacity x full cycles: 100 cycles of 2.15 Ah move 430 Ah."""
    assert throughput_ah([100, 0] * 100 + [100], 2.15) == pytest.approx(430)
