"""One event as the whole program sees it, and the names it is filed under.

It knows no database.
"""

from typing import Any, NamedTuple

from scheduler.events.kinds import KINDS

JOBS = "job"
HOME = "home"
RESERVED = (JOBS, HOME)
"""Names under which the log files events that concern no item of the fleet."""
JOB = "job/"
"""Before the name of a job: the name under which its own events are filed. Alone: bookings for no one aircraft."""


class Event(NamedTuple):
    """One event of the log. Events sort by `at`, then `recorded_at`, then `id`.

    `seq`: its place in the log, which says when it arrived here and nothing else.
    """

    at: int
    recorded_at: int
    id: str
    seq: int
    what: str
    fields: dict[str, Any]

    def get(self, name: str, default: Any = None) -> Any:
        """Return the value of a field, or `default`."""
        return self.fields.get(name, default)

    @property
    def target(self) -> str | None:
        """The id of the event that this one corrects; None for most."""
        return target_of(self.fields)


_NAMING = {what: tuple(f.name for f in kind.fields if f.type.names) for what, kind in KINDS.items()}
_ALWAYS = {what: (JOBS,) if kind.subject == "job" else () if kind.subject else (HOME,) for what, kind in KINDS.items()}


def concerned(event: dict[str, object]) -> tuple[str, ...]:
    """Return the names under which an event is filed.

    Its items; "job" and "job/NAME" for a job; "home" if it concerns no item. A booking for no aircraft in particular is
    filed under "job/" too. A correction is filed under the names of what it corrects as well
    (`corrections.filed_names`).
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


def target_of(fields: dict[str, Any]) -> str | None:
    """Return the id of the event that this one strikes or replaces, if any."""
    return fields.get("event") if fields["what"] == "struck" else fields.get("instead_of")


def corrects(event: Event) -> bool:
    """Return True for an event that strikes or replaces another."""
    return event.what == "struck" or "instead_of" in event.fields
