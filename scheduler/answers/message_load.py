"""Count a rehearsal's messages by week and channel; name loud and silent rules."""

from collections import Counter
from datetime import date, timedelta

from scheduler.answers.desk import Desk
from scheduler.base.instants import local_date
from scheduler.messages.routing import part_for
from scheduler.reminders.rehearse import Rehearsal

_LOUDEST = 10


def load_text(at: Desk, result: Rehearsal) -> str:
    """Return the load of a rehearsal for people."""
    counts = by_week(at, result)
    width = max([8, *(len(channel.name) for channel in at.setup.channels)])
    head = "week of     " + "".join(f"{channel.name:>{width + 2}}" for channel in at.setup.channels)
    lines = [f"Messages by week and channel, {at.say(result.start)} to {at.say(result.end)}:", head]
    for monday in _weeks(at, result):
        cells = (counts[monday, channel.name] for channel in at.setup.channels)
        lines.append(f"{monday}  " + "".join(f"{count:>{width + 2}}" for count in cells))
    rung, opened = times_said(result), reminders_opened(result)
    lines += ["", "Loudest rules (times said, reminders):"]
    lines += [f"  {rule}: {count}, {opened[rule]}" for rule, count in rung.most_common(_LOUDEST)] or ["  none"]
    silent = [rule for rule in at.setup.rules if not opened[rule]]
    lines += ["", f"Never opened ({len(silent)} rules): {', '.join(silent) or 'none'}"]
    return "\n".join(lines)


def by_week(at: Desk, result: Rehearsal) -> Counter[tuple[date, str]]:
    """Count the messages sent by channel and by the Monday (local) of their week."""
    return Counter(
        (_monday(at, decision.at), channel.name)
        for decision in result.decisions
        for channel in at.setup.channels
        if part_for(decision, channel) is not None
    )


def times_said(result: Rehearsal) -> Counter[str]:
    """Count how often reminders of each rule were said."""
    return Counter({r.key.rule: 0 for r in result.reminders}) + Counter(
        reminder.key.rule for reminder in result.reminders for _ in result.messages(reminder)
    )


def reminders_opened(result: Rehearsal) -> Counter[str]:
    """Count the reminders of each rule."""
    return Counter(reminder.key.rule for reminder in result.reminders)


def _monday(at: Desk, instant: int) -> date:
    day = local_date(instant, at.setup.hours.zone)
    return day - timedelta(days=day.weekday())


def _weeks(at: Desk, result: Rehearsal) -> list[date]:
    first, last = _monday(at, result.start), _monday(at, result.end - 1)
    return [first + timedelta(weeks=week) for week in range((last - first).days // 7 + 1)]
