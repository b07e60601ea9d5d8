"""The events of a fleet, read when first asked for and cached with all results.

It knows no fact: `fact_store.py` builds on it. It can track which events an answer depends on.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator
from typing import NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, MINUTE
from scheduler.events.event import HOME, JOBS, Event
from scheduler.events.source import Source
from scheduler.fleet.fleet import Fleet, Item

Computed = TypeVar("Computed")

_MENTIONS = {"charger": "charged", "pilot": "flown"}
"""The events that only mention an item of a kind: they say that it was in use, and nothing of its state. They can be
many, and are read only where that is asked for."""


class Clocks(NamedTuple):
    """The operator's local times.

    The zone, the hour at which the eve of a job begins, and how long before a job its morning does.
    """

    zone: ZoneInfo
    eve: str = "18:00"
    morning: int = 150 * MINUTE


Dependency = tuple[str, str | None]
"""A name under which events were asked for, and of which kind; None for any kind."""


class _Filed(NamedTuple):
    """The cache key of the events filed under a name, or of a part of them."""

    dependency: Dependency
    part: object = None


class EventCache:
    """Events by the name they are filed under, and a cache for what builds on them.

    With `tracking` it notes what each of its answers depends on: see `track`.
    """

    def __init__(
        self, fleet: Fleet, source: Source, clocks: Clocks, tracking: bool = False, starting_at: int = MIN_INSTANT
    ) -> None:
        self.fleet = fleet
        self.clocks = clocks
        self._source = source
        self._starting_at = starting_at
        self._cache: dict[object, object] = {}
        self._askers: list[set[object]] = [set()] if tracking else []
        self._depends_on: dict[object, set[object]] = {}

    def compute_once(self, key: Hashable, compute: Callable[[], Computed]) -> Computed:
        """Return what `compute` returns, calling it once for a key."""
        askers = self._askers
        if askers:
            askers[-1].add(key)
        if key in self._cache:
            return self._cache[key]  # type: ignore[return-value]
        if askers:
            askers.append(self._depends_on.setdefault(key, set()))
        try:
            result = self._cache[key] = compute()
        finally:
            if askers:
                askers.pop()
        return result

    def close(self) -> None:
        """Drop the cache: its reference cycles would wait for the garbage collector."""
        self._cache.clear()
        self._depends_on.clear()
        for asked in self._askers:
            asked.clear()

    def track(self, question: Callable[[], object]) -> set[Dependency]:
        """Return what the answers to `question` depend on. Needs `tracking`."""
        self._askers.append(set())
        try:
            question()
        finally:
            asked = self._askers.pop()
        seen = set(asked)
        unfollowed = list(asked)
        while unfollowed:
            if further := self._depends_on.get(unfollowed.pop()):
                unfollowed += further - seen
                seen |= further
        return {key.dependency for key in seen if isinstance(key, _Filed)}

    def prefetch(self, names: Iterable[str]) -> None:
        """Read all events filed under some names in one go."""
        missing = [name for name in names if _Filed((name, None)) not in self._cache]
        for name, events in self._source.of_each(missing).items() if missing else ():
            self._cache[_Filed((name, None))] = events

    def filed(self, name: str, what: str | None = None) -> list[Event]:
        """Return the events filed under a name, in order; if `what`, only of that kind."""

        def read() -> list[Event]:
            of_any_kind: list[Event] | None = self._cache.get(_Filed((name, None)))  # type: ignore[assignment]
            if what is None or of_any_kind is None:
                return self._source.of(name, what)
            return [event for event in of_any_kind if event.what == what]

        return self.compute_once(_Filed((name, what)), read)

    def own(self, item: Item) -> list[Event]:
        """Return the events of an item, in order, without those that only mention it."""
        mentions = _MENTIONS.get(item.kind)
        if mentions is None:
            return self.filed(item.id)
        return self.compute_once(_Filed((item.id, None), mentions), lambda: self._source.all_but(item.id, mentions))

    def mentions(self, item: Item, starting_at: int) -> list[Event]:
        """Return the events that only mention an item: the last by an instant, and later."""
        what = _MENTIONS.get(item.kind)
        if what is None:
            return []
        key = _Filed((item.id, what), starting_at)
        return self.compute_once(key, lambda: self._source.latest_and_after(item.id, what, starting_at))

    def first_mention(self, item: Item) -> int | None:
        """Return when an event first only mentioned an item; None if none did."""
        what = _MENTIONS.get(item.kind)
        return self._source.first_at(item.id, what) if what else None

    @property
    def instants(self) -> set[int]:
        """Return when any event happened; of those before `starting_at` at least the last."""
        return self.compute_once("instants", lambda: self._source.instants(self._names(), self._starting_at))

    def newest(self) -> int | None:
        """Return when the last event happened; None without any."""
        return max(self._source.instants(self._names(), MAX_INSTANT), default=None)

    def _names(self) -> Iterator[str]:
        """The names under which events are filed; lazy, as it reads the whole fleet."""
        yield from (HOME, JOBS)
        yield from self.fleet.ids()


def only_mentions(kind: str | None) -> bool:
    """Return whether events that only mention a kind of item are kept from its own."""
    return kind in _MENTIONS
