"""Texts with names in braces, from a closed list.

No attributes, no indexes, no formats.
"""

import re
from collections.abc import Callable, Iterable
from functools import cache

SPECIAL = ("item", "items", "how_many", "since", "opened_at", "urgency")
OF_A_JOB = ("ready",)
"""More names for texts of rules about a job."""
_NAME = r"[a-z_][a-z0-9_]*\Z"


@cache
def parts(template: str) -> tuple[tuple[str, str | None], ...]:
    """Yield (text before a name, name); the last name is None. Raises ValueError."""
    import string

    try:
        parsed = list(string.Formatter().parse(template))
    except ValueError as error:
        raise ValueError(f"{error} in the text {template!r}") from None
    for _, name, layout, conversion in parsed:
        if name is not None and (layout or conversion or not re.match(_NAME, name)):
            written = name + (f"!{conversion}" if conversion else "") + (f":{layout}" if layout else "")
            raise ValueError(f"a text takes plain names in braces, such as {{item}}; {{{written}}} is none")
    return tuple((text, name) for text, name, _, _ in parsed)


def names(template: str) -> set[str]:
    """Return the names in a text. Raises ValueError."""
    return {name for _, name in parts(template) if name is not None}


def fault(template: str, known: Iterable[str]) -> str | None:
    """Return what is wrong with a text, if anything."""
    try:
        used = names(template)
    except ValueError as error:
        return str(error)
    known = list(known)
    strange = sorted(used - set(known))
    if not strange:
        return None
    from scheduler.base.findings import did_you_mean

    near = did_you_mean(strange[0], known)
    return f"the text names {{{strange[0]}}}, which is no fact, limit or nameplate field here{near}"


def fill(template: str, value: Callable[[str], str]) -> str:
    """Replace each name in a text by its value. Braces in a value mean nothing."""
    return "".join(text if name is None else text + value(name) for text, name in parts(template))
