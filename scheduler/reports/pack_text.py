"""How the page on a pack writes estimates, dates and counts."""

from scheduler.answers.desk import Desk
from scheduler.base.instants import DAY, to_datetime
from scheduler.cells.estimate import Estimate
from scheduler.reports.pack_report import PackReport

FAR = 2100
"""A year from which on a date says no more than that it is far."""
_FAR_DAYS = 47482
"""2100-01-01, in days since 1970."""


def ranged(estimate: Estimate, unit: str, digits: int = 0, one: str = "") -> str:
    """ "95 % (93 to 96)"; `digits`: significant digits for small values instead of whole numbers; `one`: the unit of a
    single one, where it is another word."""
    value, low, high = (number(x, digits) for x in estimate[:3])
    return f"{value} {one if one and value == '1' else unit} ({low} to {high})"


def number(value: float, digits: int = 0) -> str:
    """A number in whole units, or with at least so many significant digits."""
    return f"{value:.0f}" if not digits or value >= 10**digits else f"{value:.{digits}g}"


def ratio(estimate: Estimate) -> str:
    """ "0.88 (0.82 to 0.90)", or "0.88" where the range rounds to it."""
    value, low, high = (f"{x:.2f}" for x in estimate[:3])
    return value if low == high else f"{value} ({low} to {high})"


def counted(amount: object, name: str, many: str = "") -> str:
    """ "1 flight", "56 flights"."""
    text = f"{amount:.0f}"
    return f"{text} {name if text == '1' else many or f'{name}s'}"


def full_cycles(sheet: PackReport) -> str:
    """ "41.7 equivalent full cycles": all that was taken out, in full charges."""
    return f"{sheet.facts['cycles']:.1f} equivalent full cycles"


def day(at: Desk, instant: int) -> str:
    """ "1 Mar 2026"."""
    when = to_datetime(instant, at.setup.hours.zone)
    return f"{when.day} {when:%b %Y}"


def month(at: Desk, instant: float) -> str:
    """ "Mar 2026"; far ahead only that it is."""
    if instant >= _FAR_DAYS * DAY:
        return f"after {FAR}"
    return f"{to_datetime(round(instant), at.setup.hours.zone):%b %Y}"
