"""The texts of reminders: the rule's texts filled in at the message's instant."""

import re
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import DAY, moment_near
from scheduler.base.text import clean, listed
from scheduler.base.units import show_span, show_spans
from scheduler.facts.declare import show_fact
from scheduler.facts.jobs import find_job
from scheduler.reminders.board import Reminder, condition_since
from scheduler.reminders.snapshot import OWN, PlaceholderValue, VerdictSnapshot, as_snapshot, placeholders
from scheduler.reminders.unjudged import Unknown
from scheduler.verdicts.rule import Rule
from scheduler.verdicts.templates import fill, names

if TYPE_CHECKING:
    from scheduler.reminders.decide import Decision, Ended, Gap

_READING = r"(?<![^\s,])[A-Z]{3,}\b"
"""A word in capitals in an entry to be typed stands for a value that only the reader knows."""
_SPAN = r"\d+ (?:d|h|min|s)(?: \d+ (?:h|min))?"
_OVERDUE = rf"-({_SPAN}|under a minute) left\b"
_NOW = r"\b(?:\d+ s|under a minute) ago\b"


class Lines(NamedTuple):
    """The reminders of one rule that share a sentence of a message."""

    rule: Rule
    reminders: list[Reminder]

    def items(self) -> str:
        """Return the items as a list in words."""
        return listed([reminder.key.item for reminder in self.reminders])


def gathered(reminders: list[Reminder]) -> list[Lines]:
    """Group reminders by rule, limits and texts: six packs make one sentence."""
    groups: dict[tuple, list[Reminder]] = {}
    for reminder in reminders:
        rule = reminder.verdict.rule
        groups.setdefault((rule.id, rule.do), []).append(reminder)
    return [Lines(group[0].verdict.rule, _by_item(group) if len(group) > 1 else group) for group in groups.values()]


def _by_item(reminders: list[Reminder]) -> list[Reminder]:
    digits = re.compile(r"(\d+)")

    def natural(reminder: Reminder) -> list[object]:
        """Sort pack-2 before pack-10."""
        parts = digits.split(reminder.key.item)
        parts[1::2] = map(int, parts[1::2])
        return parts

    return sorted(reminders, key=natural)


def value_of(reminder: Reminder, name: str, now: int) -> str:
    """Return the text of one placeholder in a rule's text."""
    verdict = reminder.verdict
    match name:
        case "item" | "items":
            return reminder.key.item
        case "how_many":
            return "1"
        case "opened_at":
            return moment_near(reminder.episode.opened, now, verdict.zone)
        case "urgency":
            return verdict.urgency(now)
    return _placeholder(reminder, name, now).text


def _placeholder(reminder: Reminder, name: str, now: int) -> PlaceholderValue:
    snapshot = as_snapshot(reminder.verdict)
    return snapshot.value(name) if snapshot else _solve_placeholder(reminder, name, now)


def _solve_placeholder(reminder: Reminder, name: str, now: int) -> PlaceholderValue:
    verdict = reminder.verdict
    if name == "since":
        age = max(0, now - condition_since(reminder))
        return PlaceholderValue(show_span(age), age)
    if name == "ready":
        from scheduler.reminders.ready_text import ready_text

        return PlaceholderValue(ready_text(verdict, now))
    if name in verdict.rule.limits:
        return PlaceholderValue(str(verdict.rule.limits[name]))
    catalogue = verdict.store.catalogue
    if name in catalogue and verdict.item.kind in catalogue[name].about:
        fact, value = catalogue[name], verdict.store.value(verdict.item, name, now)
        span = value if fact.unit.kind == "span" and isinstance(value, int) else None
        return PlaceholderValue(show_fact(fact, value), span)
    job = find_job(verdict.store, verdict.item.id) if verdict.item.kind == "job" else None
    plates = job.plate_at(now) if job else {}
    plate = plates.get(name, verdict.item.plate.get(name))
    return PlaceholderValue("?" if plate is None else clean(str(plate)))


def take_snapshot(reminder: Reminder, now: int) -> Reminder:
    """Return an open reminder that can be put into words at `now` without its board."""
    verdict = reminder.verdict
    if as_snapshot(verdict):
        return reminder
    values: dict[str, PlaceholderValue | Exception] = {}
    for name in placeholders(verdict.rule):
        try:
            values[name] = _solve_placeholder(reminder, name, now)
        except Exception as error:  # raised again where the text is wanted
            values[name] = error
    taken = VerdictSnapshot(verdict.key, verdict.rule, verdict.zone, verdict.urgency(now), values)
    return Reminder(taken, reminder.episode)  # type: ignore[arg-type]


def advice(lines: Lines, now: int) -> str:
    """Return what to do, for one item or many; values that differ become a range."""
    one, many = lines.rule.do
    first = lines.reminders[0]
    if len(lines.reminders) == 1:
        return _plain(fill(one, lambda name: value_of(first, name, now)))
    if "items" not in names(many):
        each = [fill(one, partial(value_of, reminder, now=now)) for reminder in lines.reminders]
        return _plain(("\n" if any("\n" in text for text in each) else " ").join(each))
    items = lines.items()
    return _plain(fill(many, lambda name: _together(lines, items, name, now)))


def _plain(text: str) -> str:
    """Word durations: "lapsed 3 d ago" for "-3 d left", "just now" for "0 s ago"."""
    if " left" not in text and " ago" not in text:
        return text
    return re.sub(_NOW, "just now", re.sub(_OVERDUE, r"lapsed \1 ago", text))


def _together(lines: Lines, items: str, name: str, now: int) -> str:
    if name in ("items", "how_many"):
        return items if name == "items" else str(len(lines.reminders))
    values = [value_of(reminder, name, now) for reminder in lines.reminders]
    distinct = list(dict.fromkeys(values))
    if len(distinct) == 1:
        return distinct[0]
    intervals = [None if name in OWN else _placeholder(each, name, now).span for each in lines.reminders]
    known = [span for span in intervals if span is not None]
    return show_spans(min(known), max(known)) if len(known) == len(intervals) else _span(distinct)


def _span(values: list[str]) -> str:
    """Return values as a range, words as a list."""
    if not any(re.match(r"-?\d", value) for value in values):
        return "; ".join(values)

    def number(text: str) -> float:
        found = re.match(r"-?\d+(\.\d+)?", text)
        return float(found[0]) if found else 0.0

    ordered = sorted(values, key=number)
    return f"{ordered[0]} to {ordered[-1]}"


def log_line(lines: Lines, now: int) -> str:
    """Return the entry that settles the reminders, ready to type; "" without one."""
    if not lines.rule.log_then:
        return ""
    text = f"shelfbell log {lines.rule.log_then}"
    if "{item}" not in text and lines.rule.about not in ("home", "job"):
        text += " {item}"
    items = [reminder.key.item for reminder in lines.reminders]
    each = lines.rule.about == "job"  # a job's name may hold a comma, so an entry names one job
    return entry(text, items, lambda name: _together(lines, listed(items), name, now), each)


def entry(template: str, items: list[str], value: Callable[[str], str] = str, each: bool = False) -> str:
    """Return the entry to type for some items: one for all, or one `each`.

    It is one each, too, where a word in capitals stands in for a reading.
    """
    own = len(items) > 1 and "{item}" in template and (each or re.search(_READING, template) is not None)
    shown = items[0] if own else ",".join(items)
    text = fill(template, lambda name: shown if name == "item" else value(name))
    return f"{text}, and so for {listed(items[1:])}" if own else text


def title(lines: list[Lines]) -> str:
    """Return one line for a phone."""
    if len(lines) == 1:
        return f"{lines[0].rule.title}: {lines[0].items()}"
    count = sum(len(group.reminders) for group in lines)
    return f"{count} things to see to: {lines[0].rule.title.lower()} ({lines[0].items()}) and more"


def paragraph(lines: Lines, now: int) -> str:
    """Return one rule's paragraph: what to do, why, caution, the entry to log."""
    parts = [advice(lines, now), lines.rule.why]
    if lines.rule.caution:
        parts.append(f"Caution: {lines.rule.caution}")
    if typed := log_line(lines, now):
        parts.append(f"Then: {typed}")
    return "\n".join(part.strip() for part in parts)


def unknown_lines(unknown: list[Unknown]) -> list[str]:
    """List what cannot be judged, grouped by the entry that would settle it."""
    needed: dict[tuple[str, str], dict[str, None]] = {}
    for each in unknown:
        for lack in each.lacks:
            needed.setdefault((lack.unknown, lack.record), {})[each.key.item] = None
    return [
        f"{listed(list(items))}: {lack}. Record: {entry(record, list(items))}"
        for (lack, record), items in needed.items()
    ]


def ended_line(ended: "Ended", now: int, zone: ZoneInfo) -> str:
    """Return one line on a reminder that is over."""
    when = moment_near(ended.ended, now, zone)
    by = f" by {ended.by.what}" if ended.by else ""
    since = moment_near(ended.opened, now, zone)
    return f"{_name(ended)}: {ended.key.item}: {ended.ending} {when}{by} (since {since})"


def _name(ended: "Ended") -> str:
    return ended.reminder.verdict.rule.title if ended.reminder else ended.key.rule


def ended_lines(ended: "list[Ended]", now: int, zone: ZoneInfo) -> list[str]:
    """List what is over: each reminder that was sent, all unsent ones in a line."""
    told = {one.key: one for one in sorted(ended, key=lambda one: one.ended) if one.announced}
    unseen = [one for one in ended if not one.announced and one.key not in told]
    names = [f"{name.lower()} ({listed([o.key.item for o in unseen if _name(o) == name])})"
             for name in dict.fromkeys(map(_name, unseen))]  # fmt: skip
    rung = "it was rung" if len(unseen) == 1 else "they were rung"
    more = [f"{'and ' if told else ''}{len(unseen)} came and went before {rung}: {'; '.join(names)}"] if unseen else []
    return [ended_line(one, now, zone) for one in told.values()] + more


Newest = Callable[[], int | None]


class Text(NamedTuple):
    """A message as it is sent."""

    title: str
    body: str


def compose(decision: "Decision", words: list[Reminder], zone: ZoneInfo, newest: Newest) -> Text:
    """Write the message of a decision about the reminders that a channel takes.

    `newest`: returns when the last entry happened, or None.
    """
    groups = gathered(words)
    new, gap = _new(decision, words), decision.gap
    sections = [_gap_section(gap, new, decision.at, zone)] if gap is not None else []
    sections += [paragraph(group, decision.at) for group in groups]
    if decision.digest:
        sections += _digest_sections(decision, zone)
    if not sections:
        return Text("All quiet", quiet_line(newest(), decision.at))
    return Text(title(groups) if groups else _digest_title(decision), "\n\n".join(sections))


def quiet_line(newest: int | None, now: int) -> str:
    """Return the line for when there is nothing to say.

    `newest`: when the last entry happened; None without any.
    """
    if newest is None:
        return "All quiet: nothing is logged yet."
    days = (now - newest) // DAY
    age = "today" if days == 0 else "yesterday" if days == 1 else f"{days} days ago"
    return f"All quiet: nothing is open. The last entry was {age}."


def _new(decision: "Decision", words: list[Reminder]) -> list[Reminder]:
    """Return the reminders that ring for the first time or have become more urgent."""
    new = {word.reminder for word in decision.announcements if word.kind in ("first", "rise")}
    return [reminder for reminder in words if reminder in new]


def _gap_section(gap: "Gap", words: list[Reminder], now: int, zone: ZoneInfo) -> str:
    """List what was not said in a gap, with the true opening times."""
    span = f"from {moment_near(gap.start, now, zone)} to {moment_near(gap.end, now, zone)}"
    last = f" (my last look: {moment_near(gap.woke_at, now, zone)})" if gap.woke_at not in (None, gap.start) else ""
    head = f"You were away {span}." if gap.away else f"I was not running {span}{last}."
    opened = sorted(words, key=lambda reminder: reminder.episode.opened)
    of_it = [_since(r, now, zone) for r in opened if r.episode.opened >= gap.start]
    older = [_since(r, now, zone) for r in opened if r.episode.opened < gap.start]
    first = f"{head} Of that time:" if of_it else f"{head} Nothing new came due."
    before = f"Open before {'you left' if gap.away else 'that'}, and not rung or less urgent then:"
    return "\n".join([first, *of_it, *([before, *older] if older else [])])


def _since(reminder: Reminder, now: int, zone: ZoneInfo) -> str:
    since = moment_near(reminder.episode.opened, now, zone)
    return f"- {reminder.verdict.rule.title}: {reminder.key.item}: since {since}"


def _digest_title(decision: "Decision") -> str:
    count = len(decision.still_open)
    return f"Still open: {count}" if count else "Nothing new"


def _digest_sections(decision: "Decision", zone: ZoneInfo) -> list[str]:
    now = decision.at
    sections = {
        "Still open:": [f"{lines.rule.title}: {_with_doubt(lines, now)}" for lines in gathered(decision.still_open)],
        "No longer open:": ended_lines(decision.ended, now, zone),
        "I cannot judge:": unknown_lines(decision.unknown),
    }
    return ["\n".join([head, *(f"- {line}" for line in lines)]) for head, lines in sections.items() if lines]


def _with_doubt(lines: Lines, now: int) -> str:
    dark = [r for r in lines.reminders if r.episode.unknown_at(now)]
    if not dark:
        return lines.items()
    return f"{lines.items()} (may be done already for {listed([r.key.item for r in dark])}: record it)"
