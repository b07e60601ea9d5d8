"""Compare two rule sets over the same time: "48 h, not 24 h: 11 fewer", and which."""

from collections.abc import Iterator
from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.base.text import listed
from scheduler.reminders.board import Reminder
from scheduler.reminders.rehearse import Difference, Rehearsal, compare
from scheduler.reminders.superseded import how_ended
from scheduler.verdicts.rule import Rule, Ruleset


class Side(NamedTuple):
    """A rule set under its name, and its rehearsal."""

    name: str
    rules: Ruleset
    result: Rehearsal


class Sides(NamedTuple):
    """The present rule set, the one instead of it, and their difference."""

    now: Side
    instead: Side
    difference: Difference


def compared(now: Side, instead: Side) -> Sides:
    """Compare two rehearsals of the same time."""
    return Sides(now, instead, compare(now.result, instead.result))


def to_text(at: Desk, sides: Sides) -> str:
    """Say what the other rule set would change."""
    result, difference = sides.now.result, sides.difference
    lines = [
        f"From {at.say(result.start)} to {at.say(result.end)}, with {sides.instead.name} instead of {sides.now.name}:"
    ]
    lines += [f"  {line}" for line in _changes(at, sides)]
    lines.append(f"  {_more_or_fewer(sides)}")
    for head, reminders in (("Fewer:", difference.gone), ("More:", difference.new)):
        lines += [head] * bool(reminders) + [f"  {_line(at, sides, reminder)}" for reminder in reminders]
    if difference.moved:
        lines.append("At other times:")
        lines += [f"  {_line(at, sides, a)} -> {_when(at, sides, b)}" for a, b in difference.moved]
    return "\n".join(lines)


def _more_or_fewer(sides: Sides) -> str:
    before, after = sides.now.result, sides.instead.result
    reminders = _count(len(after.reminders) - len(before.reminders), "reminder")
    messages = _count(len(after.decisions) - len(before.decisions), "message")
    return f"{reminders} ({len(after.reminders)}), {messages} ({len(after.decisions)})."


def _count(number: int, noun: str) -> str:
    if number == 0:
        return f"as many {noun}s"
    return f"{abs(number)} {noun}{'' if abs(number) == 1 else 's'} {'more' if number > 0 else 'fewer'}"


def _changes(at: Desk, sides: Sides) -> list[str]:
    """Say how the rule sets differ: "pack-left-full: sit 48 h instead of 24 h (A)"."""
    found: dict[tuple[str, str], list[str]] = {}
    for rule in dict.fromkeys([*sides.now.rules, *sides.instead.rules]):
        about = (sides.now.rules if rule in sides.now.rules else sides.instead.rules).raw(rule)["about"]
        for item in at.setup.fleet.ids(about) or [about]:
            for text in _change(_rule(sides.now, rule, item), _rule(sides.instead, rule, item)):
                found.setdefault((rule, text), []).append(item)
    return [f"{rule}: {text} ({listed(items)})" for (rule, text), items in found.items()]


def _rule(side: Side, rule: str, item: str) -> Rule | None:
    return side.rules.get(rule, item) if rule in side.rules else None


def _change(before: Rule | None, after: Rule | None) -> Iterator[str]:
    if before is None or after is None:
        if before is not after:
            yield "off" if after is None else "on"
        return
    limits = {name: value for name, value in after.limits.items() if before.limits.get(name) != value}
    if limits:
        yield ", ".join(f"{name} {value} instead of {before.limits.get(name)}" for name, value in limits.items())
    elif (before.when, before.until) != (after.when, after.until):
        yield "other conditions"
    if (before.urgency, before.again) != (after.urgency, after.again):
        yield "other urgency or cadence"


def _when(at: Desk, sides: Sides, reminder: Reminder) -> str:
    episode = reminder.episode
    over = (
        f"{how_ended(reminder)} {at.say(episode.ended)}" if episode.ended < sides.now.result.end else "open at the end"
    )
    return f"{at.say(episode.opened)}, {over}"


def _line(at: Desk, sides: Sides, reminder: Reminder) -> str:
    return f"{reminder.key.rule} {reminder.key.item}: {_when(at, sides, reminder)}"


def to_json(at: Desk, sides: Sides) -> dict[str, object]:
    """Return the differences for programs."""

    def one(reminder: Reminder) -> dict[str, object]:
        episode = reminder.episode
        settled = at.stamp(episode.ended) if episode.ended < sides.now.result.end else None
        return {
            "rule": reminder.key.rule, "item": reminder.key.item,
            "opened_at": at.stamp(episode.opened), "settled_at": settled,
        }  # fmt: skip

    return {
        "from": at.stamp(sides.now.result.start),
        "to": at.stamp(sides.now.result.end),
        "rules": [side.name for side in sides[:2]],
        "changes": _changes(at, sides),
        "reminders": [len(side.result.reminders) for side in sides[:2]],
        "messages": [len(side.result.decisions) for side in sides[:2]],
        "fewer": list(map(one, sides.difference.gone)),
        "more": list(map(one, sides.difference.new)),
        "moved": [[one(before), one(after)] for before, after in sides.difference.moved],
    }
