"""Minutes per percent, sudden loss, sisters."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.cells.endurance import against_sisters, minutes_per_percent
from scheduler.cells.sudden import chance_below, last_ratio, scatter, sudden_loss

USUAL = [0.25, 0.26, 0.24, 0.25, 0.255]


def test_minutes_per_percent_need_a_flight_of_some_length() -> None:
    assert minutes_per_percent(17.5, 100, 30) == 0.25
    assert minutes_per_percent(5, 100, 80) is None
    assert minutes_per_percent(0, 100, 30) is None
    assert minutes_per_percent(6, 60, 30) == 0.2
    assert minutes_per_percent(6, 60, 30.5) is None


def test_the_last_flight_is_compared_with_the_median_of_the_earlier() -> None:
    ratio = last_ratio([*USUAL, 0.125])
    assert ratio is not None
    assert ratio[:3] == pytest.approx((0.5, 0.125 / 0.26, 0.125 / 0.24))


@pytest.mark.parametrize("rates", [[], [0.25], USUAL])
def test_fewer_than_five_earlier_flights_give_no_ratio(rates: list[float]) -> None:
    assert last_ratio(rates) is None
    assert sudden_loss(rates) is None


@given(st.lists(st.floats(0.05, 1), min_size=6, max_size=20), st.floats(0.1, 10))
def test_the_unit_of_endurance_does_not_matter(rates: list[float], unit: float) -> None:
    before, after = last_ratio(rates), last_ratio([unit * r for r in rates])
    assert before is not None and after is not None
    assert after[:3] == pytest.approx(before[:3])
    assert before.low <= before.value <= before.high


def test_one_wild_flight_among_the_earlier_changes_little() -> None:
    loss = sudden_loss([*USUAL, 0.02, 0.25])
    assert loss is not None
    assert not loss.sudden
    assert loss.ratio.value == pytest.approx(1, abs=0.03)


def test_half_the_endurance_is_a_sudden_loss_and_hardly_chance() -> None:
    loss = sudden_loss([*USUAL, 0.125])
    assert loss is not None
    assert loss.sudden
    assert loss.false_alarm < 1e-6


def test_exactly_the_threshold_is_no_loss() -> None:
    loss = sudden_loss([0.2] * 5 + [0.15], threshold=0.15 / 0.2)
    assert loss is not None
    assert not loss.sudden


def test_a_pack_whose_flights_always_scatter_says_that_chance_may_be_behind() -> None:
    loss = sudden_loss([0.15, 0.35, 0.25, 0.2, 0.3, 0.18])
    assert loss is not None
    assert loss.sudden
    assert loss.false_alarm > 0.1


def test_scatter_is_the_standard_deviation_where_the_law_is_normal() -> None:
    """Quantiles of the standard normal law at 1/4 and 3/4 are 0.6745 from its middle."""
    assert scatter([2.718281828459045**q for q in (-0.6745, -0.6745, 0, 0.6745, 0.6745)]) == pytest.approx(1, abs=1e-4)
    assert scatter([0.25] * 5) == 0


@given(st.floats(0.3, 0.9), st.floats(0.01, 0.4), st.integers(5, 50))
def test_a_greater_loss_is_never_less_likely_to_be_seen(threshold: float, spread: float, earlier: int) -> None:
    chances = [chance_below(threshold, spread, earlier, ratio) for ratio in (1.0, 0.7, 0.5)]
    assert chances == sorted(chances)
    assert chance_below(threshold, spread, earlier, threshold) == pytest.approx(0.5)


def test_without_scatter_there_is_no_chance() -> None:
    assert chance_below(0.75, 0, 5) == 0
    assert chance_below(0.75, 0, 5, true_ratio=0.7) == 1


def test_the_stated_rates_of_the_docstring_hold() -> None:
    assert chance_below(0.75, 0.08, 5) == pytest.approx(1 / 1000, rel=0.3)
    assert 1 - chance_below(0.75, 0.08, 5, 0.5) < 1e-5
    assert chance_below(0.75, 0.15, 5) == pytest.approx(1 / 20, rel=0.3)


def test_a_weak_pack_stands_out_among_its_sisters() -> None:
    read = against_sisters([0.2] * 3, [[0.25] * 3, [0.26] * 3, [0.24] * 4, [9.9]])
    assert read is not None
    assert read[:3] == pytest.approx((0.8, 0.2 / 0.26, 0.2 / 0.24))


def test_few_flights_or_few_sisters_give_no_comparison() -> None:
    assert against_sisters([0.2] * 2, [[0.25] * 3] * 3) is None
    assert against_sisters([0.2] * 3, [[0.25] * 3, [0.25]]) is None
    assert against_sisters([0.2] * 3, [[0.25] * 3, [0.25] * 3]) is not None
