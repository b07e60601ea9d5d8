"""Ageing against the published equations and the published models."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.cells.ageing import (
    EXTRA_SPREAD,
    LOSS_SPREAD,
    VOLTAGE_SPREAD,
    StorageSpell,
    as_storage_days,
    capacity_rate,
    cost,
    cycle_fade,
    cycle_resistance_rise,
    extra_fade,
    resistance_rate,
    storage_fade,
    storage_resistance_rise,
)
from scheduler.cells.estimate import Estimate
from tests.cells.frozen import frozen

STRETCHES = st.lists(st.builds(StorageSpell, st.floats(0, 200), st.floats(3.0, 4.4), st.floats(-10, 60)), max_size=6)
CELL_VOLTS = {100: 4.162, 50: 3.697417, 30: 3.626721}
"""Resting voltage of the formula's own cell, from the same replication in NREL BLAST-Lite."""
GRAPHITE = {name: kept for name, kept in frozen("ageing").items() if "Lto" not in name}
SAME_FORMULA = "Nmc111_Gr 2 Ah 2014"


@pytest.mark.parametrize(
    ("volts", "celsius", "a_cap", "month", "year", "a_res", "gain"),
    [
        (3.80, 25, 3.387860e-04, 0.4343, 2.8291, 7.071528e-04, 5.9052),
        (3.85, 25, 3.647910e-04, 0.4676, 3.0462, 7.574320e-04, 6.3250),
        (4.20, 25, 5.468263e-04, 0.7010, 4.5663, 1.109387e-03, 9.2641),
        (3.80, 40, 1.039113e-03, 1.3320, 8.6773, 1.850015e-03, 15.4488),
        (4.20, 40, 1.677208e-03, 2.1499, 14.0058, 2.902318e-03, 24.2362),
        (3.80, 10, 9.808840e-05, 0.1257, 0.8191, 2.441178e-04, 2.0385),
    ],
)
def test_storage_follows_the_published_equations(
    volts: float, celsius: float, a_cap: float, month: float, year: float, a_res: float, gain: float
) -> None:
    """Schmalstieg et al. 2014, computed from the equations as in NREL BLAST-Lite; losses in percent."""
    assert capacity_rate(volts, celsius) == pytest.approx(a_cap, rel=1e-6)
    assert resistance_rate(volts, celsius) == pytest.approx(a_res, rel=1e-6)
    assert 100 * storage_fade([StorageSpell(30, volts, celsius)]).value == pytest.approx(month, abs=6e-5)
    assert 100 * storage_fade([StorageSpell(365, volts, celsius)]).value == pytest.approx(year, abs=6e-5)
    assert 100 * storage_resistance_rise([StorageSpell(365, volts, celsius)]).value == pytest.approx(gain, abs=6e-5)


@pytest.mark.parametrize("celsius", [0, 10, 25, 40, 50])
def test_full_over_storage_voltage_is_one_ratio_at_any_temperature(celsius: float) -> None:
    assert capacity_rate(4.20, celsius) / capacity_rate(3.80, celsius) == pytest.approx(1.61408, abs=5e-6)


@pytest.mark.parametrize("volts", [3.4, 3.8, 4.2])
def test_warmth_is_one_ratio_at_any_voltage(volts: float) -> None:
    assert capacity_rate(volts, 40) / capacity_rate(volts, 25) == pytest.approx(3.06717, abs=5e-6)
    assert capacity_rate(volts, 35) / capacity_rate(volts, 25) == pytest.approx(2.13677, abs=5e-6)


def test_two_periods_are_joined_by_equivalent_age_and_not_added() -> None:
    """30 d at 4.20 V, then 60 d at 3.80 V, 25 C: 0.012037; adding the two losses would give 0.014313."""
    periods = [StorageSpell(30, 4.20, 25), StorageSpell(60, 3.80, 25)]
    assert storage_fade(periods).value == pytest.approx(0.012037, abs=5e-7)
    assert sum(storage_fade([p]).value for p in periods) == pytest.approx(0.014313, abs=5e-7)


@given(STRETCHES)
def test_the_order_and_the_splitting_of_spells_do_not_matter(episodes: list[StorageSpell]) -> None:
    halves = [s._replace(days=s.days / 2) for s in episodes for _ in range(2)]
    assert storage_fade(episodes[::-1]).value == pytest.approx(storage_fade(episodes).value)
    assert storage_fade(halves).value == pytest.approx(storage_fade(episodes).value)


@given(STRETCHES, st.floats(0, 100))
def test_more_days_never_undo_ageing(episodes: list[StorageSpell], days: float) -> None:
    longer = [*episodes, StorageSpell(days, 3.8, 25)]
    assert storage_fade(longer).value >= storage_fade(episodes).value >= 0


def test_outside_its_range_the_formula_is_clamped() -> None:
    """Unheld, the loss would turn negative below 3.1486 V."""
    assert capacity_rate(3.0, 25) == capacity_rate(3.331, 25) > 0
    assert resistance_rate(2.5, 25) == resistance_rate(3.331, 25) > 0
    assert capacity_rate(4.35, 25) == capacity_rate(4.20, 25)
    assert capacity_rate(3.8, 80) == capacity_rate(3.8, 50)
    assert capacity_rate(3.8, -20) == capacity_rate(3.8, 0)


@pytest.mark.parametrize(
    ("rms_volts", "depth", "cycles", "fade", "rise"),
    [(3.7, 0.8, 100, 0.083626, 0.089769), (3.667, 1.0, 200, 0.141966, 0.228170)],
)
def test_cycling_follows_the_published_equations(
    rms_volts: float, depth: float, cycles: float, fade: float, rise: float
) -> None:
    """Schmalstieg et al. 2014, computed from the equations as NREL BLAST-Lite replicates them."""
    assert cycle_fade(cycles, depth, rms_volts).value == pytest.approx(fade, abs=5e-7)
    assert cycle_resistance_rise(cycles, depth, rms_volts).value == pytest.approx(rise, abs=5e-7)


def test_the_range_of_cycling_is_a_factor_of_three_either_way() -> None:
    fade = cycle_fade(100, 0.8, 3.7)
    assert (fade.low, fade.high) == pytest.approx((fade.value / 3, 3 * fade.value))


def test_shallow_cycles_never_lower_the_resistance() -> None:
    assert cycle_resistance_rise(100, 0.0, 3.725).value == 0


@pytest.mark.parametrize("percents", [(100, 0), (50, 1), (30, 2)])
@pytest.mark.parametrize("days", [30, 365])
def test_storage_agrees_with_the_library_that_replicates_the_formula(percents: tuple[int, int], days: int) -> None:
    """blast-lite 1.1.1 sums hourly steps, which overshoot by up to 0.025 points of capacity."""
    percent, column = percents
    ours = storage_fade([StorageSpell(days, CELL_VOLTS[percent], 25)]).value
    assert ours == pytest.approx(1 - frozen("ageing")[SAME_FORMULA][str(days)][column], abs=2.5e-4)


def test_the_frozen_models_are_those_of_the_library() -> None:
    """blast-lite 1.1.1: fourteen models; one pouch cell's row, to see that the file is the right one."""
    assert len(frozen("ageing")) == 14
    assert frozen("ageing")["Nmc111_Gr 75 Ah 2017"]["365"] == [0.94888, 0.98985, 0.99668]


@pytest.mark.parametrize("name", GRAPHITE)
def test_the_range_of_a_loss_covers_every_published_model(name: str) -> None:
    for days, kept in GRAPHITE[name].items():
        for volts, left in zip(CELL_VOLTS.values(), kept, strict=True):
            fade = storage_fade([StorageSpell(float(days), volts, 25)])
            assert fade.low <= 1 - left <= fade.high


@pytest.mark.parametrize("name", GRAPHITE)
def test_the_ranges_of_full_against_half_cover_every_published_model(name: str) -> None:
    """Two models put full no worse than half, by less than 0.0005: they count as equal."""
    formula = capacity_rate(CELL_VOLTS[100], 25) / capacity_rate(CELL_VOLTS[50], 25)
    for days, (full, half, _) in GRAPHITE[name].items():
        ratio = max(1.0, (1 - full) / (1 - half))
        assert formula ** VOLTAGE_SPREAD[0] <= ratio <= formula ** VOLTAGE_SPREAD[1]
        extra = extra_fade(StorageSpell(float(days), CELL_VOLTS[100], 25), CELL_VOLTS[50])
        assert extra.low - 0.0005 <= half - full <= extra.high


def test_no_range_is_wider_than_the_models_ask_for() -> None:
    def multiples(days: str) -> list[float]:
        formula = [storage_fade([StorageSpell(float(days), v, 25)]).value for v in CELL_VOLTS.values()]
        return [(1 - k) / f for kept in GRAPHITE.values() for k, f in zip(kept[days], formula, strict=True)]

    found = multiples("30") + multiples("365")
    assert LOSS_SPREAD[0] > 0.8 * min(found)
    assert LOSS_SPREAD[1] < 1.1 * max(found)
    assert EXTRA_SPREAD[0] == 0


def test_six_days_full_cost_what_eleven_at_storage_charge_do() -> None:
    days = as_storage_days(StorageSpell(6, 4.20, 25), 3.80)
    assert days.value == pytest.approx(6 * 1.61408 ** (4 / 3), rel=1e-4)
    assert (days.low, round(days.value, 1), round(days.high, 1)) == (6, 11.4, 33.6)


@given(st.floats(0, 100), st.floats(3.4, 4.2), st.floats(3.4, 4.2), st.floats(0, 50), st.floats(0, 300))
def test_days_at_storage_charge_age_a_pack_equally_at_any_age(
    days: float, volts: float, storage: float, celsius: float, age: float
) -> None:
    before = [StorageSpell(age, 3.9, 20)]
    same = as_storage_days(StorageSpell(days, volts, celsius), storage).value
    there = storage_fade([*before, StorageSpell(days, volts, celsius)]).value
    assert storage_fade([*before, StorageSpell(same, storage, celsius)]).value == pytest.approx(there)


def test_an_aged_pack_loses_less_to_the_same_spell() -> None:
    episode = StorageSpell(6, 4.20, 25)
    assert extra_fade(episode, 3.80, faded=0.1).value < extra_fade(episode, 3.80).value
    year = StorageSpell(365, 3.9, 25)
    full, half = (storage_fade([year, episode._replace(volts=v)]).value for v in (4.20, 3.80))
    assert extra_fade(episode, 3.80, faded=storage_fade([year]).value).value == pytest.approx(full - half)
    assert extra_fade(StorageSpell(6, 3.7, 25), 3.80).value == 0


def test_money_is_the_share_of_the_way_to_the_end_of_life() -> None:
    fade = Estimate(0.02, 0.01, 0.04, "b")
    assert cost(fade, 139)[:3] == cost(fade, 139, 0.8)[:3] == pytest.approx((13.9, 6.95, 27.8))
    assert cost(fade, 139, 0).value == pytest.approx(2.78)
    with pytest.raises(ValueError, match="from 0 to below 1"):
        cost(Estimate(0, 0, 0, ""), 139, 1.0)


@pytest.mark.parametrize("days", [-1, float("nan")])
def test_a_spell_of_negative_length_is_refused(days: float) -> None:
    with pytest.raises(ValueError, match="0 days or more"):
        storage_fade([StorageSpell(days, 3.8, 25)])
    with pytest.raises(ValueError, match="0 days or more"):
        as_storage_days(StorageSpell(days, 4.2, 25), 3.8)
