"""What many tests use: times written short, events, and a book over a log that lives in memory."""

from zoneinfo import ZoneInfo

from scheduler.base.instants import parse_rfc3339
from scheduler.events.event import Event, concerned
from scheduler.events.source import Source
from scheduler.events.validation import problems
from scheduler.facts.event_cache import Clocks
from scheduler.facts.fact_store import FactStore
from scheduler.facts.timeline import Timeline, events_of
from scheduler.fleet.fleet import Fleet

Fields = dict[str, object]
Entries = list[dict[str, object]]


def rfc(short: str) -> str:
    """RFC 3339 text from "2026-04-01" (midnight), "2026-04-01 09:00" (UTC both), or itself."""
    if len(short) == 10:
        short += " 00:00"
    return f"{short.replace(' ', 'T')}:00Z" if len(short) == 16 else short


def moment(short: str) -> int:
    """The instant that `rfc` writes."""
    return parse_rfc3339(rfc(short))


def event(at: str, what: str, **fields: object) -> Fields:
    """An event as it is interchanged; its times may be short. Fails where it is not well-formed."""
    short = ("starts", "ends", "leaves", "from", "to", "until", "recorded_at")
    times = {name: rfc(str(fields[name])) for name in short if name in fields and what != "moved"}
    made = {"at": rfc(at), "what": what} | fields | times
    assert problems(made) == []
    return made


class MemoryLog(Source):
    """A source of events without a database: the events in order, none of them corrected."""

    def __init__(self, entries: Entries) -> None:
        self.events = sorted(_event(seq, fields) for seq, fields in enumerate(entries, 1))

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """The events filed under a name."""
        return [event for event in self.events if name in concerned(event.fields) and what in (None, event.what)]


def _event(seq: int, fields: Fields) -> Event:
    at = parse_rfc3339(str(fields["at"]))
    recorded_at = parse_rfc3339(str(fields.get("recorded_at", fields["at"])))
    return Event(at, recorded_at, str(fields.get("id", f"e{seq}")), seq, str(fields["what"]), fields)


def book_of(fleet: dict[str, Entries], *entries: Fields, zone: str = "UTC") -> FactStore:
    """A book over a fleet, as fleet.yaml has it, and its events."""
    return FactStore(Fleet(fleet), MemoryLog(list(entries)), Clocks(ZoneInfo(zone)))


def fact(store: FactStore, item: str, name: str, of: str | None = None) -> Timeline:
    """A fact of an item of the fleet."""
    return store.fact(store.fleet[item], name, of)


def reasons(timeline: Timeline, at: int) -> list[str]:
    """The ids of the events behind the value at an instant, oldest first."""
    return [event.id for event in events_of(timeline.segment(at).evidence)]
