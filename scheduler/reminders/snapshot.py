"""Open reminders without their board: what their texts say at one instant."""

from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.verdicts.rule import Rule
from scheduler.verdicts.templates import SPECIAL, names
from scheduler.verdicts.verdict import Key

OWN = frozenset(SPECIAL) - {"since"}
"""The placeholders that a reminder fills without any fact."""


class PlaceholderValue(NamedTuple):
    """A placeholder's text at an instant; `span`: as a duration, if it is one."""

    text: str
    span: int | None = None


class VerdictSnapshot:
    """Replaces the verdict of an open reminder at one instant; valid at no other.

    `values`: of the placeholders in the texts of its rule; an exception for one that could not be computed.
    """

    __slots__ = ("key", "rule", "zone", "_urgency", "_values")

    def __init__(
        self, key: Key, rule: Rule, zone: ZoneInfo, urgency: str, values: dict[str, PlaceholderValue | Exception]
    ) -> None:
        self.key = key
        self.rule = rule
        self.zone = zone
        self._urgency = urgency
        self._values = values

    def urgency(self, _instant: int) -> str:
        """Return how urgent the reminder is."""
        return self._urgency

    def value(self, name: str) -> PlaceholderValue:
        """Return the value of a placeholder. Raises the error that computing it raised."""
        value = self._values[name]
        if isinstance(value, Exception):
            raise value
        return value


def as_snapshot(verdict: object) -> VerdictSnapshot | None:
    """Return a verdict that is a snapshot; None for a live one."""
    return verdict if isinstance(verdict, VerdictSnapshot) else None


def placeholders(rule: Any) -> set[str]:
    """Return the rule's placeholders that need a fact, a limit or a nameplate."""
    return {name for text in (*rule.do, rule.log_then) for name in names(text)} - OWN
