"""Write estimates, dates and counts for the page on a pack."""

from scheduler.answers.desk import Desk
from scheduler.base.instants import DAY, to_datetime
from scheduler.cells.estimate import Estimate
from scheduler.reports.pack_report import PackReport

_FAR_DAYS = 47482
"""2100-01-01, in days since 1970: a later date says only that it is far away."""

_WITH_CENTS = ("AUD", "CAD", "EUR", "NZD", "USD")


def ranged(estimate: Estimate, unit: str, digits: int = 0, one: str = "") -> str:
    """Write "95 % (93 to 96)"; `digits`: significant, if small; `one`: unit after 1."""
    value, low, high = (number(x, digits) for x in estimate[:3])
    return f"{value} {one if one and value == '1' else unit} ({low} to {high})"


def money(estimate: Estimate, currency: str) -> str:
    """Write "7.3 EUR (5.1 to 12)", or "6 cents (0 to 35)".

    Cents where all is below one of a currency that has them.
    """
    if estimate.high < 1 and currency in _WITH_CENTS:
        return ranged(estimate.times(100), "cents", one="cent")
    return ranged(estimate, currency, digits=2)


def number(value: float, digits: int = 0) -> str:
    """Write a whole number, or at least so many significant digits."""
    return f"{value:.0f}" if not digits or value >= 10**digits else f"{value:.{digits}g}"


def ratio(estimate: Estimate) -> str:
    """Write "0.88 (0.82 to 0.90)", or "0.88" where the range rounds to it."""
    value, low, high = (f"{x:.2f}" for x in estimate[:3])
    return value if low == high else f"{value} ({low} to {high})"


def counted(amount: object, name: str, many: str = "") -> str:
    """Write "1 flight", "56 flights"."""
    text = f"{amount:.0f}"
    return f"{text} {name if text == '1' else many or f'{name}s'}"


def full_cycles(report: PackReport) -> str:
    """Write "41.7 equivalent full cycles": all charge drawn, in full charges."""
    return f"{report.facts['cycles']:.1f} equivalent full cycles"


def day(at: Desk, instant: int) -> str:
    """Write "1 Mar 2026"."""
    when = to_datetime(instant, at.setup.hours.zone)
    return f"{when.day} {when:%b %Y}"


def month(at: Desk, instant: float) -> str:
    """Write "Mar 2026"."""
    if instant >= _FAR_DAYS * DAY:
        return "after 2100"
    return f"{to_datetime(round(instant), at.setup.hours.zone):%b %Y}"
