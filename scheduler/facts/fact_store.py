"""The book: the items of a fleet with their events, answering for any fact of any item.

Every question (live, dry run, rehearsal, outlook) asks a book; none computes facts in any other way.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, MINUTE, start_of_day
from scheduler.events.event import HOME, JOB, JOBS, Event
from scheduler.events.source import Source
from scheduler.facts.declare import Fact
from scheduler.facts.fitting import CARRIED, fittings
from scheduler.facts.jobs import Job, jobs_of, over_at
from scheduler.facts.timeline import Segment, Timeline, Value
from scheduler.fleet import fleet as fleets
from scheduler.fleet.fleet import Fleet, Item

if TYPE_CHECKING:
    from scheduler.facts.home_facts import HomeSummary


class Clocks(NamedTuple):
    """The operator's local times: the zone, when the eve of a job begins, how long before a job its morning does."""

    zone: ZoneInfo
    eve: str = "18:00"
    morning: int = 150 * MINUTE


class _Filed(NamedTuple):
    """The events filed under a name, or a part of them, as something that an answer rests on."""

    asked: tuple[str, str | None]
    part: object = None


_IN_PASSING = {"charger": "charged", "pilot": "flown"}
"""The entries that name an item of a kind and tell nothing of it, but that it was in use then: they are read when that
is asked for."""


class Lifetime:
    """One life of an item under its id: from its coming, or a replacement, to the next replacement.

    `born`: where counts begin; None when neither nameplate nor event tells. `end`: MAX_INSTANT for the last.
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
    def entries(self) -> list[Event]:
        """Its events, with those that name the item in passing, in order."""
        passing = [event for event in self.store.uses(self.item, MIN_INSTANT) if self.start <= event.at < self.end]
        return sorted([*self.events, *passing]) if passing else self.events

    def those(self, *kinds: str) -> list[Event]:
        """The events of some kinds, in order."""
        if len(kinds) == 1:
            return self._by_kind.get(kinds[0], [])
        return self.once(kinds, lambda: sorted(event for kind in kinds for event in self._by_kind.get(kind, ())))  # type: ignore[return-value]

    @cached_property
    def _by_kind(self) -> dict[str, list[Event]]:
        by_kind: dict[str, list[Event]] = {}
        for event in self.events:
            by_kind.setdefault(event.what, []).append(event)
        return by_kind

    def once(self, name: object, make: Callable[[], object]) -> object:
        """What `make` returns, made once for this life."""
        return self.store.once((self, name), make)

    def fact(self, name: str, of: str | None = None) -> Timeline:
        """Another fact of the same item, over this life."""
        return Timeline(self.store.segments(self, name, of))


Asked = tuple[str, str | None]
"""A name under which a book has looked for events, and of which kind; None for any."""


class FactStore:
    """Facts of items, folded from their events when first asked for and kept.

    `listening`: it notes what each of its answers rests on, so that it can tell which entries could change one.
    `known`: what is known beforehand of which items can be judged. `since`: nothing before it is asked about.
    """

    def __init__(
        self,
        fleet: Fleet,
        source: Source,
        clocks: Clocks,
        catalogue: Mapping[str, Fact] | None = None,
        listening: bool = False,
        known: "HomeSummary | None" = None,
        since: int = MIN_INSTANT,
    ) -> None:
        self.fleet = fleet
        self.clocks = clocks
        self._source = source
        self._catalogue = catalogue
        self.known = known
        self._since = since
        self._kept: dict[object, object] = {}
        self._asking: list[set[object]] = [set()] if listening else []
        self._rests_on: dict[object, set[object]] = {}

    def once(self, name: object, make: Callable[[], object]) -> object:
        """What `make` returns, made once for this book."""
        asking = self._asking
        if asking:
            asking[-1].add(name)
        if name in self._kept:
            return self._kept[name]
        if asking:
            asking.append(self._rests_on.setdefault(name, set()))
        try:
            found = self._kept[name] = make()
        finally:
            if asking:
                asking.pop()
        return found

    def beside(self, known: "HomeSummary | None" = None) -> "FactStore":
        """A book of the same fleet and events that has been asked nothing yet: for looking at many items a few at a
        time without holding the entries of all."""
        return FactStore(self.fleet, self._source.afresh(), self.clocks, self._catalogue, known=known)

    def close(self) -> None:
        """Let go of all that it keeps: lives and their book hold each other, and would wait for the collector."""
        self._kept.clear()
        self._rests_on.clear()
        for asked in self._asking:
            asked.clear()

    def heard(self, question: Callable[[], object]) -> set[Asked]:
        """What all that `question` asks of this book rests on. Only for a book that listens."""
        self._asking.append(set())
        try:
            question()
        finally:
            ends = self._asking.pop()
        seen = set(ends)
        open_ends = list(ends)
        while open_ends:
            if dependencies := self._rests_on.get(open_ends.pop()):
                open_ends += dependencies - seen
                seen |= dependencies
        return {name.asked for name in seen if isinstance(name, _Filed)}

    @property
    def catalogue(self) -> Mapping[str, Fact]:
        """Every fact, by name."""
        if self._catalogue is None:
            from scheduler.facts.catalogue import CATALOGUE

            self._catalogue = CATALOGUE
        return self._catalogue

    @property
    def jobs(self) -> dict[str, Job]:
        """Every job that was ever booked, by name."""
        return self.once("jobs", lambda: jobs_of(self.filed(JOBS), self.clocks))  # type: ignore[return-value]

    def job(self, name: str) -> Job | None:
        """The job of that name, or None where none was ever booked."""
        return self.once(("job", name), lambda: jobs_of(self.filed(f"{JOB}{name}"), self.clocks).get(name))  # type: ignore[return-value]

    def jobs_of(self, aircraft: str | None, since: int = MIN_INSTANT) -> list[Job]:
        """The jobs that were booked for an aircraft, or for none in particular, in order; those over by `since` are
        left out."""
        booked = self.filed(JOB) if aircraft is None else self.filed(aircraft, "booked")
        names = dict.fromkeys(
            str(event.get("job")) for event in booked if since == MIN_INSTANT or over_at(event) > since
        )
        self._look_up(f"{JOB}{name}" for name in names)
        return [job for name in names if (job := self.job(name)) is not None]

    def look_up(self, items: list[str]) -> None:
        """Look for all entries of some items, of the aircraft that packs among them fit, and of jobs of these names, in
        one go: more is asked about them."""
        names = [f"{JOB}{item}" for item in items]
        for item in items:
            kind = "home" if item == HOME else self.fleet.kind(item)
            names += [item] if kind not in _IN_PASSING else []
            names += self.fleet[item].plate["fits"] if kind == "pack" else []
        self._look_up(dict.fromkeys(names))

    def _look_up(self, names: Iterable[str]) -> None:
        missing = [name for name in names if _Filed((name, None)) not in self._kept]
        for name, events in self._source.of_each(missing).items() if missing else ():
            self._kept[_Filed((name, None))] = events

    def filed(self, name: str, what: str | None = None) -> list[Event]:
        """The events in force filed under a name, in order; of one kind where `what` names it."""

        def look() -> list[Event]:
            of_any_kind = self._kept.get(_Filed((name, None)))
            if what is None or of_any_kind is None:
                return self._source.of(name, what)
            return [event for event in of_any_kind if event.what == what]  # type: ignore[attr-defined]

        return self.once(_Filed((name, what)), look)  # type: ignore[return-value]

    def own(self, item: Item) -> list[Event]:
        """The events in force that tell of an item, in order: without those that name it in passing."""
        passing = _IN_PASSING.get(item.kind)
        if passing is None:
            return self.filed(item.id)
        return self.once(_Filed((item.id, None), passing), lambda: self._source.all_but(item.id, passing))  # type: ignore[return-value]

    def uses(self, item: Item, since: int) -> list[Event]:
        """The events that name an item in passing: the last at or before an instant, and those after it."""
        passing = _IN_PASSING.get(item.kind)
        if passing is None:
            return []
        filed = _Filed((item.id, passing), since)
        return self.once(filed, lambda: self._source.standing(item.id, passing, since))  # type: ignore[return-value]

    def events(self, item: Item) -> list[Event]:
        """Every event of the lives of an item, in order."""
        first, *later = self.lifetimes(item)
        return [event for lifetime in (first, *later) for event in lifetime.entries] if later else first.entries

    @property
    def instants(self) -> set[int]:
        """When anything that was logged happened, but for what another followed before the book's time."""

        def ask() -> set[int]:
            return self._source.instants(self._names(), self._since)

        return self.once("instants", ask)  # type: ignore[return-value]

    def newest(self) -> int | None:
        """When the last entry happened; None without any."""
        return max(self._source.instants(self._names(), MAX_INSTANT), default=None)

    def _names(self) -> Iterator[str]:
        """The names under which entries are filed. The fleet is read whole for them only where they are looked at."""
        yield from (HOME, JOBS)
        yield from self.fleet.ids()

    def item(self, kind: str, name: str) -> Item:
        """The item of a kind and name: of the fleet, a booked job, or the home."""
        if kind == "job":
            return Item(name, "job", {"id": name} | self._job(name).plate)
        return fleets.HOME if kind == "home" else self.fleet[name]

    def _job(self, name: str) -> Job:
        job = self.job(name)
        if job is None:
            raise KeyError(name)
        return job

    def kind(self, name: str) -> str | None:
        """The kind of an item of the fleet, of a job ever booked, or of the home; None for any other name."""
        if name == HOME:
            return "home"
        return self.fleet.kind(name) or ("job" if self.job(name) else None)

    def items(self, kind: str) -> list[str]:
        """The names of all items of a kind."""
        if kind == "job":
            return list(self.jobs)
        return [HOME] if kind == "home" else self.fleet.ids(kind)

    def lifetimes(self, item: Item) -> list[Lifetime]:
        """The lives of an item, in order."""
        return self.once(("lifetimes", item.kind, item.id), lambda: self._split(item, self._concerning(item)))  # type: ignore[return-value]

    def retired(self, item: Item) -> int:
        """Return when an item was retired for good; MAX_INSTANT while it is in service, or was replaced since."""
        return next((event.at for event in self.lifetimes(item)[-1].those("retired")), MAX_INSTANT)

    def out_of_service(self, item: Item) -> list[tuple[int, int]]:
        """Each stretch from retired to the replacement, if one came."""

        def find() -> list[tuple[int, int]]:
            return [
                (event.at, lifetime.end) for lifetime in self.lifetimes(item) for event in lifetime.those("retired")[:1]
            ]

        return self.once(("out of service", item.kind, item.id), find)  # type: ignore[return-value]

    def in_service(self, item: Item, instant: int, by: int) -> bool:
        """True for an item that will have come by its nameplate by then, and that is not retired at an instant."""
        day = item.plate.get("in_service")
        came = day is None or start_of_day(day, self.clocks.zone) <= by
        return came and self.fact(item, "retired").at(instant) != "yes"

    def fact(self, item: Item, name: str, of: str | None = None, since: int = MIN_INSTANT) -> Timeline:
        """A fact of an item over all time; or as it is from `since` on, with anything before."""

        def fold() -> Timeline:
            lifetimes = self.lifetimes(item)
            if len(lifetimes) == 1:
                segments = self.segments(lifetimes[0], name, of, since)
                return self.once(("timeline", id(segments)), lambda: Timeline(segments))  # type: ignore[return-value]
            told = (lifetime for lifetime in lifetimes if lifetime.end > since)
            return Timeline([segment for lifetime in told for segment in self._life_pieces(lifetime, name, of, since)])

        return self.once(("fact", item.kind, item.id, name, of, since), fold)  # type: ignore[return-value]

    def value(self, item: Item, name: str, instant: int) -> Value:
        """The value of a fact of an item at one instant; None where unknown."""
        at = self.catalogue[name].at
        if at is None:
            return self.fact(item, name).at(instant)
        return at(next(lifetime for lifetime in reversed(self.lifetimes(item)) if lifetime.start <= instant), instant)

    def segments(self, lifetime: Lifetime, name: str, of: str | None = None, since: int = MIN_INSTANT) -> list[Segment]:
        """The pieces of a fact over one life; of one that can be told so, those that hold from `since` on."""
        declared = self.catalogue[name]
        since = since if declared.onward else MIN_INSTANT
        variant = of if of is not None or not declared.of else declared.of[0]

        def compute() -> list[Segment]:
            if declared.onward:
                return declared.compute(lifetime, since)
            return declared.compute(lifetime, variant) if declared.of else declared.compute(lifetime)

        return lifetime.once((name, variant, since), compute)  # type: ignore[return-value]

    def _life_pieces(self, lifetime: Lifetime, name: str, of: str | None, since: int) -> list[Segment]:
        segments = self.segments(lifetime, name, of, since)
        return [Segment(lifetime.start, None), *Timeline(segments).clipped(lifetime.start, lifetime.end)]

    def _concerning(self, item: Item) -> list[Event]:
        """An item's own events with those of the aircraft it was fitted to or flown with."""
        if item.kind == "job":
            return self._job(item.id).events
        own = self.own(item)
        if item.kind == "pack":
            return sorted([*own, *self._mishaps_flown(item, own)])
        if item.kind in CARRIED:
            return sorted([*own, *self._carried(item)])
        return own

    def _carried(self, part: Item) -> list[Event]:
        """The flights and mishaps of the aircraft while the part was on it."""
        own = {event.id for event in self.filed(part.id)}
        return [
            event
            for start, end, aircraft in fittings(self, part)
            for counts, event in self._touching(aircraft)
            if start <= counts < end and event.id not in own
        ]

    def _touching(self, aircraft: str) -> list[tuple[int, Event]]:
        """The flights and mishaps of an aircraft, each with the instant at which it touches what is fitted."""

        def find() -> list[tuple[int, Event]]:
            return [(counts_from(event), event) for event in self.filed(aircraft) if event.what in ("flown", "mishap")]

        return self.once(("touching", aircraft), find)  # type: ignore[return-value]

    def _mishaps_flown(self, pack: Item, own: list[Event]) -> list[Event]:
        """Mishaps that name no packs, of an aircraft in whose flight then, or last before, this pack was."""
        crafts = dict.fromkeys(str(event.get("aircraft")) for event in own if event.what == "flown")
        mishaps = (mishap for aircraft in crafts for mishap in self.filed(aircraft, "mishap"))
        flights = ((mishap, self.flight_of(mishap)) for mishap in mishaps)
        return [mishap for mishap, flight in flights if flight and pack.id in flight.get("packs")]

    def flight_of(self, mishap: Event) -> Event | None:
        """The flight that tells which packs were in a mishap of an aircraft: the last one begun, where it was under way
        or had landed within half an hour. None where the mishap names them itself."""
        if "packs" in mishap.fields:
            return None
        aircraft = str(mishap.get("item"))
        flights = self.filed(aircraft, "flown") if self.fleet.kind(aircraft) == "aircraft" else []
        last = next((flight for flight in reversed(flights) if counts_from(flight) <= mishap.at), None)
        return last if last and mishap.at <= last.at + 30 * MINUTE else None

    def unclaimed(self, pack: Item) -> list[Event]:
        """Mishaps of the aircraft that a pack fits, of which nothing tells which packs were in them; but those that
        came while it was in a flight of another."""
        crafts = pack.plate.get("fits") or self.fleet.ids("aircraft")
        mishaps = (mishap for aircraft in crafts for mishap in self.filed(aircraft, "mishap"))
        untold = [mishap for mishap in mishaps if "packs" not in mishap.fields and self.flight_of(mishap) is None]
        flown = self.filed(pack.id, "flown") if untold else []
        return [m for m in untold if not any(counts_from(flight) <= m.at <= flight.at for flight in flown)]

    def _first_at(self, item: Item, events: list[Event]) -> int | None:
        passing = _IN_PASSING.get(item.kind)
        used = self._source.first_at(item.id, passing) if passing else None
        return min((at for at in (used, *(event.at for event in events[:1])) if at is not None), default=None)

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


def counts_from(event: Event) -> int:
    """The instant at which an event touches what is fitted: the take-off of a flight."""
    if event.what != "flown":
        return event.at
    return event.at - round(float(event.fields["minutes"]) * MINUTE)
