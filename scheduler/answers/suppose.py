"""What-if: a copy of the log with supposed entries in it. The home's own log is never written."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

from scheduler.answers.lines import lines
from scheduler.base.findings import Refused
from scheduler.base.instants import MAX_INSTANT, WEEK, from_datetime, parse_rfc3339, rfc3339, to_datetime
from scheduler.events.event import Event
from scheduler.events.log import Log
from scheduler.events.taking import take, to_line
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import DATABASE, Home
from scheduler.reminders.hours import Hours

USE = ("charged", "drained", "flown", "moved", "travel_planned", "booked", "cancelled")
"""The kinds of event that make a pattern of use: what was found, repaired or looked over is not supposed."""
_TIMES = ("starts", "ends", "leaves")


@contextmanager
def supposing(home: Home) -> Iterator[Home]:
    """The home over a copy of its log, which is gone afterwards."""
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


def suppose_file(home: Home, fleet: Fleet, source: IO[bytes], name: str) -> int:
    """Take supposed entries into the copy and return how many.

    They are checked as `intake` checks them, except that they may lie ahead. `name`: of their file, for errors.
    Raises Refused.
    """
    numbered = ((number, _told_at_once(line)) for number, line in lines(source, name))
    return len(take(home.log, numbered, fleet, MAX_INSTANT, name).ids)


def _told_at_once(line: str) -> str:
    """The line with its event told when it happens, unless it says when; what cannot be read stays for the check."""
    try:
        event = json.loads(line)
    except (ValueError, RecursionError):
        return line
    if not isinstance(event, dict) or "at" not in event or "recorded_at" in event:
        return line
    return f'{line.rstrip()[:-1]}, "recorded_at": {json.dumps(event["at"])}}}'


def suppose_use(home: Home, fleet: Fleet, hours: Hours, like: tuple[int, int], ahead: tuple[int, int]) -> int:
    """Repeat in the copy the use of one stretch over another, as often as it fits; how many entries.

    It is moved by whole weeks of local time, so that weekdays and times of day stay; the first repeat begins as near to
    the beginning as that allows.
    """
    (begun, over), (start, end) = like, ahead
    pattern = [event for event in home.log.in_force() if begun <= event.at < over and event.what in USE]
    if not pattern:
        raise Refused.because("nothing was flown, charged, moved or booked in the stretch to go by (--like)")
    every = -((begun - over) // WEEK)
    first = round((start - begun) / WEEK)
    weeks = range(first, first + every + (end - start) // WEEK + 1, every)
    moved = [_moved(event, shift, hours) for shift in weeks for event in pattern]
    within = [event for event in moved if start <= parse_rfc3339(str(event["at"])) < end]
    return len(take(home.log, enumerate(map(to_line, within), 1), fleet, MAX_INSTANT, "supposed use").ids)


def _moved(event: Event, weeks: int, hours: Hours) -> dict[str, object]:
    """The entry some weeks later, under an id and a job name of its own."""

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
