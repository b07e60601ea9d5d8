"""Write an audit's coverage: what is watched, never logged, and never checked."""

from scheduler.base.instants import DAY
from scheduler.base.text import listed
from scheduler.base.units import show_span
from scheduler.reminders.message_text import unknown_lines
from scheduler.reports.document import Bullets, Paragraph, Part, Section, Table
from scheduler.reports.season import Season, Watched

STALE = 90 * DAY
"""A reading or look older than this is listed as stale. A choice for this page, no source."""
LAST = {"hours_since_reading": "reading, charge or flight", "since_inspected": "thorough look"}
"""Facts that give the age of what is known, and what each rests on."""
_NOT_CHECKED = (
    "Whether what was entered is true, or complete: what nobody logged did not happen, as far as this page knows.",
    "The aircraft itself: no reminder does not mean fit to fly. A look before each flight remains the pilot's.",
    "The law beyond the papers and dates listed above; weather, airspace and permissions for a place.",
    "What a maker's manual asks beyond the rules listed above, software faults, and recalls.",
    "What could only be measured: health, charge and wear are estimates from the entries, with the ranges given.",
)


def coverage(season: Season) -> list[Part]:
    """Return items by how far they are watched, what was never logged, missing or old."""
    return [
        Section("Items and the rules that watch them", _watched(season)),
        Section("Never logged", _never_logged_facts(season)),
        Section("Missing or old at the end", [*_missing(season), *_stale(season)]),
    ]


def _watched(season: Season) -> list[Part]:
    rows, by_item = [], dict[str, list[Watched]]()
    for each in season.watched:
        by_item.setdefault(each.key.item, []).append(each)
    for item in season.at.setup.fleet:
        found = by_item.get(item.id, [])
        dark = [each.title for each in found if each.undecided]
        remark = "no rule watches it" if not found else f"could never be judged: {'; '.join(dark)}" if dark else ""
        rows.append([item.id, item.kind, str(len(found)), remark])
    return [Table.of("", ["Item", "Kind", "Rules", "Remark"], rows)]


def _never_logged_facts(season: Season) -> list[Part]:
    """Return the facts that a rule needs and no entry of the season gave."""
    found: dict[str, list[str]] = {}
    for each in season.watched:
        for lack in each.never_logged:
            found.setdefault(lack, []).append(each.key.item)
    lines = [f"{lack}: {listed(list(dict.fromkeys(items)))}" for lack, items in found.items()]
    return [Bullets(lines)] if lines else [Paragraph("Everything that a rule asks for was logged at least once.")]


def _missing(season: Season) -> list[Part]:
    lines = unknown_lines([each.unknown for each in season.watched if each.unknown])
    return [Bullets(lines)] if lines else [Paragraph("No reading is missing.")]


def _stale(season: Season) -> list[Part]:
    lines = []
    for name, what in LAST.items():
        old: dict[str, list[str]] = {}
        for item in season.at.setup.fleet.ids():
            state = season.states[item]
            age = state.facts.get(name)
            if isinstance(age, int) and age > STALE and not state.retired:
                old.setdefault(show_span(age), []).append(item)
        lines += [f"{listed(items)}: the last {what} is {age} old, or there was none" for age, items in old.items()]
    if not lines:
        return [Paragraph(f"No reading or look is older than {show_span(STALE)}.")]
    return [Paragraph(f"Older than {show_span(STALE)}:"), Bullets(lines)]


def limits_of_this(season: Season) -> list[Part]:
    """Warn against reading too much into the page."""
    if not season.files_off:
        return [Bullets([*_NOT_CHECKED])]
    off = f"The subjects of the rule files that came with the program and are off here: {listed(season.files_off)}."
    return [Bullets([*_NOT_CHECKED, off])]
