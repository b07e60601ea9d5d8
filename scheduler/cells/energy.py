"""Watt-hours, C-rates, times to charge and drain, and temperatures to charge at."""

from typing import Literal

from scheduler.cells.curves import check_chemistry
from scheduler.cells.estimate import Estimate

NOMINAL_VOLTS = {"lipo": 3.7, "lihv": 3.8, "li-ion": 3.7}
"""Volts per cell for the rated energy, if the label gives none. PX4 battery guide; lihv from a secondary text."""

CHARGE_FACTOR = (1.06, 1.0, 1.2)
"""Energy put in per nominal energy stored: usual, smallest, greatest. Cells charge above their nominal voltage: the
record of ACCURACY.md took 1.06 at half of 1C. The range is an estimate."""
TAPER = ((90.0, 3.0), (96.0, 3.5), (85.0, 3.0))
"""Percent from which the current tapers off, and how many times longer each percent then takes: usual, smallest,
greatest. The smallest is from the record of ACCURACY.md at half of 1C; the others are estimates for 1C."""
DRAIN_FACTOR = (1.0, 0.9, 1.2)
"""Time drained per nominal energy: usual, smallest, greatest. Estimate: dischargers slow down towards the end."""

SMALL_WH, LARGE_WH = 100.0, 160.0
"""Limits of rated energy in passengers' baggage: spares up to the first freely, up to the second with approval.
49 CFR 175.10(a)(18), wording from memory."""
FREEZING = 0.0
MILD = 10.0
HOTTEST = 60.0
"""Degrees Celsius: no profile allows charging above it (JEITA guideline, read in a secondary text)."""


def nominal_volts(chemistry: str, cells: int) -> float:
    """Return a pack's nominal volts, `cells` in series. ValueError: unknown chemistry."""
    check_chemistry(chemistry)
    return NOMINAL_VOLTS[chemistry] * cells


def watt_hours(capacity_ah: float, volts: float) -> float:
    """Return the rated energy: Ah x NOMINAL volts, never full volts. 49 CFR 171.8."""
    return capacity_ah * volts


def c_rate(amps: float, capacity_ah: float) -> float:
    """Return a current over the capacity: 20 A from 2 Ah is 10 (PX4 battery guide)."""
    return amps / capacity_ah


def amps_at(rate: float, capacity_ah: float) -> float:
    """Return the current, in A, at a C-rate: the inverse of `c_rate`."""
    return rate * capacity_ah


def minutes_to_charge(
    pack_wh: float, percent_from: float, percent_to: float, watts: float, most_c: float = 1.0
) -> Estimate:
    """Return the minutes to charge a pack. ESTIMATE: see `CHARGE_FACTOR` and `TAPER`.

    Given: nominal energy; percent before and after; the power the charger gives this pack; the highest C-rate the pack
    is charged at. 0 where the pack is already there. Raises ValueError for no energy or no power.
    """
    _check(pack_wh, watts)
    per_percent = 0.6 * pack_wh / min(watts, most_c * pack_wh)
    value, low, high = (
        per_percent * factor * _at_full_power(percent_from, percent_to, *taper)
        for factor, taper in zip(CHARGE_FACTOR, TAPER, strict=True)
    )
    # Near the top, the assumptions that make a whole charge quick make the last points slow.
    low, high = min(value, low, high), max(value, low, high)
    return Estimate(value, low, high, "estimate: nominal energy over power, slower at the top")


def _at_full_power(percent_from: float, percent_to: float, knee: float, slowness: float) -> float:
    """Return the points that take as long at full power as this span does.

    The part of the span above the knee is slow.
    """
    below = max(0.0, min(percent_to, knee) - percent_from)
    above = max(0.0, percent_to - max(percent_from, knee))
    return below + slowness * above


def minutes_to_drain(pack_wh: float, percent_from: float, percent_to: float, watts: float) -> Estimate:
    """Return the minutes to discharge one pack at a power in watts.

    ESTIMATE: see `DRAIN_FACTOR`. Raises ValueError.
    """
    _check(pack_wh, watts)
    minutes = 0.6 * pack_wh * max(0.0, percent_from - percent_to) / watts
    value, low, high = (factor * minutes for factor in DRAIN_FACTOR)
    return Estimate(value, low, high, "estimate: nominal energy over power")


def _check(pack_wh: float, watts: float) -> None:
    if not (pack_wh > 0 and watts > 0):
        raise ValueError(f"{pack_wh:g} Wh at {watts:g} W: both above 0 would be right")


def may_charge(celsius: float, ceiling: float = 40.0) -> Literal["no", "slowly", "yes"]:
    """Return whether to charge at a cell temperature in degrees Celsius.

    No below 0 C, where lithium plates the anode permanently, and above the ceiling: 40 C (US Fire Administration's
    advice; its 105 F is 40.6 C) or 45 C (the traditional window of cell makers). Slowly, at half C, up to 10 C (JEITA
    guideline, read in a secondary text). Raises ValueError for a ceiling outside 10 to 60 C.
    """
    if not MILD <= ceiling <= HOTTEST:
        raise ValueError(f"a ceiling of {ceiling:g} C: {MILD:g} to {HOTTEST:g} C would be right")
    if not FREEZING <= celsius <= ceiling:
        return "no"
    return "slowly" if celsius < MILD else "yes"
