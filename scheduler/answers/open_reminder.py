"""The open reminder that a `seen` or a `snoozed` binds to."""

from scheduler.answers.desk import Desk
from scheduler.base.findings import Refused, did_you_mean
from scheduler.events.event import HOME
from scheduler.events.kinds import AWAITED, KINDS
from scheduler.facts.condition import facts_barring_use
from scheduler.facts.jobs import all_jobs
from scheduler.reminders.board import Reminder
from scheduler.verdicts.verdict import Key

_TIME = "give a time such as 2d or 'sat 09:00'"


_USES = {"pack": ("charged", "drained", "flown"), "aircraft": ("flown",)}
"""What nobody should wait for while something keeps an item out of use, by its kind."""


def require_open(at: Desk, rule: str, item: str) -> Reminder:
    """Return the open reminder of a rule on an item. Raises Refused if none is open."""
    if rule not in at.setup.rules:
        raise Refused.because(f"there is no rule {rule!r}{did_you_mean(rule, at.setup.rules)}")
    board = at.board([item])
    if item not in at.setup.fleet and item not in (*all_jobs(board.store), HOME):
        known = [*at.setup.fleet.ids(), *all_jobs(board.store)]
        raise Refused.because(f"there is no item {item!r}{did_you_mean(item, known)}")
    opened = {reminder.key: reminder for reminder in board.open_at(at.now)}
    if (rule, item) not in opened:
        names = ", ".join(f"{key.rule} {key.item}" for key in opened) or "nothing"
        raise Refused.because(f"no reminder {rule} is open on {item}; open on it: {names}")
    return opened[Key(rule, item)]


def require_awaited(reminder: Reminder, awaited: str, now: int) -> None:
    """Raise Refused if a snooze awaits an entry its item cannot or must not have."""
    item = reminder.verdict.item
    named = _named_by(awaited)
    if item.kind not in named:
        known = ", ".join(what for what in AWAITED if item.kind in _named_by(what))
        other = f", or wait for {known}" if known else ""
        raise Refused.because(
            f"{awaited} is logged of {', '.join(named)}, not of {item.id} ({item.kind}): {_TIME}{other}"
        )
    reason = _out_of_use(reminder, now)
    if reason and awaited in _USES.get(item.kind, ()):
        raise Refused.because(f"do not wait until {item.id} is {awaited}, because {reason}: {_TIME}")


def _named_by(what: str) -> list[str]:
    """Return the kinds of items that a kind of entry can name."""
    return [kind for field in KINDS[what].fields if field.type.names for kind in field.type.names.split(",")]


def _out_of_use(reminder: Reminder, now: int) -> str:
    """Return why the item must stay unused until this is settled; "" if it need not."""
    rule, item = reminder.verdict.rule, reminder.verdict.item
    if rule.grounds:
        return f"{rule.id} grounds it"
    store = reminder.verdict.store
    facts = facts_barring_use(item.kind)
    barring = {name: value for name, value in facts.items() if item.kind in store.catalogue[name].about}
    barred = any(store.fact(item, name).at(now) == value for name, value in barring.items())
    return "it is out of use" if barred else ""
