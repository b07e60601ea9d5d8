"""Lists of items as a person types them."""

import re

from scheduler.base.findings import Refused
from scheduler.fleet.fleet import Fleet

_TAIL = r"(?s:(.*?)(\d+|[A-Za-z])\Z)"


def expand(text: str, fleet: Fleet) -> list[str]:
    """Return the ids that "A,C-F" means, all or none.

    An exact id wins; X-Y is a range only between ids that differ in a final letter or number, each of which the fleet
    knows. Raises Refused.
    """
    if text in fleet:
        return [text]
    found: list[str] = []
    for part in map(str.strip, text.split(",")):
        found += [part] if part in fleet else _range(part, fleet)
    return list(dict.fromkeys(found))


def _range(part: str, fleet: Fleet) -> list[str]:
    for cut in (match.start() for match in re.finditer("-", part)):
        first, last = part[:cut], part[cut + 1 :]
        names = _between(first, last)
        if names:
            missing = [name for name in names if name not in fleet]
            if missing and (first in fleet or last in fleet):
                raise Refused.because(f"{part} takes in {missing[0]!r}, which fleet.yaml does not know")
            if not missing:
                return names
    if alike := _in_other_case(part, fleet):
        raise Refused.because(f"fleet.yaml knows no {part!r}, did you mean {alike!r}?")
    if not part:
        raise Refused.because("an item is missing: separate items by single commas")
    return [part]


def _in_other_case(part: str, fleet: Fleet) -> str:
    """Return the range "A-D" for "a-d" if the fleet knows all of it, else ""."""
    for text in (part.upper(), part.lower()):
        first, dash, last = text.partition("-")
        names = _between(first, last) if dash and text != part else []
        if names and all(name in fleet for name in names):
            return text
    return ""


def _between(first: str, last: str) -> list[str]:
    head, tail = re.match(_TAIL, first), re.match(_TAIL, last)
    if head is None or tail is None or head[1] != tail[1] or head[2].isdigit() != tail[2].isdigit():
        return []
    if head[2].isdigit():
        width = len(head[2]) if head[2].startswith("0") else 0
        start, end = int(head[2]), int(tail[2])
        return [f"{head[1]}{number:0{width}d}" for number in range(start, min(end, start + 999) + 1)]
    return [head[1] + chr(code) for code in range(ord(head[2]), ord(tail[2]) + 1)]
