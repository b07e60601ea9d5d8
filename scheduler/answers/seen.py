"""Log that an open reminder was seen, or keep it quiet for a while."""

from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.answers.entry import LoggedAnswer, log_events
from scheduler.answers.fallback import judging_setup
from scheduler.answers.open_reminder import require_awaited, require_open
from scheduler.base.findings import Refused
from scheduler.base.instants import SECOND, rfc3339
from scheduler.base.typed_times import is_bare_day, is_span, parse_time
from scheduler.events.kinds import AWAITED
from scheduler.home.folder import Home
from scheduler.reminders.board import SNOOZE


class Quieting(NamedTuple):
    """The reminder to quiet; `what` is "seen" or "snoozed".

    `until`: when repeats go on, as typed, or the kind of entry that a snooze waits for; "" for the default.
    """

    what: str
    rule: str
    item: str
    until: str = ""
    note: str = ""


def log_quieting(home: Home, asked: Quieting, now: int, via: str = "log") -> LoggedAnswer:
    """Log it if that reminder is open. Raises Refused; nothing was written then.

    While files of the home are refused, use the rules that the daemon uses.
    """
    at = Desk(home, judging_setup(home)[0], now)
    reminder = require_open(at, asked.rule, asked.item)
    end, quiet = _end(at, asked)
    if "until_next" in end:
        require_awaited(reminder, end["until_next"], now)
    zone = at.setup.hours.zone
    event: dict[str, object] = {"at": rfc3339(now, zone), "what": asked.what, "item": asked.item, "rule": asked.rule}
    ids = log_events(at, [event | end | ({"note": asked.note} if asked.note else {})], via)
    lines = [
        f"{asked.rule} {asked.item}: {quiet}, unless it becomes more urgent. It stays on the board until it is settled."
    ]
    if reminder.verdict.urgency(now) == "now":
        lines.append("It is as urgent as can be: keeping it quiet settles nothing.")
        caution = reminder.verdict.rule.caution
        lines += [f"  Caution: {caution}"] if caution else []
    return LoggedAnswer(ids, lines)


def _end(at: Desk, asked: Quieting) -> tuple[dict[str, str], str]:
    """Return the fields for the end of the quiet, and their text in the answer."""
    zone, typed = at.setup.hours.zone, asked.until
    if asked.what == "snoozed" and typed in AWAITED:
        return {"until_next": typed}, f"quiet until {asked.item} is {typed} next"
    if asked.what == "seen" and not typed:
        return {}, "no repeats"
    until = at.now + SNOOZE
    if typed:  # a span alone counts from now on
        until = parse_time(f"in {typed}" if is_span(typed) else typed, at.now, zone, ahead=True)
    until = until // SECOND * SECOND
    noon = " (no time given: noon)" if typed and is_bare_day(typed) else ""
    if until <= at.now:
        raise Refused.because(f"{typed}{noon} lies in the past")
    return {"until": rfc3339(until, zone)}, f"quiet until {at.say(until)}{noon}"
