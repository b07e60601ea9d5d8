"""Items that no active rule watches, and how to have them watched."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from scheduler.base.text import listed

if TYPE_CHECKING:
    from scheduler.home.setup import Setup


def lines_on_items_without_rules(setup: "Setup", items: Iterable[str]) -> list[str]:
    """Return lines on items without rules.

    One for each kind of item that only unused shipped rules are about, and one on items for which every rule is off.
    """
    by_kind: dict[str, list[str]] = {}
    off = []
    for item in items:
        kind = setup.fleet.kind(item)
        if kind is not None and not setup.rules.about(kind):
            by_kind.setdefault(kind, []).append(item)
        elif kind is not None and setup.rules.all_off(kind, item):
            off.append(item)
    practices = {kind: practices_about(kind) for kind in by_kind}
    lines = [without_rules_line(names, practices[kind]) for kind, names in by_kind.items() if practices[kind]]
    return [*lines, all_off_line(off)] if off else lines


def without_rules_line(items: list[str], practices: list[str]) -> str:
    """Say which rule files to add for items that no rule watches."""
    choice = practices[0] if len(practices) == 1 else f"one of {', '.join(practices)}"
    return f"no rule watches {listed(items)}: add {choice} to `practice` in shelfbell.yaml"


def all_off_line(items: list[str]) -> str:
    """Say why no rule watches some items: every one is off by `adjust`."""
    one = len(items) == 1
    return f"no rule watches {listed(items)}: every rule is off for {'it' if one else 'them'} by `adjust` in rules/"


def practices_about(kind: str) -> list[str]:
    """Return the names of the shipped rule files with a rule about an item kind."""
    from scheduler.base.shipped import folder
    from scheduler.base.strict_yaml import read

    files = {path.stem: read(path.read_bytes(), path.name).data for path in sorted(folder("rules").glob("*.yaml"))}
    return [name for name, data in files.items() if any(rule["about"] == kind for rule in data["rules"])]
