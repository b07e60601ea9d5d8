"""Where a reminder stands open: from entering to leaving, life by life."""

from typing import NamedTuple

from scheduler.base.instants import DAY, MAX_INSTANT, MIN_INSTANT
from scheduler.facts.intervals import NO, UNKNOWN, YES, Intervals

NOT_JUDGED_AFTER = 14 * DAY
"""A reminder whose ground has been unknown for so long is closed as not judged."""

Cut = tuple[int, str]
"""An instant that ends whatever is open, and the reason: "replaced", "retired"."""


class Episode(NamedTuple):
    """A reminder: open in [opened, ended). `ending`: settled, replaced, retired, not judged, or "" while it is open
    as far as can be seen. `unknown`: where within it its ground was unknown."""

    opened: int
    ended: int = MAX_INSTANT
    ending: str = ""
    unknown: tuple[tuple[int, int], ...] = ()

    def holds(self, instant: int) -> bool:
        """True while it is open."""
        return self.opened <= instant < self.ended

    def unknown_at(self, instant: int) -> bool:
        """True while its ground is unknown."""
        return any(start <= instant < end for start, end in self.unknown)


def episodes(when: Intervals, until: Intervals | None, cuts: list[Cut]) -> list[Episode]:
    """The reminders of a rule on an item.

    One opens at the first instant at which `when` is yes and `until` is not; it ends at the first after at which
    `until` (by default: not `when`) is yes; the next can open once `when` has ceased to hold and holds anew. Unknown
    opens and settles nothing. A cut ends what is open and begins afresh. What has held since before all time opened at
    no instant: it must cease first.
    """
    if YES not in when.values:
        return []
    leave = ~when if until is None else until
    watch = _EpisodeWatch(armed=when.at(MIN_INSTANT) != YES)
    cut_at = dict(cuts)
    for turn in sorted({*when.starts, *leave.starts, *cut_at}):
        if turn in cut_at:
            watch.cut(turn, cut_at[turn])
        watch.see(turn, when.at(turn), leave.at(turn))
    return watch.result()


def at_rest(when: Intervals, until: Intervals | None, instant: int) -> bool:
    """True where nothing can stand open at an instant, and the next can open, whatever came before."""
    return when.at(instant) == NO and (until is None or until.at(instant) == YES)


class _EpisodeWatch:
    def __init__(self, armed: bool) -> None:
        self.found: list[Episode] = []
        self.opened: int | None = None
        self.armed = armed
        self.dark_since: int | None = None
        self.dark: list[tuple[int, int]] = []

    def see(self, turn: int, when: int, leave: int) -> None:
        """From `turn` on, `when` and `leave` have these values."""
        self._give_up(turn)
        if self.opened is not None:
            self._light(turn, dark=leave == UNKNOWN and when != YES)
            if leave == YES:
                self._end(turn, "settled")
        if self.opened is None:
            self.armed = self.armed or when != YES
            if self.armed and when == YES and leave != YES:
                self.opened, self.armed = turn, False

    def cut(self, turn: int, ending: str) -> None:
        """At `turn` whatever is open ends, and all begins afresh."""
        self._give_up(turn)
        self._end(turn, ending)
        self.armed = True

    def _give_up(self, turn: int) -> None:
        if self.dark_since is not None and turn - self.dark_since > NOT_JUDGED_AFTER:
            self._end(self.dark_since + NOT_JUDGED_AFTER, "not judged")
            self.armed = True

    def _light(self, turn: int, dark: bool) -> None:
        if dark and self.dark_since is None:
            self.dark_since = turn
        elif not dark and self.dark_since is not None:
            self.dark.append((self.dark_since, turn))
            self.dark_since = None

    def _end(self, turn: int, ending: str) -> None:
        if self.opened is not None:
            self._light(turn, dark=False)
            if turn > self.opened:
                self.found.append(Episode(self.opened, turn, ending, tuple(self.dark)))
        self.opened, self.dark, self.dark_since = None, [], None

    def result(self) -> list[Episode]:
        """All stretches, the last one perhaps without end."""
        self._give_up(MAX_INSTANT)
        self._end(MAX_INSTANT, "")
        return self.found
