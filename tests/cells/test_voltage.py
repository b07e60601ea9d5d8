"""Charge from resting voltage: the tables against published electrodes, the laws, the refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.cells.curves import CURVES, PERCENT, interpolate
from scheduler.cells.voltage import FULL_VOLTS, charge_at, check_volts, rested_volts, volts_at
from tests.cells.frozen import frozen

CHEMISTRIES = st.sampled_from(sorted(CURVES))
PERCENTS = st.floats(0, 100)


def electrode(name: str, share: float) -> float:
    """Potential of one published electrode when the cell holds `share` of its charge."""
    empty, full = frozen("electrodes")[name]["empty_full"]
    fractions, potentials = zip(*frozen("electrodes")[name]["table"], strict=True)
    return interpolate(empty + share * (full - empty), fractions, potentials)


@pytest.mark.parametrize("percent", PERCENT)
def test_the_lipo_table_is_the_difference_of_published_electrode_tables(percent: float) -> None:
    """Ai et al. 2020, electrode tables of PyBaMM's source archive, by linear interpolation.

    Within 1.5 mV from 10 % up; below, where the curve falls steeply, within 8 mV: 0.1 % of charge.
    """
    volts = electrode("lico2", percent / 100) - electrode("graphite", percent / 100)
    assert volts_at(percent, "lipo").value == pytest.approx(volts, abs=0.0015 if percent >= 10 else 0.008)
    assert charge_at(volts, "lipo").value == pytest.approx(percent, abs=0.2)


@pytest.mark.parametrize(
    ("chemistry", "name", "row"),
    [
        ("lipo", "Ai2020", "3 3.6396 3.6954 3.7331 3.7622 3.7925 3.8365 3.9089 3.9945 4.0879 4.2"),
        ("lipo", "Ramadass2004", "2.8 3.5955 3.7063 3.7522 3.7875 3.8266 3.8738 3.9304 3.9977 4.0798 4.2"),
        ("lipo", "Ecker2015", "2.5 3.4586 3.587 3.7094 3.77 3.7873 3.8155 3.8823 3.9868 4.0789 4.2"),
        ("lipo", "Mohtat2020", "2.8 3.5107 3.5847 3.6389 3.671 3.7155 3.7968 3.8797 3.9705 4.0767 4.2"),
        ("li-ion", "Chen2020", "2.5 3.2959 3.4852 3.5814 3.667 3.7509 3.8406 3.9479 4.0421 4.0967 4.2"),
        ("li-ion", "NCA_Kim2011", "2.7 3.2471 3.3721 3.4918 3.5978 3.6846 3.7678 3.8742 3.9803 4.0803 4.2"),
    ],
)
def test_each_curve_is_the_row_pybamm_solves_for_that_publication(chemistry: str, name: str, row: str) -> None:
    """PyBaMM 26.10.1.1, its own solver, at 0, 10 ... 100 %."""
    ours = [interpolate(p, PERCENT, CURVES[chemistry][name]) for p in range(0, 101, 10)]
    assert ours == [float(v) for v in row.split()]


@pytest.mark.parametrize("chemistry", CURVES)
def test_every_curve_is_the_frozen_one(chemistry: str) -> None:
    for name, curve in CURVES[chemistry].items():
        assert list(curve) == frozen("curves")["volts"][name.replace(" to 4.35 V", "@4.35")]


@pytest.mark.parametrize(("chemistry", "name"), [("lipo", "Ai2020"), ("li-ion", "Chen2020")])
def test_straight_pieces_stay_within_1_5_percent_of_the_curve_at_each_percent(chemistry: str, name: str) -> None:
    """PyBaMM 26.10.1.1 at every whole percent."""
    for percent, volts in enumerate(frozen("curves")["each_percent"][name]):
        assert charge_at(volts, chemistry).value == pytest.approx(percent, abs=1.5)


@given(CHEMISTRIES, PERCENTS)
def test_charge_at_undoes_volts_at(chemistry: str, percent: float) -> None:
    assert charge_at(volts_at(percent, chemistry).value, chemistry).value == pytest.approx(percent, abs=1e-6)


@given(CHEMISTRIES, st.lists(st.floats(2.0, 4.2), min_size=2))
def test_more_volts_never_mean_less_charge(chemistry: str, volts: list[float]) -> None:
    read = [charge_at(v, chemistry) for v in sorted(volts)]
    for ends in zip(*[r[:3] for r in read], strict=True):
        assert list(ends) == sorted(ends)


@given(CHEMISTRIES, st.floats(1.0, 4.2))
def test_the_value_lies_in_its_range_and_the_range_in_0_to_100(chemistry: str, volts: float) -> None:
    read = charge_at(volts, chemistry)
    assert 0 <= read.low <= read.value <= read.high <= 100


@pytest.mark.parametrize(("chemistry", "volts"), FULL_VOLTS.items())
def test_full_is_100_percent_on_every_curve(chemistry: str, volts: float) -> None:
    assert charge_at(volts, chemistry)[:3] == (100, 100, 100)
    assert charge_at(volts + 0.02, chemistry)[:3] == (100, 100, 100)


def test_full_volts_are_those_of_the_trade() -> None:
    """4.20 V for lipo, 4.35 V for lihv (read in a secondary text); 4S lipo 16.8 V, 4S lihv 17.4 V."""
    assert FULL_VOLTS == {"lipo": 4.20, "lihv": 4.35, "li-ion": 4.20}


def test_the_middle_of_the_range_is_wide_where_published_cells_differ() -> None:
    storage = charge_at(3.80, "lipo")
    assert (round(storage.value), round(storage.low), round(storage.high)) == (52, 43, 60)


def test_a_lihv_cell_holds_more_above_4_20_volts() -> None:
    """The estimate's own consequence: at 4.20 V a lihv cell is 90 to 95 % full."""
    assert 90 <= charge_at(4.20, "lihv").low <= charge_at(4.20, "lihv").high <= 95
    assert charge_at(4.20, "lihv").basis.startswith("estimate")


@pytest.mark.parametrize(
    ("volts", "chemistry", "message"),
    [
        (4.35, "lipo", r"4.35 V per cell .* full lipo .* 4.20 V at most; it would suit lihv \(4.35 V\)"),
        (4.35, "li-ion", r"it would suit lihv"),
        (15.2, "lipo", r"is the number of cells right\?"),
        (0.95, "lipo", r"too low for a live cell, 1 V at least"),
        (float("nan"), "lipo", r"nan V per cell"),
        (3.8, "LiPo", r"unknown chemistry 'LiPo': lipo, lihv, li-ion would be right; did you mean lipo\?"),
    ],
)
def test_an_implausible_reading_is_refused_with_what_would_be_right(volts: float, chemistry: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        charge_at(volts, chemistry)


def test_a_lihv_cell_may_have_4_35_volts() -> None:
    check_volts(4.35, "lihv")


def test_a_reading_too_soon_after_use_is_refused() -> None:
    with pytest.raises(ValueError, match="after 5 min of rest .* at least 30 min"):
        charge_at(3.8, "lipo", rested_minutes=5)
    assert charge_at(3.8, "lipo", rested_minutes=5, least_rest_minutes=5) == charge_at(3.8, "lipo")


@pytest.mark.parametrize("percent", [-1, 100.5, float("nan")])
def test_a_charge_outside_0_to_100_is_refused(percent: float) -> None:
    with pytest.raises(ValueError, match="0 to 100 % would be right"):
        volts_at(percent, "lipo")


def test_load_compensation_gives_the_worked_value() -> None:
    """4 cells of 5 mOhm at 20 A and 14.2 V rest at 14.6 V. Rule: PX4 battery guide; the value is computed."""
    assert rested_volts(14.2, 20, 5, 4) == pytest.approx(14.6)


@given(st.floats(10, 17), st.floats(0, 100), st.floats(0, 50), st.integers(1, 12))
def test_discharging_lowers_and_charging_raises_a_voltage_alike(
    volts: float, amps: float, mohm: float, cells: int
) -> None:
    down, up = rested_volts(volts, amps, mohm, cells), rested_volts(volts, -amps, mohm, cells)
    assert up <= volts <= down
    assert down - volts == pytest.approx(volts - up)


@pytest.mark.parametrize(("mohm", "cells"), [(-1, 4), (5, 0)])
def test_a_pack_without_cells_or_with_negative_resistance_is_refused(mohm: float, cells: int) -> None:
    with pytest.raises(ValueError, match="would be right"):
        rested_volts(14, 1, mohm, cells)
