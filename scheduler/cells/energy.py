"""Watt-hours, C-rates, and how long charging and draining take."""

from scheduler.cells.curves import check_chemistry
from scheduler.cells.estimate import Estimate

NOMINAL_VOLTS = {"lipo": 3.7, "lihv": 3.8, "li-ion": 3.7}
"""Volts per cell for rating, where the label gives none. PX4 battery guide; lihv from a secondary text."""

CHARGE_FACTOR = (1.06, 1.0, 1.2)
"""Energy put in per nominal energy stored: usual, least, most. Cells charge above their nominal voltage: the
record of ACCURACY.md took 1.06 at half of 1C. The ends are estimates."""
TAPER = ((90.0, 3.0), (96.0, 3.5), (85.0, 3.0))
"""Percent from which the current falls away, and how many times longer each percent then takes: usual, least,
most. The least is what the record of ACCURACY.md did at half of 1C; the others are estimates for 1C."""
DRAIN_FACTOR = (1.0, 0.9, 1.2)
"""Time drained per nominal energy: usual, least, most. Estimate: dischargers slow down towards the end."""

SMALL_WH, LARGE_WH = 100.0, 160.0
"""Bands of rated energy in passengers' baggage: spares up to the first freely, up to the second with approval.
49 CFR 175.10(a)(18), wording from memory."""


def nominal_volts(chemistry: str, cells: int) -> float:
    """A pack's nominal voltage, for `cells` in series. Raises ValueError for an unknown chemistry."""
    check_chemistry(chemistry)
    return NOMINAL_VOLTS[chemistry] * cells


def watt_hours(capacity_ah: float, volts: float) -> float:
    """Rated energy: ampere-hours x NOMINAL volts of the pack, never its full voltage. 49 CFR 171.8."""
    return capacity_ah * volts


def c_rate(amps: float, capacity_ah: float) -> float:
    """Current as a multiple of the capacity: 20 A from 2 Ah is 10. Source: PX4 battery guide."""
    return amps / capacity_ah


def amps_at(rate: float, capacity_ah: float) -> float:
    """The current, in A, at a C-rate: the inverse of `c_rate`."""
    return rate * capacity_ah


def minutes_to_charge(
    pack_wh: float, percent_from: float, percent_to: float, watts: float, most_c: float = 1.0
) -> Estimate:
    """Minutes to charge one pack. ESTIMATE: see `CHARGE_FACTOR` and `TAPER`.

    Given: nominal energy; percent before and after; the power the charger gives this pack; the highest C-rate
    the pack is charged at. 0 where the pack is already there. Raises ValueError for no energy or no power.
    """
    _check(pack_wh, watts)
    per_percent = 0.6 * pack_wh / min(watts, most_c * pack_wh)
    value, low, high = (
        per_percent * factor * _at_full_power(percent_from, percent_to, *taper)
        for factor, taper in zip(CHARGE_FACTOR, TAPER, strict=True)
    )
    return Estimate(value, low, high, "estimate: nominal energy over power, slower at the top")


def _at_full_power(percent_from: float, percent_to: float, knee: float, slowness: float) -> float:
    """The span at full power, in points, that takes as long as this one with its slow part above the knee."""
    below = max(0.0, min(percent_to, knee) - percent_from)
    above = max(0.0, percent_to - max(percent_from, knee))
    return below + slowness * above


def minutes_to_drain(pack_wh: float, percent_from: float, percent_to: float, watts: float) -> Estimate:
    """Minutes to discharge one pack at a power in watts. ESTIMATE: see `DRAIN_FACTOR`. Raises ValueError."""
    _check(pack_wh, watts)
    minutes = 0.6 * pack_wh * max(0.0, percent_from - percent_to) / watts
    value, low, high = (factor * minutes for factor in DRAIN_FACTOR)
    return Estimate(value, low, high, "estimate: nominal energy over power")


def _check(pack_wh: float, watts: float) -> None:
    if not (pack_wh > 0 and watts > 0):
        raise ValueError(f"{pack_wh:g} Wh at {watts:g} W: both above 0 would be right")
