"""How storage and cycling age a cell: good for ranking, not for promises.

A published formula: Schmalstieg et al. 2014, J. Power Sources 257, 325, as replicated in NREL BLAST-Lite
(BSD-3-Clause): one 18650 NMC cell of 2.15 Ah, not a high-rate pouch. Capacity falls by a * t^0.75, so periods are
joined at the age at which the later one's conditions would have caused the same loss, never by adding powers. For x =
loss^(4/3) that is plain addition: x grows by a^(4/3) per day.

The models in that collection disagree widely; ranges given here cover the thirteen with a graphite anode, for storage
of 30 and 365 days at 25 C (tests/cells/fixtures/ageing.json).
"""

from collections.abc import Sequence
from math import exp
from typing import NamedTuple

from scheduler.cells.estimate import Estimate

POWER = 0.75
CELL_AH = 2.15
VALID_VOLTS = (3.331, 4.20)
"""That cell's resting voltage when empty, and its charge limit. Values outside are clamped."""
VALID_CELSIUS = (0.0, 50.0)
"""Storage was measured up to 50 C; how far down is not known here. Values outside are clamped."""

LOSS_SPREAD = (1 / 9, 5.5)
"""Storage loss by the published models as a multiple of the formula's: smallest and greatest, rounded outward."""
EXTRA_SPREAD = (0.0, 5.6)
"""The same for the loss at 100 % less that at 50 %; two models find none."""
VOLTAGE_SPREAD = (0.0, 2.7)
"""The power of the formula's ratio of losses, 100 % to 50 %, that gives the models' ratios (1.0 to 5.04)."""
CYCLE_SPREAD = (1 / 3, 3.0)
"""Estimate without source: the formula knows neither temperature nor C-rate of cycling."""

_BASIS = "estimate: formula of Schmalstieg et al. 2014, another cell; range: 13 published models"
_CYCLE_BASIS = "estimate: formula of Schmalstieg et al. 2014, near 1C and 35 C; range assumed"


class StorageSpell(NamedTuple):
    """A time of storage: days, resting volts per cell, degrees Celsius."""

    days: float
    volts: float
    celsius: float


def capacity_rate(volts: float, celsius: float) -> float:
    """Return the storage loss, fraction of the initial capacity per day^0.75.

    Given: resting volts per cell and Celsius, clamped to the valid ranges. (7.543 V - 23.75) 1e6 exp(-6976 / T), T in
    kelvin.
    """
    return _rate(volts, celsius, 7.543e6, 23.75e6, 6976)


def resistance_rate(volts: float, celsius: float) -> float:
    """Return the storage gain, fraction of the initial resistance per day^0.75.

    Given: resting volts per cell and Celsius, clamped to the valid ranges. (5.270 V - 16.32) 1e5 exp(-5986 / T), T in
    kelvin.
    """
    return _rate(volts, celsius, 5.270e5, 16.32e5, 5986)


def _rate(volts: float, celsius: float, slope: float, offset: float, kelvins: float) -> float:
    volts, celsius = _clamped(volts, VALID_VOLTS), _clamped(celsius, VALID_CELSIUS)
    return (slope * volts - offset) * exp(-kelvins / (celsius + 273.15))


def _clamped(value: float, limits: tuple[float, float]) -> float:
    return min(max(value, limits[0]), limits[1])


def storage_fade(spells: Sequence[StorageSpell]) -> Estimate:
    """Return the capacity lost in storage since new, fraction of the initial.

    The order of spells does not matter. Raises ValueError for a spell of negative length, as do the functions below.
    """
    periods = [(capacity_rate(s.volts, s.celsius), s.days) for s in spells]
    return _ranged(_joined(periods), LOSS_SPREAD)


def storage_resistance_rise(spells: Sequence[StorageSpell]) -> Estimate:
    """Return the resistance gained in storage, fraction of the initial.

    Its range is that of the capacity.
    """
    periods = [(resistance_rate(s.volts, s.celsius), s.days) for s in spells]
    return _ranged(_joined(periods), LOSS_SPREAD)


def _joined(periods: Sequence[tuple[float, float]], before: float = 0.0) -> float:
    """Return the loss after periods of (rate, days) on top of `before`, at equal loss."""
    if any(not days >= 0 for _, days in periods):
        raise ValueError("a storage of negative length: 0 days or more would be right")
    grown = sum(rate ** (1 / POWER) * days for rate, days in periods)
    return float((before ** (1 / POWER) + grown) ** POWER)


def as_storage_days(spell: StorageSpell, storage_volts: float) -> Estimate:
    """Return the days at storage charge that age a pack as much as this spell.

    At the same temperature. The pack's age does not matter in the formula's time law; in a model whose loss levels off
    sooner the days would be even more. Full at 4.20 V against 3.80 V: 1.89 days for each, 1 to 5.6.
    """
    _joined([(0.0, spell.days)])
    ratio = capacity_rate(spell.volts, spell.celsius) / capacity_rate(storage_volts, spell.celsius)
    value, *ends = (spell.days * ratio ** (power / POWER) for power in (1.0, *VOLTAGE_SPREAD))
    return Estimate(value, min(ends), max(ends), _BASIS)


def extra_fade(spell: StorageSpell, storage_volts: float, faded: float = 0.0) -> Estimate:
    """Return the capacity lost by storing at these volts and not at storage volts.

    A fraction of the initial, not below 0. `faded` is the fraction lost before: the same spell takes less from an aged
    pack.
    """
    rates = (capacity_rate(volts, spell.celsius) for volts in (spell.volts, storage_volts))
    actual, ideal = (_joined([(rate, spell.days)], faded) for rate in rates)
    return _ranged(max(0.0, actual - ideal), EXTRA_SPREAD)


def cycle_fade(cycles: float, depth: float, rms_volts: float) -> Estimate:
    """Return the capacity lost to cycling, fraction of the initial.

    Given: equivalent full cycles; their depth as a fraction; root mean square of the cell's resting volts.

    b sqrt(Q), b = 7.348e-3 (V - 3.667)^2 + 7.6e-4 + 4.081e-3 depth, Q = 2 x 2.15 Ah x cycles.
    """
    coefficient = 7.348e-3 * (rms_volts - 3.667) ** 2 + 7.6e-4 + 4.081e-3 * depth
    return _ranged(coefficient * (2 * CELL_AH * cycles) ** 0.5, CYCLE_SPREAD, _CYCLE_BASIS)


def cycle_resistance_rise(cycles: float, depth: float, rms_volts: float) -> Estimate:
    """Return the resistance gained by cycling, fraction of the initial.

    Arguments as of `cycle_fade`. b Q, b = 2.153e-4 (V - 3.725)^2 - 1.521e-5 + 2.798e-4 depth, not below 0.
    """
    coefficient = 2.153e-4 * (rms_volts - 3.725) ** 2 - 1.521e-5 + 2.798e-4 * depth
    return _ranged(max(0.0, coefficient) * 2 * CELL_AH * cycles, CYCLE_SPREAD, _CYCLE_BASIS)


def cost(fade: Estimate, price: float, end_of_life: float = 0.8) -> Estimate:
    """Return the cost of a loss of capacity: its share of the way to the end of life.

    In the unit of the price. `end_of_life` is the fraction of the initial capacity at which the pack is retired, 0.8 by
    custom (Preger et al., doi 10.1115/1.4071224). Raises ValueError outside [0, 1).
    """
    if not 0 <= end_of_life < 1:
        raise ValueError(f"an end of life at {end_of_life:g}: a fraction from 0 to below 1 would be right")
    return fade.times(price / (1 - end_of_life))


def _ranged(value: float, spread: tuple[float, float], basis: str = _BASIS) -> Estimate:
    return Estimate(value, value * spread[0], value * spread[1], basis)
