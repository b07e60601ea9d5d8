"""The fact store: answers for any fact of any item at any instant, from events.

Every question (live, dry run, rehearsal, outlook) asks a fact store; nothing computes facts in any other way.
"""

from collections.abc import Callable, Hashable, Mapping
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, start_of_day
from scheduler.events.event import Event
from scheduler.events.source import Source
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.declare import Fact
from scheduler.facts.event_cache import Clocks, Computed, EventCache
from scheduler.facts.item_events import events_for
from scheduler.facts.timeline import Segment, Timeline, Value
from scheduler.fleet.fleet import Fleet, Item


class ItemSummary(NamedTuple):
    """When an item had its first event, and from when it can be judged.

    `first_at`: None without events. `judged_from`: or from when it is out of service.
    """

    first_at: int | None
    judged_from: int


class HomeSummary(NamedTuple):
    """Earlier results for items that want a first reading: saves reading their events.

    `first`: the first instant from which anything is asked. `by_item`: items whose summary is known. `unknown`: items
    that must be summarised. All others could be judged before the store's `starting_at`.
    """

    first: int | None
    by_item: Mapping[str, ItemSummary]
    unknown: frozenset[str]


class Lifetime:
    """One lifetime of an item under its id, from entry or replacement to replacement.

    `born`: where counts begin; None if neither nameplate nor event says. `end`: MAX_INSTANT for the last.
    """

    def __init__(
        self, item: Item, start: int, end: int, born: int | None, events: list[Event], store: "FactStore"
    ) -> None:
        self.item = item
        self.start = start
        self.end = end
        self.born = born
        self.events = events
        self.store = store

    @property
    def all_events(self) -> list[Event]:
        """Its events, with those that only mention the item, in order."""
        mentions = [event for event in self.store.mentions(self.item, MIN_INSTANT) if self.start <= event.at < self.end]
        return sorted([*self.events, *mentions]) if mentions else self.events

    def of_kind(self, *kinds: str) -> list[Event]:
        """Return the events of some kinds, in order."""
        if len(kinds) == 1:
            return self._by_kind.get(kinds[0], [])
        return self.compute_once(
            kinds, lambda: sorted(event for kind in kinds for event in self._by_kind.get(kind, ()))
        )

    @cached_property
    def _by_kind(self) -> dict[str, list[Event]]:
        by_kind: dict[str, list[Event]] = {}
        for event in self.events:
            by_kind.setdefault(event.what, []).append(event)
        return by_kind

    def compute_once(self, key: Hashable, compute: Callable[[], Computed]) -> Computed:
        """Return what `compute` returns, calling it once for a key in this lifetime."""
        return self.store.compute_once((self, key), compute)

    def fact(self, name: str, of: str | None = None) -> Timeline:
        """Return another fact of the same item, over this lifetime."""
        return Timeline(self.store.segments(self, name, of))


class FactStore(EventCache):
    """Facts of items, computed from their events when first asked for and then cached."""

    def __init__(
        self,
        fleet: Fleet,
        source: Source,
        clocks: Clocks,
        catalogue: Mapping[str, Fact] = CATALOGUE,
        tracking: bool = False,
        summary: HomeSummary | None = None,
        starting_at: int = MIN_INSTANT,
    ) -> None:
        super().__init__(fleet, source, clocks, tracking, starting_at)
        self.catalogue = catalogue
        self.summary = summary

    def fresh_copy(self, summary: HomeSummary | None = None) -> "FactStore":
        """Return a store of the same fleet and events with an empty cache.

        Use it for many items, a few at a time: closing it frees the memory of their events.
        """
        return FactStore(self.fleet, self._source.afresh(), self.clocks, self.catalogue, summary=summary)

    def events(self, item: Item) -> list[Event]:
        """Return every event of all lifetimes of an item, in order."""
        first, *later = self.lifetimes(item)
        return [e for lifetime in (first, *later) for e in lifetime.all_events] if later else first.all_events

    def lifetimes(self, item: Item) -> list[Lifetime]:
        """Return the lifetimes of an item, in order; there is at least one."""
        return self.compute_once(("lifetimes", item.kind, item.id), lambda: self._split(item, events_for(self, item)))

    def fact(self, item: Item, name: str, of: str | None = None, starting_at: int = MIN_INSTANT) -> Timeline:
        """Return a fact of an item over all time; before `starting_at` it may be wrong."""

        def compute() -> Timeline:
            lifetimes = self.lifetimes(item)
            if len(lifetimes) == 1:
                segments = self.segments(lifetimes[0], name, of, starting_at)
                return self.compute_once(("timeline", id(segments)), lambda: Timeline(segments))
            asked = (lifetime for lifetime in lifetimes if lifetime.end > starting_at)
            return Timeline([s for lifetime in asked for s in self._within_lifetime(lifetime, name, of, starting_at)])

        return self.compute_once(("fact", item.kind, item.id, name, of, starting_at), compute)

    def value(self, item: Item, name: str, instant: int) -> Value:
        """Return the value of a fact of an item at one instant; None where unknown."""
        at = self.catalogue[name].at
        if at is None:
            return self.fact(item, name).at(instant)
        return at(next(lifetime for lifetime in reversed(self.lifetimes(item)) if lifetime.start <= instant), instant)

    def segments(
        self, lifetime: Lifetime, name: str, of: str | None = None, starting_at: int = MIN_INSTANT
    ) -> list[Segment]:
        """Return a fact over one lifetime; before `starting_at` it may be wrong."""
        declared = self.catalogue[name]
        starting_at = starting_at if declared.partial else MIN_INSTANT
        variant = of if of is not None or not declared.of else declared.of[0]

        def compute() -> list[Segment]:
            if declared.partial:
                return declared.compute(lifetime, starting_at)
            return declared.compute(lifetime, variant) if declared.of else declared.compute(lifetime)

        return lifetime.compute_once((name, variant, starting_at), compute)

    def _within_lifetime(self, lifetime: Lifetime, name: str, of: str | None, starting_at: int) -> list[Segment]:
        segments = self.segments(lifetime, name, of, starting_at)
        return [Segment(lifetime.start, None), *Timeline(segments).clipped(lifetime.start, lifetime.end)]

    def _split(self, item: Item, events: list[Event]) -> list[Lifetime]:
        day = item.plate.get("in_service")
        born = start_of_day(day, self.clocks.zone) if day else self._first_at(item, events)
        # by place in order, not by instant: what came just before a replacement is the old one's
        cuts = [place for place, e in enumerate(events) if e.what == "replaced" and e.get("item") == item.id]
        starts = [MIN_INSTANT, *(events[place].at for place in cuts)]
        ends = [*starts[1:], MAX_INSTANT]
        shares = [events[before + 1 : place] for before, place in pairwise([-1, *cuts, len(events)])]
        births = [born, *starts[1:]]
        return [Lifetime(item, *lifetime, self) for lifetime in zip(starts, ends, births, shares, strict=True)]

    def _first_at(self, item: Item, events: list[Event]) -> int | None:
        instants = (self.first_mention(item), *(event.at for event in events[:1]))
        return min((at for at in instants if at is not None), default=None)
