"""Which reminder took the place of one that is over, though what it was about is not settled."""

from functools import partial

from scheduler.base.instants import MIN_INSTANT
from scheduler.facts.condition import facts_barring_use
from scheduler.facts.intervals import YES
from scheduler.facts.timeline import Segment, Timeline
from scheduler.reminders.board import Reminder, pressing
from scheduler.verdicts.conditions import intervals
from scheduler.verdicts.verdict import Verdict, verdicts


def how_ended(over: Reminder) -> str:
    """How a reminder that is over ended: "settled", "gave way to pack may be swollen"."""
    other = superseded_by(over)
    return over.episode.ending if other is None else f"gave way to {other.verdict.rule.title.lower()}"


def superseded_by(over: Reminder) -> Reminder | None:
    """The reminder on the same item that took the place of one that is over: it opened as that ended, and that would be
    open still but for what keeps the item from use since. None where it is settled, or ended otherwise."""
    ended, rules = over.episode.ended, over.verdict.rules
    if rules is None or over.episode.ending != "settled" or not _only_barred(over.verdict, ended):
        return None
    # over all time: its board may not have asked what was over before its last digest
    found = verdicts(over.verdict.store, rules, [over.key.item])
    there = (Reminder(verdict, episode) for verdict in found for episode in verdict.episodes)
    return min((each for each in there if each.episode.opened == ended), key=partial(pressing, ended), default=None)


def _only_barred(verdict: Verdict, instant: int) -> bool:
    """True where a reminder would not end at an instant, did nothing keep the item from use that did not before."""
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
