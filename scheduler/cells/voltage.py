"""Charge from a resting voltage and back, per cell.

On the flat middle of a curve a hundredth of a volt is about three percent of charge, so a voltage tells the
charge of an unknown cell only roughly. The range spans the published curves of `curves.py`; a
cell of another make-up lies outside it: one LMO/NCA pouch held up to 28 points less than returned (ACCURACY.md).
"""

from scheduler.cells.curves import CURVES, PERCENT, check_chemistry, interpolate
from scheduler.cells.estimate import Estimate

FULL_VOLTS = {chemistry: next(iter(curves.values()))[-1] for chemistry, curves in CURVES.items()}
"""Volts per cell when full: lipo 4.20, lihv 4.35, li-ion 4.20."""

TOLERANCE_VOLTS = 0.03
"""How far above full a reading still counts as full. Estimate: charger and meter together; no source."""

LEAST_VOLTS = 1.0
"""A reading below this counts as a mistake: a live cell is never so low. Common practice, no source."""

LEAST_REST_MINUTES = 30.0
"""After half an hour the open pouch-cell record of ACCURACY.md is within 6 mV of its voltage after an hour
(after ten minutes 14 mV) at a third of 1C. Flights draw more, so an hour is better."""

_BASIS = {
    "lipo": "resting voltage on the curve of Ai et al. 2020; range: four published cells",
    "lihv": "estimate: resting voltage on lipo electrodes taken on to 4.35 V; range: three such curves",
    "li-ion": "resting voltage on the curve of Chen et al. 2020; range: three published cells",
}


def charge_at(
    volts: float,
    chemistry: str,
    rested_minutes: float | None = None,
    least_rest_minutes: float = LEAST_REST_MINUTES,
) -> Estimate:
    """Return the percent of charge at a resting voltage.

    Given: volts per cell; chemistry lipo, lihv or li-ion; how long the cell had rested, None when the
    caller vouches for it. Returns percent, 0 to 100. Raises ValueError for an unknown chemistry, an
    implausible voltage, or a rest shorter than `least_rest_minutes`. Source: see `curves.py`.
    """
    check_volts(volts, chemistry)
    if rested_minutes is not None and rested_minutes < least_rest_minutes:
        raise ValueError(
            f"{volts:g} V after {rested_minutes:g} min of rest does not tell the charge: "
            f"measure again after at least {least_rest_minutes:g} min"
        )
    readings = [interpolate(volts, curve, PERCENT) for curve in CURVES[chemistry].values()]
    return Estimate(readings[0], min(readings), max(readings), _BASIS[chemistry])


def volts_at(percent: float, chemistry: str) -> Estimate:
    """Invert `charge_at`: return volts per cell for 0 to 100 %. Raises ValueError."""
    check_chemistry(chemistry)
    if not 0 <= percent <= 100:
        raise ValueError(f"{percent:g} % is no charge: 0 to 100 % would be right")
    readings = [interpolate(percent, PERCENT, curve) for curve in CURVES[chemistry].values()]
    return Estimate(readings[0], min(readings), max(readings), _BASIS[chemistry])


def check_volts(volts: float, chemistry: str) -> None:
    """Raise ValueError, saying what would be right, for volts no such cell rests at."""
    check_chemistry(chemistry)
    full = FULL_VOLTS[chemistry]
    if not volts <= full + TOLERANCE_VOLTS:
        others = [f"{c} ({top:.2f} V)" for c, top in FULL_VOLTS.items() if volts <= top + TOLERANCE_VOLTS]
        hint = f"it would suit {' or '.join(others)}" if others else "is the number of cells right?"
        raise ValueError(f"{volts:g} V per cell is more than a full {chemistry} cell has, {full:.2f} V at most; {hint}")
    if volts < LEAST_VOLTS:
        raise ValueError(
            f"{volts:g} V per cell is too low for a live cell, {LEAST_VOLTS:g} V at least; "
            "is it the pack's total, and the number of cells right?"
        )


def rested_volts(volts: float, amps: float, mohm_per_cell: float, cells: int) -> float:
    """Return a pack's voltage without its load: volts + amps x resistance of the pack.

    `amps` is positive when discharging, negative when charging. Corrects the ohmic part only: a pack recovers for
    another hour after its load. Raises ValueError. Source: PX4 guide, "Battery and Power Module Setup".
    """
    if cells < 1 or mohm_per_cell < 0:
        raise ValueError(f"{cells} cells of {mohm_per_cell:g} mOhm: 1 cell and 0 mOhm or more would be right")
    return volts + amps * mohm_per_cell / 1000 * cells
