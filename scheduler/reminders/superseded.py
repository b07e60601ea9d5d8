"""Reminders that a more serious one on the same item replaced."""

from functools import partial

from scheduler.base.instants import MIN_INSTANT
from scheduler.facts.condition import facts_barring_use
from scheduler.facts.intervals import YES
from scheduler.facts.timeline import Segment, Timeline
from scheduler.reminders.board import Reminder, urgency_order
from scheduler.verdicts.conditions import intervals
from scheduler.verdicts.verdict import Verdict, verdicts


def how_ended(over: Reminder) -> str:
    """Return how a reminder ended, such as "gave way to pack may be swollen"."""
    other = superseded_by(over)
    return over.episode.ending if other is None else f"gave way to {other.verdict.rule.title.lower()}"


def superseded_by(over: Reminder) -> Reminder | None:
    """Return the reminder that replaced a finished one, or None.

    It opened on the same item as the other ended, which would still be open if the item were not barred from use.
    """
    ended, rules = over.episode.ended, over.verdict.rules
    if rules is None or over.episode.ending != "settled" or not _only_barred(over.verdict, ended):
        return None
    # over all time: the board may leave out what ended before its last digest
    found = verdicts(over.verdict.store, rules, [over.key.item])
    there = (Reminder(verdict, episode) for verdict in found for episode in verdict.episodes)
    return min(
        (each for each in there if each.episode.opened == ended), key=partial(urgency_order, ended), default=None
    )


def _only_barred(verdict: Verdict, instant: int) -> bool:
    """Return True if a reminder ends only because its item is barred from use now."""
    barred = facts_barring_use(verdict.item.kind)

    def ask(fact: str, of: str | None, _since: int) -> Timeline:
        timeline = verdict.ask(fact, of)
        if fact in barred and timeline.at(instant) == barred[fact]:
            return Timeline([Segment(MIN_INSTANT, timeline.at(instant - 1))])
        return timeline

    rule = verdict.rule
    leave = (
        ~intervals(rule.when, ask, verdict.reach) if rule.until is None else intervals(rule.until, ask, verdict.reach)
    )
    return leave.at(instant) != YES
