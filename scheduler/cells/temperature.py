"""May a pack be charged at this temperature?"""

from typing import Literal

FREEZING = 0.0
MILD = 10.0
HOTTEST = 60.0
"""Degrees Celsius: no profile allows charging above it (JEITA guideline, read in a secondary text)."""


def charging(celsius: float, ceiling: float = 40.0) -> Literal["no", "slowly", "yes"]:
    """Whether to charge at a cell temperature in degrees Celsius.

    No below 0 C, where lithium plates the anode for good, and above the ceiling: 40 C (US Fire
    Administration's advice; its 105 F is 40.6 C) or 45 C (the traditional window of cell makers). Slowly,
    at half C, up to 10 C (JEITA guideline, read in a secondary text). Raises ValueError for a ceiling
    outside 10 to 60 C.
    """
    if not MILD <= ceiling <= HOTTEST:
        raise ValueError(f"a ceiling of {ceiling:g} C: {MILD:g} to {HOTTEST:g} C would be right")
    if not FREEZING <= celsius <= ceiling:
        return "no"
    return "slowly" if celsius < MILD else "yes"
