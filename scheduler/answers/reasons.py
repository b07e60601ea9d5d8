"""Word a rule's comparisons: what would quiet or ring it, why it changes."""

from typing import Any

from scheduler.answers.describe_event import describe
from scheduler.answers.desk import Desk
from scheduler.base.instants import MAX_INSTANT
from scheduler.base.units import show_span
from scheduler.reminders.board import Reminder
from scheduler.reminders.message_text import Lines, log_line
from scheduler.verdicts.conditions import Leaf
from scheduler.verdicts.explain import explain, limit_text
from scheduler.verdicts.minimal_changes import Change, ChangeSet, LeafChange, changes_at, minimal_changes
from scheduler.verdicts.reference import SAID
from scheduler.verdicts.verdict import Verdict

_CONTRARY = {"yes": "no", "no": "yes"}
_WAYS_SHOWN = 3


def fact_name(leaf: Leaf) -> str:
    """Return the fact of a comparison, for people."""
    return leaf.fact.replace("_", " ") + (f" ({leaf.of})" if leaf.of else "")


def comparison(leaf: Leaf, limit: str, holds: bool = True) -> str:
    """Write a comparison, or its contrary: "at least 85 % (full), for 24 h (sit)".

    The contrary of "is yes" is "is no".
    """
    text = f"{_compared(leaf, limit, holds)}{f' ({leaf.limit_name})' if leaf.limit_name else ''}"
    if leaf.lasting and holds:
        text += f", for {show_span(leaf.lasting)}{f' ({leaf.lasting_name})' if leaf.lasting_name else ''}"
    return text


def _compared(leaf: Leaf, limit: str, holds: bool) -> str:
    if leaf.operator in ("is", "is_not") and limit in _CONTRARY:
        return f"is {limit if (leaf.operator == 'is') == holds else _CONTRARY[limit]}"
    return f"{SAID[leaf.operator][not holds]} {limit}"


def reversals(verdict: Verdict, now: int) -> list[ChangeSet]:
    """Return the smallest changes that settle an open reminder, or ring a closed one."""
    rule = verdict.rule
    if verdict.open_at(now) is None:
        return minimal_changes(explain(verdict, rule.when, now), holds=True)
    if rule.until is not None:
        return minimal_changes(explain(verdict, rule.until, now), holds=True)
    return minimal_changes(explain(verdict, rule.when, now), holds=False)


def change_text(change: Change) -> str:
    """Write one comparison that should turn out otherwise, with the value now."""
    return f"{fact_name(change.leaf)} {comparison(change.leaf, change.limit, change.holds)} (now {change.value})"


def reversal_lines(verdict: Verdict, now: int) -> list[str]:
    """Say what would make it quiet, or ring; last the entry that settles it."""
    found = [way for way in reversals(verdict, now) if way]
    episode = verdict.open_at(now)
    head = "it would be quiet with" if episode else "it would ring with"
    lines = [f"  {head}: {' and '.join(map(change_text, way))}" for way in found[:_WAYS_SHOWN]]
    entry = log_line(Lines(verdict.rule, [Reminder(verdict, episode)]), now) if episode else ""
    return lines + ([f"  the entry for it: {entry}"] if entry else [])


def change_lines(at: Desk, verdict: Verdict) -> list[str]:
    """Say when anything about the verdict changes next, and why."""
    change = verdict.next_change(at.now)
    if change is None:
        return ["  next change: none by the clock alone"]
    return [f"  next change: {at.say(change)}: {'; '.join(change_causes(at, verdict, change))}"]


def change_causes(at: Desk, verdict: Verdict, change: int) -> list[str]:
    """Say why a verdict changes at an instant: comparisons that turn, entries, result."""
    found = [_turn(verdict, turn) for turn in changes_at(verdict, change)]
    zone = at.setup.hours.zone
    found += [f"entry {event.id}, {describe(event, zone)}" for event in verdict.events if event.at == change]
    for episode in verdict.episodes:
        if episode.opened == change:
            found.append("the reminder opens")
        if episode.ended == change < MAX_INSTANT:
            found.append(f"the reminder ends: {episode.ending}")
    return found


def _turn(verdict: Verdict, turn: LeafChange) -> str:
    limit = limit_text(turn.leaf, verdict.store.catalogue[turn.leaf.fact])
    if turn.becomes == "unknown":
        return f"{fact_name(turn.leaf)} becomes unknown"
    return f"{fact_name(turn.leaf)}: {comparison(turn.leaf, limit, turn.becomes == 'yes')}"


def adjustment_lines(at: Desk, verdict: Verdict) -> list[str]:
    """Say how the operator adjusted the rule for the item, and what it says otherwise."""
    change: dict[str, Any] = verdict.rule.adjusted or {}
    if not change:
        return []
    written = at.setup.rules.raw(verdict.rule.id)
    limits = written.get("limits", {})
    parts = [f"{name} {value} instead of {limits.get(name)}" for name, value in change.get("limits", {}).items()]
    parts += [f"{key} {change[key]} instead of {written.get(key)}" for key in ("urgency", "remind") if key in change]
    only = f", for {', '.join(change['only'])} alone" if "only" in change else ""
    because = f", because {change['because']}" if "because" in change else ", with no reason given"
    return [f"{', '.join(parts)}{only}{because}"]
