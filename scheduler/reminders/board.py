"""The board: every reminder of a fact store, and what is open at an instant."""

from bisect import bisect_right
from collections.abc import Iterable
from functools import cached_property, partial
from typing import NamedTuple

from scheduler.base.instants import DAY, MIN_INSTANT
from scheduler.events.event import HOME, Event
from scheduler.facts.event_times import absence_of
from scheduler.facts.fact_store import FactStore
from scheduler.facts.intervals import UNKNOWN, YES
from scheduler.verdicts.conditions import leaf_spans
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.rule import URGENCIES, Ruleset
from scheduler.verdicts.verdict import Key, Since, Verdict, verdicts


class Reminder(NamedTuple):
    """One episode of one verdict."""

    verdict: Verdict
    episode: Episode

    @property
    def key(self) -> Key:
        """The rule and the item."""
        return self.verdict.key


def urgency_order(now: int, reminder: Reminder) -> tuple[int, int, Key]:
    """Return the sort key that puts the most urgent first, then in order of opening."""
    return URGENCIES.index(reminder.verdict.urgency(now)), reminder.episode.opened, reminder.key


class Absence(NamedTuple):
    """A time in which the operator is away, and when that became known."""

    start: int
    end: int
    known_at: int


class Board:
    """The reminders of all rules on all items of a fact store, or on some.

    `as_recorded`: entries count from when they were recorded, as for a daemon; False: from when they happened. `since`:
    the start of the time for which each verdict is needed; None for all time.
    """

    def __init__(
        self,
        store: FactStore,
        rules: Ruleset,
        items: list[str] | None = None,
        as_recorded: bool = True,
        since: Since | None = None,
    ) -> None:
        self.store = store
        self.rules = rules
        self.items = items
        self.as_recorded = as_recorded
        self.verdicts = verdicts(store, rules, items, since=since)
        self._responses: dict[tuple[Key, str], list[Event]] = {}

    @cached_property
    def reminders(self) -> list[Reminder]:
        """Every reminder, in order of opening."""
        found = [Reminder(verdict, episode) for verdict in self.verdicts for episode in verdict.episodes]
        return sorted(found, key=lambda reminder: (reminder.episode.opened, reminder.key))

    @cached_property
    def by_key(self) -> dict[Key, Verdict]:
        """The verdicts by rule and item."""
        return {verdict.key: verdict for verdict in self.verdicts}

    @cached_property
    def _by_ending(self) -> list[Reminder]:
        return sorted(self.reminders, key=lambda reminder: reminder.episode.ended)

    def ended_in(self, after: int, to: int) -> list[Reminder]:
        """Return the reminders that ended in (after, to]."""
        first = bisect_right(self._by_ending, after, key=lambda reminder: reminder.episode.ended)
        last = bisect_right(self._by_ending, to, key=lambda reminder: reminder.episode.ended)
        return self._by_ending[first:last]

    @cached_property
    def _open_index(self) -> "_OpenIndex":
        return _OpenIndex(self.reminders, self._by_ending)

    def open_at(self, now: int) -> list[Reminder]:
        """Return what is open at an instant, most urgent first, then in order of opening."""
        return sorted(self._open_index.at(now), key=partial(urgency_order, now))

    @cached_property
    def sometimes_unknown(self) -> list[Verdict]:
        """The verdicts that are unknown at some time."""
        return [verdict for verdict in self.verdicts if UNKNOWN in verdict.when.values]

    @cached_property
    def _turns(self) -> list[int]:
        return sorted({turn for verdict in self.verdicts for turn in verdict.turns})

    def next_change(self, now: int) -> int | None:
        """Return when a verdict next changes if nothing more is logged, or None."""
        index = bisect_right(self._turns, now)
        return self._turns[index] if index < len(self._turns) else None

    def known_at(self, reminder: Reminder) -> int:
        """Return when a reminder could be known: opened, or its entries recorded."""
        opened = reminder.episode.opened
        if not self.as_recorded:
            return opened
        recorded = (event.recorded_at for event in reminder.verdict.events if event.at <= opened)
        return max(opened, max(recorded, default=opened))

    @cached_property
    def away(self) -> list[Absence]:
        """The absences of the operator."""
        return [
            Absence(*absence_of(event), event.recorded_at if self.as_recorded else event.at)
            for event in self.store.filed(HOME, "away")
        ]

    def away_until(self, instant: int) -> int:
        """Return the end of the absence at `instant`, or `instant` without one.

        Adjoining absences count as one.
        """
        while (end := max((a.end for a in self.away if a.start <= instant < a.end), default=instant)) > instant:
            instant = end
        return instant

    def responses(self, key: Key, what: str) -> list[Event]:
        """Return the `seen` or `snoozed` events for a rule and item, in order."""
        if (key, what) not in self._responses:
            events = self.store.filed(key.item)
            self._responses[key, what] = [e for e in events if e.what == what and e.get("rule") == key.rule]
        return self._responses[key, what]


class _OpenIndex:
    """Finds the open reminders; fast if each instant is later than the last."""

    def __init__(self, by_opening: list[Reminder], by_ending: list[Reminder]) -> None:
        self._by_opening = by_opening
        self._by_ending = by_ending
        self._begin()

    def _begin(self) -> None:
        self._now = MIN_INSTANT
        self._opened = self._ended = 0
        self._open: dict[Reminder, None] = {}

    def at(self, now: int) -> Iterable[Reminder]:
        """Return those open at an instant, in order of opening."""
        if now < self._now:
            self._begin()
        self._now = now
        opened = bisect_right(self._by_opening, now, key=lambda reminder: reminder.episode.opened)
        ended = bisect_right(self._by_ending, now, key=lambda reminder: reminder.episode.ended)
        self._open.update(dict.fromkeys(self._by_opening[self._opened : opened]))
        for reminder in self._by_ending[self._ended : ended]:
            del self._open[reminder]
        self._opened, self._ended = opened, ended
        return self._open


def condition_since(reminder: Reminder) -> int:
    """Return the start of the reminder's lasting condition, else its opening."""
    verdict, opened = reminder.verdict, reminder.episode.opened
    for leaf in verdict.asked:
        if leaf.lasting:
            raw = leaf_spans(leaf, verdict.ask(leaf.fact, leaf.of), verdict.reach)
            start = raw.since(opened)
            if raw.at(opened) == YES and start > MIN_INSTANT:
                return start
    return opened


SNOOZE = DAY
"""How long a snooze lasts by default."""
