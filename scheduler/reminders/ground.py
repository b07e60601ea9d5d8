"""What a reminder's texts rest on, taken out of its verdict: enough to say it, also later, without solving it again."""

from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import MAX_INSTANT
from scheduler.base.units import Unit, show, show_span
from scheduler.facts.timeline import Segment, Slope, Value
from scheduler.verdicts.templates import SPECIAL, names
from scheduler.verdicts.verdict import Key

OWN = frozenset(SPECIAL) - {"since"}
"""Names that a reminder tells of itself."""


class Ground(NamedTuple):
    """What stands for a name in a rule's text, until `until`: a text, or a quantity that goes on changing.

    `unit`: of the quantity that is `value` at `start` and changes by `slope`; None for a `text`. `absent`: what a
    quantity reads that is for ever away. `past`: `start` is an instant, and its age is told.
    """

    text: str = ""
    until: int = MAX_INSTANT
    unit: Unit | None = None
    start: int = 0
    value: Value = None
    slope: Slope = None
    absent: str = ""
    past: bool = False

    def say(self, now: int) -> str:
        """The text at an instant."""
        if self.past:
            return show_span(max(0, now - self.start))
        if self.unit is None:
            return self.text
        value = Segment(self.start, self.value, self.slope).at(now)
        return self.absent if self.absent and value == float("inf") else show(value, self.unit)

    def span(self, now: int) -> int | None:
        """The duration that it tells at an instant; None where it tells something else."""
        if self.past:
            return max(0, now - self.start)
        value = Segment(self.start, self.value, self.slope).at(now)
        return value if self.unit is not None and self.unit.kind == "span" and isinstance(value, int) else None


class Mute(NamedTuple):
    """What keeps a reminder quiet: the entry, and until when; MAX_INSTANT if no end is known.

    `until_next`: the kind of entry that would end it, if one would.
    """

    what: str
    at: int
    id: str
    until: int
    until_next: str | None


class KeptRule(NamedTuple):
    """What the texts of a rule's reminders take from it."""

    id: str
    about: str
    title: str
    do: tuple[str, str]
    why: str
    caution: str
    log_then: str

    @classmethod
    def of(cls, rule: Any) -> "KeptRule":
        """Of a rule as it applies to some item."""
        return cls(rule.id, rule.about, rule.title, rule.do, rule.why, rule.caution, rule.log_then)

    @classmethod
    def read(cls, raw: dict) -> "KeptRule":
        """Of a rule as its file has it."""
        do = raw["do"]
        texts = (do, do) if isinstance(do, str) else (do["one"], do["many"])
        caution, log_then = raw.get("caution", ""), raw.get("log_then", "")
        return cls(raw["id"], raw["about"], raw["title"], texts, raw["why"], caution, log_then)


class KeptVerdict:
    """In the place of a verdict of which a reminder is open, while nothing about it changes."""

    __slots__ = ("key", "rule", "zone", "mute", "_urgency", "_grounds")

    def __init__(
        self, key: Key, rule: KeptRule, zone: ZoneInfo, urgency: str, grounds: dict[str, Any], mute: Mute | None
    ) -> None:
        self.key = key
        self.rule = rule
        self.zone = zone
        self.mute = mute
        self._urgency = urgency
        self._grounds = grounds

    def urgency(self, _instant: int) -> str:
        """How urgent the reminder is."""
        return self._urgency

    def grounds(self) -> dict[str, Ground] | None:
        """All grounds; None where something stood in the way of one."""
        found = self._grounds.values()
        return None if any(isinstance(ground, Exception) for ground in found) else self._grounds

    def ground(self, name: str) -> Ground:
        """What stands for a name in its texts. Raises what stood in the way of telling."""
        found = self._grounds[name]
        if isinstance(found, Exception):
            raise found
        if not isinstance(found, Ground):
            found = Ground(*found)
            found = self._grounds[name] = found._replace(unit=Unit(*found.unit) if found.unit else None)
        return found


def as_kept(verdict: object) -> KeptVerdict | None:
    """What stands in the place of a verdict, if it does."""
    return verdict if isinstance(verdict, KeptVerdict) else None


def grounds_needed(rule: Any) -> set[str]:
    """The names in the texts of a rule that need a ground."""
    return {name for text in (*rule.do, rule.log_then) for name in names(text)} - OWN
