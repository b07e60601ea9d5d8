"""Show what happened to an item, with corrections and reminders."""

from itertools import pairwise
from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.answers.explain import entry_line, mishap_mark
from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import MIN_INSTANT
from scheduler.base.text import clean
from scheduler.events.event import JOB, Event
from scheduler.facts.fact_store import FactStore
from scheduler.facts.jobs import find_job
from scheduler.facts.pack import doubtful_mishaps
from scheduler.messages.outbox import Outbox
from scheduler.reminders.announcements import Notification


class History(NamedTuple):
    """Entries by an instant, of `item` or all, each with the id of what took it back.

    `marks`: a remark by event id. `notifications`: what was rung.
    """

    item: str | None
    entries: list[tuple[Event, str | None]]
    marks: dict[str, str]
    notifications: list[Notification]


def history_of(at: Desk, item: str | None, reminders: bool = False) -> History:
    """Return what happened to an item, a job, or all. Raises Refused.

    `reminders`: with what was rung.
    """
    store = at.store()
    filed = list(at.home.log.history(_filing_name(at, item)))
    shared = _shared_mishaps(store, item, {event.id for event, _ in filed})
    found = [*filed, *((event, None) for event in shared)]
    entries = sorted((event, by) for event, by in found if event.at <= at.now)
    marks = {event.id: mishap_mark(store, str(item), event) for event in shared}
    marks |= _superseded_bookings(store, entries, at.now)
    return History(item, entries, marks, _notifications(at, item) if reminders else [])


def to_json(at: Desk, history: History) -> list[dict[str, object]]:
    """Return the history for programs."""
    entries = [event.fields | {"taken_back_by": by} for event, by in history.entries]
    return entries + [_notification_json(at, line) for line in history.notifications]


def to_lines(at: Desk, history: History) -> list[str]:
    """Return the history for people: a line an entry, oldest first."""
    marks = history.marks
    lines = [(event.at, clean(_event_line(at, event, by) + marks.get(event.id, ""))) for event, by in history.entries]
    lines += [(line.at, _notification_line(at, line)) for line in history.notifications]
    texts = [text for _, text in sorted(lines, key=lambda line: line[0])]
    item = history.item
    nothing = "Nothing is logged." if item is None else f"Nothing is logged of {clean(item)}."
    return texts if history.entries else [*texts, nothing]


def _filing_name(at: Desk, item: str | None) -> str | None:
    """Return the name that files an item's or a job's entries.

    Raises Refused for an unknown one.
    """
    if item is None or item in at.setup.fleet:
        return item
    names = at.home.log.names()
    if f"{JOB}{item}" in names or item in names:
        return f"{JOB}{item}" if f"{JOB}{item}" in names else item
    jobs = [name.removeprefix(JOB) for name in names if name.startswith(JOB) and name != JOB]
    raise Refused.because(f"nothing is logged of {item!r}{did_you_mean(item, [*at.setup.fleet.ids(), *jobs])}")


def _shared_mishaps(store: FactStore, item: str | None, own: set[str]) -> list[Event]:
    """Return an aircraft's mishaps that involved the item, or may have; not its `own`."""
    if item is None or item not in store.fleet:
        return []
    concerned = [
        event for lifetime in store.lifetimes(store.fleet[item]) for event in lifetime.events if event.what == "mishap"
    ]
    if store.fleet.kind(item) == "pack":
        concerned += doubtful_mishaps(store, store.fleet[item])
    return [event for event in {each.id: each for each in concerned}.values() if event.id not in own]


def _superseded_bookings(store: FactStore, entries: list[tuple[Event, str | None]], now: int) -> dict[str, str]:
    """Mark bookings replaced or cancelled before the job's end, by event id."""
    names = {str(event.get("job")) for event, _ in entries if event.what == "booked"}
    marks = {}
    for job in filter(None, (find_job(store, name) for name in names)):
        ends = {plan.event.id: plan.ends for plan in job.plans}
        for event, by in pairwise(job.events):
            if by.at <= min(now, ends.get(event.id, MIN_INSTANT)):
                marks[event.id] = f"  [{'replaced' if by.what == 'booked' else 'cancelled'} by {by.id}]"
    return marks


def _event_line(at: Desk, event: Event, by: str | None) -> str:
    note = f'  "{str(event.fields["note"]).replace(chr(10), " / ")}"' if "note" in event.fields else ""
    instead = f"  [in place of {event.fields['instead_of']}]" if "instead_of" in event.fields else ""
    astray = f"  [there is no event {event.target}]" if event.target and not at.home.log.find(event.target) else ""
    gone = f"  [taken back by {by}]" if by else ""
    return f"{entry_line(at, event)}{note}{instead}{astray}{gone}"


def _notifications(at: Desk, item: str | None) -> list[Notification]:
    """Return the notifications on an item, or on all, by the instant asked about."""
    ledger = Outbox(at.home.log).ledger()
    keys = [key for key in ledger.announced_keys() if item in (None, key.item)]
    lines = [line for key in keys for line in ledger.of_key(key)]
    return sorted((line for line in lines if line.at <= at.now), key=lambda line: line.at)


def _notification_line(at: Desk, line: Notification) -> str:
    what = line.reason or line.kind if line.kind == "settled" else f"rung ({line.kind}, {line.urgency})"
    return f"{at.say(line.at):<17} reminder {clean(line.key.rule)} {clean(line.key.item)}: {what}"


def _notification_json(at: Desk, line: Notification) -> dict[str, object]:
    return {
        "reminder": line.key.rule, "item": line.key.item, "told_at": at.stamp(line.at), "kind": line.kind,
        "urgency": line.urgency, "reason": line.reason,
    }  # fmt: skip
