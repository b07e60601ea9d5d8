"""Self-discharge: the idle course, and the rate fitted from a pack's own readings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.cells.storage import Reading, SelfDrain, days_until, fitted_rate, idle, percent_on

DRAIN = SelfDrain(after_days=10, to_percent=60, over_days=3)
RATES = st.floats(0.5, 30)


def test_an_idle_pack_falls_by_its_rate_in_30_days() -> None:
    corners = idle(90, 3)
    assert percent_on(corners, 30) == pytest.approx(87)
    assert days_until(corners, 84) == pytest.approx(60)
    assert corners[-1] == (pytest.approx(900), 0)


def test_a_self_draining_pack_waits_then_falls_to_its_storage_charge_then_goes_on() -> None:
    corners = idle(100, 3, DRAIN)
    assert [percent_on(corners, day) for day in (0, 10, 11.5, 13, 43)] == pytest.approx([100, 99, 79.5, 60, 57])
    assert days_until(corners, 85) == pytest.approx(10 + 3 * 14 / 39)


def test_a_pack_below_its_storage_charge_does_not_drain_itself() -> None:
    assert idle(60, 3, DRAIN) == idle(60, 3)


def test_a_drain_without_a_wait_begins_at_once() -> None:
    assert idle(100, 0, SelfDrain(0, 60, 2)) == [(0, 100), (2, 60)]


def test_a_pack_that_loses_nothing_stays() -> None:
    assert idle(80, 0) == [(0, 80)]
    assert percent_on(idle(80, 0), 1000) == 80
    assert days_until(idle(80, 0), 79) is None


@given(st.floats(0, 100), RATES, st.floats(0, 60), st.floats(0, 100), st.floats(0.1, 10), st.floats(0, 2000))
def test_an_idle_pack_never_gains_and_never_falls_below_empty(
    percent: float, rate: float, after: float, to: float, over: float, day: float
) -> None:
    corners = idle(percent, rate, SelfDrain(after, to, over))
    days = [c.day for c in corners]
    assert days == sorted(set(days))
    assert 0 <= percent_on(corners, day + 1) <= percent_on(corners, day) + 1e-9 <= percent + 2e-9


@given(st.floats(1, 100), RATES, st.floats(0, 100))
def test_days_until_is_the_inverse_of_percent_on(percent: float, rate: float, target: float) -> None:
    day = days_until(idle(percent, rate), target)
    assert day is not None
    assert percent_on(idle(percent, rate), day) == pytest.approx(min(percent, target), abs=1e-6)


@pytest.mark.parametrize(
    ("percent", "rate", "drain"),
    [
        (101, 3, None),
        (50, -1, None),
        (50, float("nan"), None),
        (90, 3, SelfDrain(1, 60, 0)),
        (90, 3, SelfDrain(-1, 60, 1)),
    ],
)
def test_values_out_of_range_are_refused(percent: float, rate: float, drain: SelfDrain | None) -> None:
    with pytest.raises(ValueError, match="would be right"):
        idle(percent, rate, drain)


@given(RATES, st.lists(st.floats(30, 100), min_size=2, max_size=4))
def test_the_fit_finds_the_rate_of_exact_readings_whatever_their_levels(rate: float, starts: list[float]) -> None:
    episodes = [[Reading(d, start - rate * d / 30) for d in (1, 12, 25)] for start in starts]
    fit = fitted_rate(episodes)
    assert fit is not None
    assert fit[:3] == pytest.approx((rate, rate, rate))


def test_one_wild_reading_in_nine_hardly_moves_the_fit() -> None:
    episodes = [[Reading(d, start - 0.1 * d) for d in (1, 15, 29)] for start in (95, 80, 70)]
    episodes[1][2] = Reading(29, 40)
    fit = fitted_rate(episodes)
    assert fit is not None
    assert fit.value == pytest.approx(3)


def test_a_jump_between_series_is_a_charge_and_not_a_gain() -> None:
    fit = fitted_rate(
        [
            [Reading(0, 60), Reading(10, 59), Reading(20, 58)],
            [Reading(21, 90), Reading(31, 89), Reading(41, 88)],
        ]
    )
    assert fit is not None
    assert fit.value == pytest.approx(3)


def test_too_few_readings_or_all_at_one_time_give_no_rate() -> None:
    assert fitted_rate([]) is None
    assert fitted_rate([[Reading(0, 90), Reading(10, 89)], [Reading(30, 80)]]) is None
    assert fitted_rate([[Reading(5, 90)] * 6]) is None


def test_six_readings_are_enough_and_lone_ones_do_not_count() -> None:
    pairs = [[Reading(d, 90), Reading(d + 10, 89)] for d in (0, 20, 40)]
    assert fitted_rate(pairs) is not None
    assert fitted_rate([*pairs[:2], [Reading(60, 80)], [Reading(70, 80)]]) is None


def test_rising_readings_give_a_rate_of_0() -> None:
    fit = fitted_rate([[Reading(d, 60 + d / 10) for d in range(0, 60, 10)]])
    assert fit is not None
    assert fit[:3] == (0, 0, 0)
