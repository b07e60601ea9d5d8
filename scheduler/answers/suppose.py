"""Suppose entries in a copy of the log. The home's own log is never written."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

from scheduler.answers.desk import Desk
from scheduler.answers.lines import lines
from scheduler.base.findings import Refused
from scheduler.base.instants import MAX_INSTANT, WEEK, from_datetime, parse_rfc3339, rfc3339, to_datetime
from scheduler.base.text import numbered
from scheduler.events.event import Event
from scheduler.events.log import Log
from scheduler.events.taking import take, to_line
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import DATABASE, Home
from scheduler.reminders.hours import Hours

USE = ("charged", "drained", "flown", "moved", "travel_planned", "booked", "cancelled")
"""The kinds of event that make a pattern of use: findings, repairs and looks are not supposed."""
_TIMES = ("starts", "ends", "leaves")


@contextmanager
def supposed_copy(home: Home) -> Iterator[Home]:
    """Yield the home with a copy of its log, deleted afterwards."""
    with TemporaryDirectory(prefix="shelfbell-") as folder:
        copy = Home(home.path)
        copy.log = Log(Path(folder) / DATABASE)
        if home.log.exists():
            with closing(sqlite3.connect(copy.log.path)) as target:
                home.log.connection.backup(target)
        try:
            yield copy
        finally:
            copy.log.close()


def suppose_file(at: Desk, source: IO[bytes], name: str) -> str:
    """Take supposed entries into the copy; return a line that says how many.

    The line keeps anyone from taking them for real. `intake`'s checks apply, except that entries may lie ahead.
    `name`: the name of their file. Raises Refused.
    """
    entries = ((number, _recorded_at_once(line)) for number, line in lines(source, name))
    count = len(take(at.home.log, entries, at.setup.fleet, MAX_INSTANT, name, all_new=True).ids)
    return f"Supposed, not logged: {numbered(count, 'entry', 'entries')} of {name}."


def suppose_use_like(at: Desk, like: tuple[int, int], ahead: tuple[int, int]) -> str:
    """Suppose that use goes on from now as in the interval `like`; say so in a line."""
    start, end = max(ahead[0], at.now), ahead[1]
    count = suppose_use(at.home, at.setup.fleet, at.setup.hours, like, (start, end))
    pattern = f"from {at.say(like[0])} to {at.say(like[1])}"
    entries = numbered(count, "entry", "entries")
    return f"Supposed, not logged: {entries} of use from {at.say(start)} on, as {pattern}."


def _recorded_at_once(line: str) -> str:
    """Add `recorded_at`, equal to `at`, to a line that lacks it.

    Returns an unreadable line as it is.
    """
    try:
        event = json.loads(line)
    except (ValueError, RecursionError):
        return line
    if not isinstance(event, dict) or "at" not in event or "recorded_at" in event:
        return line
    return f'{line.rstrip()[:-1]}, "recorded_at": {json.dumps(event["at"])}}}'


def suppose_use(home: Home, fleet: Fleet, hours: Hours, like: tuple[int, int], ahead: tuple[int, int]) -> int:
    """Repeat the use of one interval over another; return the number of entries.

    It moves by whole weeks of local time, so weekdays and times of day stay; the first repeat begins as near to the
    beginning as that allows. Raises Refused where nothing was used in it.
    """
    (begun, over), (start, end) = like, ahead
    pattern = [event for event in home.log.in_force() if begun <= event.at < over and event.what in USE]
    if not pattern:
        raise Refused.because("nothing was flown, charged, moved or booked in the time given by --like")
    every = -((begun - over) // WEEK)
    first = round((start - begun) / WEEK)
    weeks = range(first, first + every + (end - start) // WEEK + 1, every)
    moved = [_moved(event, shift, hours) for shift in weeks for event in pattern]
    within = [event for event in moved if start <= parse_rfc3339(str(event["at"])) < end]
    return len(take(home.log, enumerate(map(to_line, within), 1), fleet, MAX_INSTANT, "supposed use").ids)


def _moved(event: Event, weeks: int, hours: Hours) -> dict[str, object]:
    """Return the entry some weeks later, with its own id and job name."""

    def later(text: object) -> str:
        wall = to_datetime(parse_rfc3339(str(text)), hours.zone).replace(tzinfo=None) + timedelta(weeks=weeks)
        return rfc3339(from_datetime(wall.replace(tzinfo=hours.zone)), hours.zone)

    fields = {
        name: value for name, value in event.fields.items() if name not in ("recorded_at", "instead_of", "by", "note")
    }
    fields |= {name: later(fields[name]) for name in ("at", *_TIMES) if name in fields}
    if "job" in fields:
        fields["job"] = f"{str(fields['job'])[:60]}+{weeks}w"
    return fields | {"id": f"{event.id[:60]}+{weeks}w", "recorded_at": fields["at"]}
