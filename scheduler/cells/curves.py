"""Open-circuit voltage of a cell against its charge: published curves.

The first curve of a chemistry is the one in use; the others show how far published cells of that kind differ. Each is
named by the publication whose parameters PyBaMM 26.10.1.1 (BSD-3-Clause) carries, and runs from that publication's own
cut-off voltage (0 %) to full (100 %), at about 25 C and at rest:

- lipo: Ai et al. 2020 (cobalt oxide pouch, 3.0 to 4.2 V); spread by Ramadass et al. 2004 (cobalt oxide),
  Ecker et al. 2015 (nickel cobalt oxide pouch) and Mohtat et al. 2020 (NMC532 pouch).
- lihv: no published curve was found. ESTIMATE: the electrodes of the lipo curves taken on to 4.35 V, where
  they hold 6 to 11 % more than at 4.20 V; the topmost part lies beyond the electrodes' tables.
- li-ion: Chen et al. 2020 (NMC811 round cell, 2.5 to 4.2 V); spread by Kim et al. 2011 (NCA) and Mohtat et
  al. 2020.

The numbers are those of tests/cells/fixtures/curves.json, made by make_curves.py beside it.
"""

from bisect import bisect_right
from collections.abc import Sequence

PERCENT: tuple[float, ...] = (0, 1, 2, *range(5, 101, 5))
"""The charge, in percent, to which each voltage below belongs."""

# fmt: off
CURVES: dict[str, dict[str, tuple[float, ...]]] = {
    "lipo": {
        "Ai2020": (
            3, 3.2192, 3.3388, 3.5421, 3.6396, 3.6654, 3.6954, 3.7168, 3.7331, 3.7481, 3.7622, 3.7763,
            3.7925, 3.8122, 3.8365, 3.8675, 3.9089, 3.9519, 3.9945, 4.0409, 4.0879, 4.1384, 4.2,
        ),
        "Ramadass2004": (
            2.8, 3.0828, 3.231, 3.4462, 3.5955, 3.6663, 3.7063, 3.7323, 3.7522, 3.7699, 3.7875, 3.8062,
            3.8266, 3.8491, 3.8738, 3.9009, 3.9304, 3.9626, 3.9977, 4.0363, 4.0798, 4.1313, 4.2,
        ),
        "Ecker2015": (
            2.5, 2.8797, 3.0344, 3.2938, 3.4586, 3.5277, 3.587, 3.6565, 3.7094, 3.743, 3.77, 3.7805,
            3.7873, 3.7979, 3.8155, 3.8417, 3.8823, 3.94, 3.9868, 4.0304, 4.0789, 4.1353, 4.2,
        ),
        "Mohtat2020": (
            2.8, 3.1142, 3.2852, 3.462, 3.5107, 3.5395, 3.5847, 3.6202, 3.6389, 3.6538, 3.671, 3.6914,
            3.7155, 3.7446, 3.7968, 3.8399, 3.8797, 3.9232, 3.9705, 4.0216, 4.0767, 4.136, 4.2,
        ),
    },
    "lihv": {
        "Ai2020 to 4.35 V": (
            3, 3.2323, 3.3561, 3.562, 3.6435, 3.6755, 3.7046, 3.7239, 3.7414, 3.7572, 3.7723, 3.7893,
            3.8102, 3.8365, 3.871, 3.917, 3.9632, 4.011, 4.0618, 4.1152, 4.1722, 4.2598, 4.35,
        ),
        "Ramadass2004 to 4.35 V": (
            2.8, 3.0936, 3.2439, 3.459, 3.6062, 3.6748, 3.7131, 3.7384, 3.7584, 3.7769, 3.7959, 3.8165,
            3.8392, 3.8644, 3.8921, 3.9226, 3.956, 3.9926, 4.0329, 4.0786, 4.1331, 4.2076, 4.35,
        ),
        "Ecker2015 to 4.35 V": (
            2.5, 2.9002, 3.0614, 3.3225, 3.4773, 3.5461, 3.6171, 3.6889, 3.732, 3.7652, 3.7797, 3.7871,
            3.7992, 3.82, 3.8521, 3.9061, 3.9661, 4.0143, 4.0659, 4.1266, 4.1976, 4.2749, 4.35,
        ),
    },
    "li-ion": {
        "Chen2020": (
            2.5, 2.7114, 2.8625, 3.1094, 3.2959, 3.4339, 3.4852, 3.5286, 3.5814, 3.629, 3.667, 3.7054,
            3.7509, 3.7983, 3.8406, 3.8896, 3.9479, 3.9943, 4.0421, 4.0809, 4.0967, 4.1236, 4.2,
        ),
        "NCA_Kim2011": (
            2.7, 3.0127, 3.1181, 3.1939, 3.2471, 3.3099, 3.3721, 3.4331, 3.4918, 3.5472, 3.5978, 3.643,
            3.6846, 3.7253, 3.7678, 3.8163, 3.8742, 3.93, 3.9803, 4.0295, 4.0803, 4.1354, 4.2,
        ),
        "Mohtat2020": (
            2.8, 3.1142, 3.2852, 3.462, 3.5107, 3.5395, 3.5847, 3.6202, 3.6389, 3.6538, 3.671, 3.6914,
            3.7155, 3.7446, 3.7968, 3.8399, 3.8797, 3.9232, 3.9705, 4.0216, 4.0767, 4.136, 4.2,
        ),
    },
}
"""Volts per cell by chemistry and publication, rising."""
# fmt: on


def interpolate(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """Return y at x through (xs, ys), constant beyond both ends; xs rise strictly."""
    i = min(max(bisect_right(xs, x), 1), len(xs) - 1)
    share = min(max((x - xs[i - 1]) / (xs[i] - xs[i - 1]), 0.0), 1.0)
    return ys[i - 1] + share * (ys[i] - ys[i - 1])


def check_chemistry(chemistry: str) -> None:
    """Raise ValueError, with the nearest known name, for a chemistry without curves."""
    if chemistry not in CURVES:
        from difflib import get_close_matches

        near = get_close_matches(chemistry.lower(), CURVES, n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise ValueError(f"unknown chemistry {chemistry!r}: {', '.join(CURVES)} would be right{hint}")
