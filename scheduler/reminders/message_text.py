"""What a reminder says: the rule's texts filled with values at the message's instant."""

import re
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import DAY, moment_near
from scheduler.base.text import clean, listed
from scheduler.base.units import show_spans
from scheduler.facts.declare import Fact, absent, show_fact
from scheduler.facts.jobs import find_job
from scheduler.reminders.board import Reminder, condition_since
from scheduler.reminders.ground import OWN, Ground, KeptRule, KeptVerdict, Mute, as_kept, grounds_needed
from scheduler.reminders.unjudged import Unknown
from scheduler.verdicts.rule import Rule
from scheduler.verdicts.templates import fill, names
from scheduler.verdicts.verdict import Verdict

if TYPE_CHECKING:
    from scheduler.reminders.decide import Decision, Ended, Gap

_READING = r"(?<![^\s,])[A-Z]{3,}\b"
"""A word in capitals in an entry to be typed: it stands for a value that only the reader knows."""
_SPAN = r"\d+ (?:d|h|min|s)(?: \d+ (?:h|min))?"
_OVERDUE = rf"-({_SPAN}|under a minute) left\b"
_NOW = r"\b(?:\d+ s|under a minute) ago\b"


class Lines(NamedTuple):
    """The reminders of one rule that a message speaks of together."""

    rule: Rule
    reminders: list[Reminder]

    def items(self) -> str:
        """The items, as a list."""
        return listed([reminder.key.item for reminder in self.reminders])


def gathered(reminders: list[Reminder]) -> list[Lines]:
    """Reminders of the same rule, limits and texts together: six packs make one sentence."""
    groups: dict[tuple, list[Reminder]] = {}
    for reminder in reminders:
        rule = reminder.verdict.rule
        groups.setdefault((rule.id, rule.do), []).append(reminder)
    return [Lines(group[0].verdict.rule, _by_item(group) if len(group) > 1 else group) for group in groups.values()]


def _by_item(reminders: list[Reminder]) -> list[Reminder]:
    digits = re.compile(r"(\d+)")

    def natural(reminder: Reminder) -> list[object]:
        """Sorts pack-2 before pack-10."""
        parts = digits.split(reminder.key.item)
        parts[1::2] = map(int, parts[1::2])
        return parts

    return sorted(reminders, key=natural)


def value_of(reminder: Reminder, name: str, now: int) -> str:
    """The text of one name in a rule's text."""
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
    return _ground(reminder, name, now).say(now)


def _ground(reminder: Reminder, name: str, now: int) -> Ground:
    kept = as_kept(reminder.verdict)
    return kept.ground(name) if kept else ground_of(reminder, name, now)


def ground_of(reminder: Reminder, name: str, now: int) -> Ground:
    """What stands for a name in a rule's text at an instant."""
    verdict = reminder.verdict
    if name == "since":
        return Ground(start=condition_since(reminder), past=True)
    if name == "ready":
        from scheduler.reminders.ready_text import ready_text

        return Ground(ready_text(verdict, now), until=now)
    if name in verdict.rule.limits:
        return Ground(str(verdict.rule.limits[name]))
    catalogue = verdict.store.catalogue
    if name in catalogue and verdict.item.kind in catalogue[name].about:
        return _of_fact(verdict, catalogue[name], now)
    job = find_job(verdict.store, verdict.item.id) if verdict.item.kind == "job" else None
    plates = job.plate_at(now) if job else {}
    plate = plates.get(name, verdict.item.plate.get(name))
    return Ground("?" if plate is None else clean(str(plate)))


def fleeting(reminder: Reminder) -> bool:
    """True where a text names what has to be told anew at each instant."""
    catalogue = reminder.verdict.store.catalogue
    needed = grounds_needed(reminder.verdict.rule)
    return any(name == "ready" or name in catalogue and catalogue[name].at is not None for name in needed)


def _of_fact(verdict: Verdict, fact: Fact, now: int) -> Ground:
    if fact.at is not None:
        return Ground(show_fact(fact, verdict.store.value(verdict.item, fact.name, now)), until=now)
    timeline = verdict.ask(fact.name)
    start, value, slope, _ = timeline.segment(now)
    return Ground("", timeline.next_segment(now), fact.unit, start, value, slope, absent(fact))


def keep(reminder: Reminder, now: int, mute: Mute | None = None) -> Reminder:
    """A reminder that needs its verdict no more to be told at `now`, and so long after as its grounds last."""
    verdict = reminder.verdict
    if as_kept(verdict):
        return reminder
    grounds: dict[str, Ground | Exception] = {}
    for name in sorted(grounds_needed(verdict.rule)):  # so that what is kept is the same in every process
        try:
            grounds[name] = ground_of(reminder, name, now)
        except Exception as error:  # told in its place where the text is wanted
            grounds[name] = error
    kept = KeptVerdict(verdict.key, KeptRule.of(verdict.rule), verdict.zone, verdict.urgency(now), grounds, mute)
    return Reminder(kept, reminder.episode)  # type: ignore[arg-type]


def advice(lines: Lines, now: int) -> str:
    """What to do, for one item or for many together; values that differ are told as a range."""
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
    """Spans as people say them: "lapsed 3 d ago" for "-3 d left", "just now" for "0 s ago"."""
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
    intervals = [None if name in OWN else _ground(each, name, now).span(now) for each in lines.reminders]
    known = [span for span in intervals if span is not None]
    return show_spans(min(known), max(known)) if len(known) == len(intervals) else _span(distinct)


def _span(values: list[str]) -> str:
    """The values as a range; words as a list."""
    if not any(re.match(r"-?\d", value) for value in values):
        return "; ".join(values)

    def number(text: str) -> float:
        found = re.match(r"-?\d+(\.\d+)?", text)
        return float(found[0]) if found else 0.0

    ordered = sorted(values, key=number)
    return f"{ordered[0]} to {ordered[-1]}"


def log_line(lines: Lines, now: int) -> str:
    """The entry that settles the reminders, ready to be typed; "" where the rule names none."""
    if not lines.rule.log_then:
        return ""
    text = f"shelfbell log {lines.rule.log_then}"
    if "{item}" not in text and lines.rule.about not in ("home", "job"):
        text += " {item}"
    items = [reminder.key.item for reminder in lines.reminders]
    each = lines.rule.about == "job"  # a job's name may hold a comma: an entry is of one job
    return entry(text, items, lambda name: _together(lines, listed(items), name, now), each)


def entry(template: str, items: list[str], value: Callable[[str], str] = str, each: bool = False) -> str:
    """The entry to be typed for some items. One `each`, too where a word in capitals stands for a reading."""
    own = len(items) > 1 and "{item}" in template and (each or re.search(_READING, template) is not None)
    shown = items[0] if own else ",".join(items)
    text = fill(template, lambda name: shown if name == "item" else value(name))
    return f"{text}, and so for {listed(items[1:])}" if own else text


def title(lines: list[Lines]) -> str:
    """One line for a phone."""
    if len(lines) == 1:
        return f"{lines[0].rule.title}: {lines[0].items()}"
    count = sum(len(group.reminders) for group in lines)
    return f"{count} things to see to: {lines[0].rule.title.lower()} ({lines[0].items()}) and more"


def paragraph(lines: Lines, now: int) -> str:
    """All that a message says of one rule: what to do, why, the caution, the entry that settles it."""
    parts = [advice(lines, now), lines.rule.why]
    if lines.rule.caution:
        parts.append(f"Caution: {lines.rule.caution}")
    if typed := log_line(lines, now):
        parts.append(f"Then: {typed}")
    return "\n".join(part.strip() for part in parts)


def unknown_lines(unknown: list[Unknown]) -> list[str]:
    """What cannot be judged, gathered by the entry that would settle it."""
    needed: dict[tuple[str, str], dict[str, None]] = {}
    for each in unknown:
        for lack in each.lacks:
            needed.setdefault((lack.unknown, lack.record), {})[each.key.item] = None
    return [
        f"{listed(list(items))}: {lack}. Record: {entry(record, list(items))}"
        for (lack, record), items in needed.items()
    ]


def ended_line(ended: "Ended", now: int, zone: ZoneInfo) -> str:
    """One line on a reminder that is over."""
    when = moment_near(ended.ended, now, zone)
    by = f" by {ended.by.what}" if ended.by else ""
    since = moment_near(ended.opened, now, zone)
    return f"{_name(ended)}: {ended.key.item}: {ended.ending} {when}{by} (since {since})"


def _name(ended: "Ended") -> str:
    return ended.reminder.verdict.rule.title if ended.reminder else ended.key.rule


def ended_lines(ended: "list[Ended]", now: int, zone: ZoneInfo) -> list[str]:
    """A line on each reminder that was told and is over, one in all on those that came and went unseen."""
    told = {one.key: one for one in sorted(ended, key=lambda one: one.ended) if one.announced}
    unseen = [one for one in ended if not one.announced and one.key not in told]
    names = [f"{name.lower()} ({listed([o.key.item for o in unseen if _name(o) == name])})"
             for name in dict.fromkeys(map(_name, unseen))]  # fmt: skip
    more = [f"and {len(unseen)} came and went before they were rung: {'; '.join(names)}"] if unseen else []
    return [ended_line(one, now, zone) for one in told.values()] + more


Newest = Callable[[], int | None]


class Text(NamedTuple):
    """A message as it is sent."""

    title: str
    body: str


def compose(decision: "Decision", words: list[Reminder], zone: ZoneInfo, newest: Newest) -> Text:
    """The message of a decision, for the reminders that a channel takes. `newest`: tells when the last entry was."""
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
    """One line for when there is nothing to say. `newest`: when the last entry happened; None without any."""
    if newest is None:
        return "All quiet: nothing is logged yet."
    days = (now - newest) // DAY
    age = "today" if days == 0 else "yesterday" if days == 1 else f"{days} days ago"
    return f"All quiet: nothing is open. The last entry was {age}."


def _new(decision: "Decision", words: list[Reminder]) -> list[Reminder]:
    """Those of the reminders that are rung for the first time, or have grown more urgent."""
    new = {word.reminder for word in decision.announcements if word.kind in ("first", "rise")}
    return [reminder for reminder in words if reminder in new]


def _gap_section(gap: "Gap", words: list[Reminder], now: int, zone: ZoneInfo) -> str:
    """What was not said in a gap, with the true opening times."""
    span = f"from {moment_near(gap.start, now, zone)} to {moment_near(gap.end, now, zone)}"
    last = f" (my last look: {moment_near(gap.woke_at, now, zone)})" if gap.woke_at not in (None, gap.start) else ""
    head = f"You were away {span}." if gap.away else f"I was not running {span}{last}."
    opened = sorted(words, key=lambda reminder: reminder.episode.opened)
    of_it = [_since(r, now, zone) for r in opened if r.episode.opened >= gap.start]
    older = [_since(r, now, zone) for r in opened if r.episode.opened < gap.start]
    first = f"{head} Of that time:" if of_it else f"{head} Nothing new came due."
    return "\n".join([first, *of_it, *(["Open before, and not told then, or less urgent:", *older] if older else [])])


def _since(reminder: Reminder, now: int, zone: ZoneInfo) -> str:
    since = moment_near(reminder.episode.opened, now, zone)
    return f"- {reminder.verdict.rule.title}: {reminder.key.item}: since {since}"


def _digest_title(decision: "Decision") -> str:
    count = len(decision.still_open)
    return f"Still open: {count}" if count else "Nothing new"


def _digest_sections(decision: "Decision", zone: ZoneInfo) -> list[str]:
    now = decision.at
    sections = {
        "Still open:": [f"{lines.rule.title}: {_with_ground(lines, now)}" for lines in gathered(decision.still_open)],
        "No longer open:": ended_lines(decision.ended, now, zone),
        "I cannot judge:": unknown_lines(decision.unknown),
    }
    return ["\n".join([head, *(f"- {line}" for line in lines)]) for head, lines in sections.items() if lines]


def _with_ground(lines: Lines, now: int) -> str:
    dark = [r for r in lines.reminders if r.episode.unknown_at(now)]
    if not dark:
        return lines.items()
    return f"{lines.items()} (may be done already for {listed([r.key.item for r in dark])}: record it)"
