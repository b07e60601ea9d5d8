"""What happened to an item, corrections and reminders included."""

from itertools import pairwise

from scheduler.answers.desk import Desk
from scheduler.answers.explain import entry_line
from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import MIN_INSTANT
from scheduler.base.text import clean
from scheduler.events.event import JOB, Event
from scheduler.facts.fact_store import FactStore
from scheduler.facts.item_events import unattributed_mishaps
from scheduler.facts.jobs import find_job
from scheduler.messages.outbox import Outbox
from scheduler.reminders.announcements import Notification


def filing_name(at: Desk, item: str | None) -> str | None:
    """The name under which the entries of an item, or of a job, are filed. Raises Refused where there is none."""
    if item is None or item in at.setup.fleet:
        return item
    names = at.home.log.names()
    if f"{JOB}{item}" in names or item in names:
        return f"{JOB}{item}" if f"{JOB}{item}" in names else item
    jobs = [name.removeprefix(JOB) for name in names if name.startswith(JOB) and name != JOB]
    raise Refused.because(f"nothing is logged of {item!r}{did_you_mean(item, [*at.setup.fleet.ids(), *jobs])}")


def shared_mishaps(store: FactStore, item: str | None, own: set[str]) -> list[Event]:
    """The mishaps of an aircraft that concern an item that was in it or on it, or may have been, beside its `own`."""
    if item is None or item not in store.fleet:
        return []
    concerned = [
        event for lifetime in store.lifetimes(store.fleet[item]) for event in lifetime.events if event.what == "mishap"
    ]
    if store.fleet.kind(item) == "pack":
        concerned += unattributed_mishaps(store, store.fleet[item])
    return [event for event in {each.id: each for each in concerned}.values() if event.id not in own]


def overtaken_marks(store: FactStore, entries: list[tuple[Event, str | None]], now: int) -> dict[str, str]:
    """The marks of bookings that another one replaced, or that were cancelled, before the job was over."""
    names = {str(event.get("job")) for event, _ in entries if event.what == "booked"}
    marks = {}
    for job in filter(None, (find_job(store, name) for name in names)):
        ends = {plan.event.id: plan.ends for plan in job.plans}
        for event, by in pairwise(job.events):
            if by.at <= min(now, ends.get(event.id, MIN_INSTANT)):
                marks[event.id] = f"  [{'replaced' if by.what == 'booked' else 'cancelled'} by {by.id}]"
    return marks


def event_line(at: Desk, event: Event, by: str | None) -> str:
    note = f'  "{str(event.fields["note"]).replace(chr(10), " / ")}"' if "note" in event.fields else ""
    instead = f"  [in place of {event.fields['instead_of']}]" if "instead_of" in event.fields else ""
    gone = f"  [taken back by {by}]" if by else ""
    return f"{entry_line(at, event)}{note}{instead}{gone}"


def told_of(at: Desk, item: str | None) -> list[Notification]:
    """What was told of the reminders on an item, or on any, by the instant asked about."""
    ledger = Outbox(at.home.log).ledger()
    keys = [key for key in ledger.announced_keys() if item in (None, key.item)]
    told = [line for key in keys for line in ledger.of_key(key)]
    return sorted((line for line in told if line.at <= at.now), key=lambda line: line.at)


def notification_line(at: Desk, line: Notification) -> str:
    what = line.reason or line.kind if line.kind == "settled" else f"rung ({line.kind}, {line.urgency})"
    return f"{at.say(line.at):<17} reminder {clean(line.key.rule)} {clean(line.key.item)}: {what}"


def notification_json(at: Desk, line: Notification) -> dict[str, object]:
    return {
        "reminder": line.key.rule, "item": line.key.item, "told_at": at.stamp(line.at), "kind": line.kind,
        "urgency": line.urgency, "reason": line.reason,
    }  # fmt: skip
