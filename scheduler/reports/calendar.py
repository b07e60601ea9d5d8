"""Write an outlook as a calendar (iCalendar, RFC 5545) with icalendar."""

from datetime import timedelta
from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, uuid5

from scheduler import __version__
from scheduler.answers.desk import Desk
from scheduler.answers.outlook import day, ranged, what
from scheduler.base.instants import DAY, MINUTE, local_date, to_datetime
from scheduler.reminders.outlook import Due, Outlook

if TYPE_CHECKING:
    from icalendar import Event


def as_calendar(at: Desk, found: Outlook) -> bytes:
    """Return the calendar: whole-day entries on the first day a thing can fall due.

    The range is in the description.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", f"-//shelfbell//outlook {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", "What falls due")
    days = (found.end - found.now) // DAY
    calendar.add("x-made-by", f"shelfbell outlook --days {days} --ics FILE")
    for due in found.due:
        calendar.add_component(_entry(at, due))
    written: bytes = calendar.to_ical()
    return written


def _entry(at: Desk, due: Due) -> "Event":
    from icalendar import Event

    first = local_date(due.low, at.setup.hours.zone)
    entry = Event()
    entry.add("uid", uid(at, due))
    entry.add("dtstamp", to_datetime(at.now).replace(microsecond=0))
    entry.add("sequence", at.now // MINUTE)
    entry.add("dtstart", first)
    entry.add("dtend", first + timedelta(days=1))
    entry.add("transp", "TRANSPARENT")
    entry.add("summary", f"{'From about now: ' if due.by_use else ''}{what(due)}")
    entry.add("description", description(at, due))
    entry.add("categories", [due.key.item])
    return entry


def uid(at: Desk, due: Due) -> str:
    """Return an id that survives a new date, so that a calendar moves the entry.

    It depends on home, rule, item and number; the oldest entry identifies the home.
    """
    first = next(iter(at.home.log.lines()), "")
    return f"{uuid5(NAMESPACE_URL, '|'.join((first, *due.key, str(due.number))))}@shelfbell"


def description(at: Desk, due: Due) -> str:
    """Say what to do, and how sure the day is."""
    if due.by_use:
        middle = f", most likely about {day(at, due.at)}" if due.at is not None else ""
        sure = f"By use: {ranged(at, due)}{middle}, if flying goes on as of late (estimate)."
    else:
        sure = "By the calendar, if nothing more is logged."
    return f"{due.do}\n\n{sure}\nRule {due.key.rule}."
