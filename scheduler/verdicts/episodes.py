"""When a reminder opens and ends, within each lifetime of an item."""

from typing import NamedTuple

from scheduler.base.instants import DAY, MAX_INSTANT, MIN_INSTANT
from scheduler.facts.intervals import NO, UNKNOWN, YES, Intervals

NOT_JUDGED_AFTER = 14 * DAY
"""A reminder whose condition has been unknown for so long ends as not judged."""

Cut = tuple[int, str]
"""An instant that ends whatever is open, and the reason: "replaced", "retired"."""


class Episode(NamedTuple):
    """A reminder: open in [opened, ended).

    `ending`: settled, replaced, retired, not judged, or "" while no end is known. `unknown`: the intervals in it where
    its condition was unknown.
    """

    opened: int
    ended: int = MAX_INSTANT
    ending: str = ""
    unknown: tuple[tuple[int, int], ...] = ()

    def holds(self, instant: int) -> bool:
        """Return True while it is open."""
        return self.opened <= instant < self.ended

    def unknown_at(self, instant: int) -> bool:
        """Return True while its condition is unknown."""
        return any(start <= instant < end for start, end in self.unknown)


def episodes(when: Intervals, until: Intervals | None, cuts: list[Cut]) -> list[Episode]:
    """Return the reminders of a rule on an item.

    One opens at the first instant at which `when` is yes and `until` is not. It ends at the next instant at which
    `until` (by default: not `when`) is yes. Another can open only after `when` was not yes in between. Unknown neither
    opens nor settles. A cut ends what is open and starts over. A `when` that is yes from the beginning of time has no
    instant of opening: it must first cease.
    """
    if YES not in when.values:
        return []
    leave = ~when if until is None else until
    finder = _EpisodeFinder(armed=when.at(MIN_INSTANT) != YES)
    cut_at = dict(cuts)
    for turn in sorted({*when.starts, *leave.starts, *cut_at}):
        if turn in cut_at:
            finder.cut(turn, cut_at[turn])
        finder.see(turn, when.at(turn), leave.at(turn))
    return finder.result()


def at_rest(when: Intervals, until: Intervals | None, instant: int) -> bool:
    """Return True if none is open at `instant` and another can open, in any case."""
    return when.at(instant) == NO and (until is None or until.at(instant) == YES)


class _EpisodeFinder:
    def __init__(self, armed: bool) -> None:
        self.found: list[Episode] = []
        self.opened: int | None = None
        self.armed = armed
        self.unknown_since: int | None = None
        self.unknown: list[tuple[int, int]] = []

    def see(self, turn: int, when: int, leave: int) -> None:
        """Take in the values that `when` and `leave` have from `turn` on."""
        self._give_up(turn)
        if self.opened is not None:
            self._mark_unknown(turn, unknown=leave == UNKNOWN and when != YES)
            if leave == YES:
                self._end(turn, "settled")
        if self.opened is None:
            self.armed = self.armed or when != YES
            if self.armed and when == YES and leave != YES:
                self.opened, self.armed = turn, False

    def cut(self, turn: int, ending: str) -> None:
        """End whatever is open at `turn` and start over."""
        self._give_up(turn)
        self._end(turn, ending)
        self.armed = True

    def _give_up(self, turn: int) -> None:
        if self.unknown_since is not None and turn - self.unknown_since > NOT_JUDGED_AFTER:
            self._end(self.unknown_since + NOT_JUDGED_AFTER, "not judged")
            self.armed = True

    def _mark_unknown(self, turn: int, unknown: bool) -> None:
        if unknown and self.unknown_since is None:
            self.unknown_since = turn
        elif not unknown and self.unknown_since is not None:
            self.unknown.append((self.unknown_since, turn))
            self.unknown_since = None

    def _end(self, turn: int, ending: str) -> None:
        if self.opened is not None:
            self._mark_unknown(turn, unknown=False)
            if turn > self.opened:
                self.found.append(Episode(self.opened, turn, ending, tuple(self.unknown)))
        self.opened, self.unknown, self.unknown_since = None, [], None

    def result(self) -> list[Episode]:
        """Return all reminders, the last one perhaps without an end."""
        self._give_up(MAX_INSTANT)
        self._end(MAX_INSTANT, "")
        return self.found
