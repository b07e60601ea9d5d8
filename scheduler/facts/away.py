"""When the operator is away."""

from scheduler.base.instants import parse_rfc3339
from scheduler.events.event import Event


def absence(event: Event) -> tuple[int, int]:
    """From when to when somebody is away by an entry."""
    return parse_rfc3339(str(event.get("from"))), parse_rfc3339(str(event.get("to")))
