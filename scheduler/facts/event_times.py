"""When an event began, and how long it lasted."""

from scheduler.base.instants import MINUTE, parse_rfc3339
from scheduler.events.event import Event


def begins_at(event: Event) -> int:
    """Return when an event began: a flight at its take-off, all else at its time."""
    return event.at if event.what != "flown" else event.at - airtime_of(event)


def airtime_of(flight: Event) -> int:
    """Return the time in the air of a flight, microseconds."""
    return round(float(flight.fields["minutes"]) * MINUTE)


def flights_of(flight: Event) -> int:
    """Return how many flights an event sums up; 1 for most."""
    return int(flight.fields.get("flights", 1))


def absence_of(event: Event) -> tuple[int, int]:
    """Return the start and end of an absence."""
    return parse_rfc3339(str(event.get("from"))), parse_rfc3339(str(event.get("to")))
