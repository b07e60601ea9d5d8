"""Watt-hours, C-rates, times, charging temperatures."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from scheduler.cells.energy import (
    NOMINAL_VOLTS,
    amps_at,
    c_rate,
    may_charge,
    minutes_to_charge,
    minutes_to_drain,
    nominal_volts,
    watt_hours,
)

PERCENTS = st.floats(0, 100)


@pytest.mark.parametrize(
    ("volts", "ah", "wh"),
    [
        (11.1, 5.0, 55.5),
        (14.8, 6.75, 99.9),
        (22.2, 4.5, 99.9),
        (22.2, 7.2, 159.84),
        (22.2, 8.0, 177.6),
        (17.6, 4.28, 75.328),
        (15.4, 5.87, 90.398),
        (3.7, 5.0, 18.5),
    ],
)
def test_watt_hours_are_rated_capacity_times_nominal_voltage(volts: float, ah: float, wh: float) -> None:
    """Rule: 49 CFR 171.8; values computed from it, the last is the worked number of the PX4 battery guide."""
    assert watt_hours(ah, volts) == pytest.approx(wh)


@pytest.mark.parametrize(("chemistry", "cells", "volts"), [("lipo", 4, 14.8), ("lihv", 4, 15.2), ("li-ion", 6, 22.2)])
def test_nominal_volts(chemistry: str, cells: int, volts: float) -> None:
    assert nominal_volts(chemistry, cells) == pytest.approx(volts)


def test_an_unknown_chemistry_has_no_nominal_voltage() -> None:
    with pytest.raises(ValueError, match="did you mean lihv"):
        nominal_volts("LiHV", 4)


def test_full_voltage_is_never_the_nominal_one() -> None:
    """6S 4.5 Ah at full voltage would read 113.4 Wh and be kept out of the cabin; it is 99.9 Wh."""
    assert watt_hours(4.5, nominal_volts("lipo", 6)) == pytest.approx(99.9)
    assert max(NOMINAL_VOLTS.values()) < 4.2


def test_c_rate_is_the_current_over_the_capacity() -> None:
    """2000 mAh at 10C is 20 A: PX4 battery guide."""
    assert amps_at(10, 2.0) == 20
    assert c_rate(20, 2.0) == 10


def test_draining_is_energy_over_power() -> None:
    """5200 mAh, 4 cells, 99 to 58 % at 20 W: 95 minutes."""
    found = minutes_to_drain(watt_hours(5.2, 14.8), 99, 58, 20)
    assert found.value == pytest.approx(94.7, abs=0.1)
    assert (found.low, found.high) == pytest.approx((0.9 * found.value, 1.2 * found.value))
    assert minutes_to_drain(77, 50, 58, 20).value == 0


def test_charging_is_energy_over_power_with_what_charging_takes_on_top() -> None:
    """77 Wh from 20 to 80 % at 50 W: 55.4 minutes at the nominal energy, and 6 % (0 to 20) more."""
    assert minutes_to_charge(77, 20, 80, 50)[:3] == pytest.approx([55.44 * f for f in (1.06, 1.0, 1.2)])


def test_the_last_tenth_takes_as_long_as_three_at_full_power() -> None:
    """30 points' worth usually; 6 + 4 x 3.5 where the current holds until 96 %."""
    assert minutes_to_charge(100, 90, 100, 60)[:3] == pytest.approx((30 * 1.06, 20, 30 * 1.2))
    assert minutes_to_charge(100, 80, 90, 60).high == pytest.approx((5 + 5 * 3) * 1.2)


def test_charging_slows_down_at_the_top() -> None:
    low, top = minutes_to_charge(77, 20, 30, 50), minutes_to_charge(77, 90, 100, 50)
    assert top.value == pytest.approx(3 * low.value)
    assert top.low < top.value <= top.high


def test_a_strong_charger_is_held_to_the_packs_c_rate() -> None:
    assert minutes_to_charge(77, 20, 80, 500) == minutes_to_charge(77, 20, 80, 77)
    assert minutes_to_charge(77, 20, 80, 500, most_c=2).value == pytest.approx(
        minutes_to_charge(77, 20, 80, 154, 2).value
    )


@given(PERCENTS, PERCENTS, PERCENTS, st.floats(1, 200), st.floats(1, 200))
@example(96.0, 96.0, 97.0, 1.0, 1.0)
def test_times_of_the_parts_add_up_to_the_whole(a: float, b: float, c: float, wh: float, watts: float) -> None:
    low, middle, high = sorted((a, b, c))
    whole = minutes_to_charge(wh, low, high, watts)
    first, second = minutes_to_charge(wh, low, middle, watts), minutes_to_charge(wh, middle, high, watts)
    assert whole.value == pytest.approx(first.value + second.value, abs=1e-6)
    assert whole.low <= whole.value + 1e-9 and whole.value <= whole.high + 1e-9


@pytest.mark.parametrize(("wh", "watts"), [(0, 50), (77, 0), (77, -1), (float("nan"), 50)])
def test_no_energy_or_no_power_is_refused(wh: float, watts: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        minutes_to_charge(wh, 20, 80, watts)
    with pytest.raises(ValueError, match="above 0"):
        minutes_to_drain(wh, 80, 20, watts)


@pytest.mark.parametrize(
    ("celsius", "at_40", "at_45"),
    [
        (-1, "no", "no"),
        (0, "slowly", "slowly"),
        (5, "slowly", "slowly"),
        (10, "yes", "yes"),
        (40, "yes", "yes"),
        (41, "no", "yes"),
        (46, "no", "no"),
        (61, "no", "no"),
    ],
)
def test_charging_temperatures(celsius: float, at_40: str, at_45: str) -> None:
    """0 and 40 C: US Fire Administration; 45 C and the slow band: secondary texts (JEITA)."""
    assert may_charge(celsius) == at_40
    assert may_charge(celsius, ceiling=45) == at_45


def test_no_ceiling_lets_a_pack_be_charged_above_60_degrees() -> None:
    assert may_charge(60, ceiling=60) == may_charge(10, ceiling=10) == "yes"
    with pytest.raises(ValueError, match="10 to 60 C would be right"):
        may_charge(61, ceiling=65)
