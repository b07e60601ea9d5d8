"""One event as every part of the program sees it, and the names under which it is filed; knows no database."""

from typing import Any, NamedTuple

from scheduler.events.kinds import KINDS

JOBS = "job"
HOME = "home"
RESERVED = (JOBS, HOME)
"""Names under which the log files events that concern no item of the fleet."""
JOB = "job/"
"""Before the name of a job: the name under which its own events are filed. Alone: bookings for no one aircraft."""


class Event(NamedTuple):
    """One event as the log holds it, in the order of its fields."""

    at: int
    recorded_at: int
    seq: int
    id: str
    what: str
    fields: dict[str, Any]

    def get(self, name: str, default: Any = None) -> Any:
        """The value of a field, or `default`."""
        return self.fields.get(name, default)

    @property
    def target(self) -> str | None:
        """The id of what it takes back, or whose place it takes; None for most."""
        return self.fields.get("event") if self.what == "struck" else self.fields.get("instead_of")


_NAMING = {what: tuple(f.name for f in kind.fields if f.type.names) for what, kind in KINDS.items()}
_ALWAYS = {what: (JOBS,) if kind.subject == "job" else () if kind.subject else (HOME,) for what, kind in KINDS.items()}


def concerned(event: dict[str, object]) -> tuple[str, ...]:
    """The names under which an event is filed: its items, "job" and "job/NAME" for jobs, "home" for what concerns none.

    A booking for no one aircraft is filed under "job/" too.
    """
    what: str = event["what"]  # type: ignore[assignment]
    named: list[str] = []
    for field in _NAMING[what]:
        value = event.get(field)
        if isinstance(value, list):
            named += value
        elif value is not None:
            named.append(value)  # type: ignore[arg-type]
    if "job" in event:
        named.append(f"{JOB}{event['job']}")
        if what == "booked" and "aircraft" not in event:
            named.append(JOB)
    return tuple(dict.fromkeys((*named, *_ALWAYS[what])))


def corrects(event: Event) -> bool:
    """True for what takes another event back, or its place."""
    return event.what == "struck" or "instead_of" in event.fields
