"""What an item's nameplate rules out: refused when logged for the first time.

An exported line was accepted once already, perhaps under another nameplate, and is not judged again. About what is
merely doubtful, `log` asks.
"""

from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any, Protocol

from scheduler.base.instants import parse_date
from scheduler.base.text import is_blank
from scheduler.cells.voltage import FULL_VOLTS, TOLERANCE_VOLTS, check_volts


class ItemLike(Protocol):
    """An item, as far as these checks know it."""

    @property
    def kind(self) -> str:
        """Its kind."""

    @property
    def plate(self) -> dict[str, Any]:
        """Its nameplate, defaults filled in."""


Items = Callable[[str], ItemLike | None]
Event = dict[str, Any]


def impossible(event: Event, items: Items) -> list[str]:
    """Return why a well-formed event cannot be; empty if it can."""
    blank = [
        f"{name}: nothing is given here" for name, value in event.items() if isinstance(value, str) and is_blank(value)
    ]
    return blank + (list(_CHECKS[event["what"]](event, items)) if event["what"] in _CHECKS else [])


def _measured(event: Event, items: Items) -> Iterator[str]:
    item = items(event["item"])
    if item is None or item.kind != "pack":
        return
    cells, chemistry, full = item.plate["cells"], item.plate["chemistry"], FULL_VOLTS[item.plate["chemistry"]]
    if "rest_volts" in event and (wrong := _off(event["rest_volts"] / cells, chemistry)):
        reason = _meant(event, cells, chemistry) or wrong
        yield f"rest_volts {event['rest_volts']:g} V for {event['item']}, {cells} cells: {reason}"
    each = event.get("cell_volts", [])
    if each and len(each) != cells:
        yield f"cell_volts has {len(each)} voltages and {event['item']} {cells} cells: one for each, by comma"
    if any(volts > full + TOLERANCE_VOLTS for volts in each):
        yield f"cell_volts {max(each):g} V is more than a full {chemistry} cell has, {full:.2f} V at most"


def _off(per_cell: float, chemistry: str) -> str:
    try:
        check_volts(per_cell, chemistry)
    except ValueError as wrong:
        return str(wrong).replace(f"{per_cell:g} V", f"{per_cell:.2f} V", 1)
    return ""


def _meant(event: Event, cells: int, chemistry: str) -> str:
    """Return what may have been meant, where the number is the voltage of one cell."""
    volts = event["rest_volts"]
    if cells == 1 or _off(volts, chemistry):
        return ""
    each = ",".join(["VOLTS"] * cells)
    return f"it is the voltage of the whole pack; did you mean --cell_volts {each}, or --rest_volts {volts * cells:g}?"


def _flown(event: Event, items: Items) -> Iterator[str]:
    for name in event["packs"] if "lowest_volts" in event else ():
        item = items(name)
        if item is None:
            continue
        most = item.plate["cells"] * (FULL_VOLTS[item.plate["chemistry"]] + TOLERANCE_VOLTS)
        if event["lowest_volts"] > most:
            yield f"lowest_volts {event['lowest_volts']:g} V is more than {name} has when full, {most:.2f} V"


def _inspected(event: Event, _: Items) -> Iterator[str]:
    if event["result"] == "pass" and event.get("findings"):
        found = ", ".join(event["findings"])
        yield f"a look that found {found} is no pass: `doubtful` or `fail`; what does not matter goes in --note"


def _renewed(event: Event, _: Items) -> Iterator[str]:
    issued, today = event.get("issued"), event["at"][:10]
    if issued is not None and parse_date(issued) > parse_date(today) + timedelta(days=1):
        yield f"issued {issued} lies ahead of {today}: the day it was issued, or --expires with its last good day"


_CHECKS: dict[str, Callable[[Event, Items], Iterator[str]]] = {
    "measured": _measured, "flown": _flown, "inspected": _inspected, "renewed": _renewed,
}  # fmt: skip
