"""Say what will fall due, by the calendar and by expected use."""

from scheduler.answers.board import solve_board
from scheduler.answers.desk import Desk
from scheduler.answers.groups import item_groups
from scheduler.base.instants import DAY, HOUR, MINUTE, local_date
from scheduler.base.text import listed, numbered
from scheduler.base.units import show_span
from scheduler.events.event import HOME
from scheduler.events.log import LogReader
from scheduler.reminders.board import Reminder
from scheduler.reminders.message_text import Lines, advice, unknown_lines
from scheduler.reminders.outlook import LEAST_WEEKS, WEEKS, Describe, Due, Outlook, Use, outlook


def look_ahead(at: Desk, days: int, tell: Describe) -> Outlook:
    """Return what will fall due within so many days."""
    setup, source = at.setup, LogReader(at.home.log, known=at.now)
    return outlook(setup.fleet, setup.clocks, source, setup.rules, item_groups(at), at.now, at.now + days * DAY, tell)


def todo(reminder: Reminder) -> str:
    """Say what to do about it, with the values of its day."""
    return advice(Lines(reminder.verdict.rule, [reminder]), reminder.episode.opened)


def without_advice(_reminder: Reminder) -> str:
    """Leave out what to do: people need what falls due, and a job's text can be long."""
    return ""


def to_json(at: Desk, found: Outlook) -> dict[str, object]:
    """Return the outlook for programs."""

    def when(instant: int | None) -> str | None:
        return None if instant is None else at.stamp(instant)

    return {
        "at": at.stamp(found.now),
        "to": at.stamp(found.end),
        "due": [
            {
                "rule": due.key.rule, "item": due.key.item, "title": due.title,
                "by": "use" if due.by_use else "calendar", "at": when(due.at), "earliest": when(due.low),
                "latest": when(due.high), "unless_used": due.unless_used, "do": due.do,
            }
            for due in found.due
        ],
        "use": [
            {
                "aircraft": use.aircraft, "weeks": use.weeks, "flights": use.flights,
                "hours_a_week": use.weekly / HOUR, "standard_deviation": use.spread / HOUR,
            }
            for use in found.uses
        ],
    }  # fmt: skip


def to_text(at: Desk, found: Outlook) -> str:
    """Write the outlook for people."""
    calendar = [due for due in found.due if not due.by_use]
    by_use = [due for due in found.due if due.by_use]
    lines = [f"From {day(at, found.now)} to {day(at, found.end)}. {describe_open(at)}"]
    lines += ["", "By the calendar, if nothing more is logged:"]
    lines += [f"  {when:<12} {text}" for when, text in together(at, calendar)] or ["  nothing"]
    lines += ["", "By use, if flying goes on as of late (estimates, 8 in 10 lie within):"]
    nothing = "nothing" if found.uses else "not known"
    lines += [f"  {ranged(at, due):<28} {what(due)}" for due in by_use] or [f"  {nothing}"]
    lines += ["", *map(use_line, found.uses), *(fresh_line(at, *one) for one in found.too_new)]
    if not found.uses and not found.too_new:
        lines.append(f"Nothing flew in the last {WEEKS} weeks.")
    return "\n".join(lines)


def describe_open(at: Desk) -> str:
    """Say how much is open already, and how much cannot be judged."""
    found = solve_board(at._replace(known=at.now))
    opened, unknown = len(found.opened), len(unknown_lines(found.unknown))
    dark = f"; too little is logged to judge {unknown} more" if unknown else ""
    return f"Open already: {opened}{dark}{' (`shelfbell due` lists them)' if opened or unknown else ''}."


def day(at: Desk, instant: int) -> str:
    """Write a local date: "3 Dec 2026"."""
    when = local_date(instant, at.setup.hours.zone)
    return f"{when.day} {when:%b %Y}"


def what(due: Due) -> str:
    """Write the rule's title and the item."""
    return _named(due.title, [due.key.item])


def _named(title: str, items: list[str]) -> str:
    return title if items == [HOME] else f"{title}: {listed(items)}"


def together(at: Desk, found: list[Due]) -> list[tuple[str, str]]:
    """Return day and text, the items of one rule and day in one line."""
    alike: dict[tuple[str, str, bool], list[str]] = {}
    for due in found:
        alike.setdefault((day(at, due.low), due.title, due.unless_used), []).append(due.key.item)
    put_off = {True: "  (flying as of late would put it off)", False: ""}
    return [(when, f"{_named(title, items)}{put_off[off]}") for (when, title, off), items in alike.items()]


def ranged(at: Desk, due: Due) -> str:
    """Write the range of dates within which use makes it due."""
    first = day(at, due.low)
    if due.high is None:
        return f"{first} or later"
    return first if day(at, due.high) == first else f"{first} to {day(at, due.high)}"


def use_line(use: Use) -> str:
    """Say the evidence for the estimate."""
    weekly, spread = (show_span(round(span / MINUTE) * MINUTE) for span in (use.weekly, use.spread))
    flights = numbered(use.flights, "flight")
    return f"{use.aircraft}: {flights} in {use.weeks} weeks, {weekly} a week, give or take {spread}."


def fresh_line(at: Desk, aircraft: str, first: int) -> str:
    """Say why there is no estimate for an aircraft."""
    return f"{aircraft}: first flight on {day(at, first)}; I can estimate its use after {LEAST_WEEKS} weeks."
