"""Of an audit: what is watched and what is not, what was never entered, and what the program does not check at all."""

from scheduler.cli.pages.document import Bullets, Paragraph, Part, Section, Table
from scheduler.cli.pages.rules import undecided
from scheduler.cli.pages.season import Season
from scheduler.instants import DAY
from scheduler.reminders.text import listed, unknown_lines
from scheduler.units import show_span

STALE = 90 * DAY
"""A reading or look older than this is listed as stale. A choice for this page, no source."""
_LAST = {"hours_since_reading": "reading, charge or flight", "since_inspected": "thorough look"}
_NOT_CHECKED = (
    "Whether what was entered is true, or complete: what nobody logged did not happen, as far as this page knows.",
    "The aircraft itself: no reminder does not mean fit to fly. A look before each flight remains the pilot's.",
    "The law beyond the papers and dates listed above; weather, airspace and permissions for a place.",
    "What a maker's manual asks beyond the rules listed above, software faults, and recalls.",
    "What could only be measured: health, charge and wear are estimates from the entries, with the ranges given.",
)


def coverage(season: Season) -> list[Part]:
    """Items by how far they are watched, what was never entered, what is missing or old."""
    return [
        Section("Items and the rules that watch them", _watched(season)),
        Section("Never entered", _never_fed(season)),
        Section("Missing or old at the end", [*_missing(season), *_stale(season)]),
    ]


def _watched(season: Season) -> list[Part]:
    rows = []
    for item in season.at.setup.fleet:
        verdicts = season.watching(item.id)
        dark = [verdict.rule.title for verdict in verdicts if undecided(season, verdict)]
        remark = "no rule watches it" if not verdicts else f"never to be judged: {'; '.join(dark)}" if dark else ""
        rows.append([item.id, item.kind, str(len(verdicts)), remark])
    return [Table.of("", ["Item", "Kind", "Rules", "Remark"], rows)]


def _never_fed(season: Season) -> list[Part]:
    """The facts that some rule asks and no entry of the season made known."""
    found: dict[str, list[str]] = {}
    for verdict in season.board.verdicts:
        for leaf in verdict.asked:
            fact = season.board.book.catalogue[leaf.fact]
            pieces = verdict.ask(leaf.fact, leaf.of).clipped(season.start, season.judged_at)
            if fact.record and all(piece.value is None for piece in pieces):
                found.setdefault(f"{fact.unknown}: ", []).append(verdict.item.id)
    lines = [f"{lack}{listed(list(dict.fromkeys(items)))}" for lack, items in found.items()]
    return [Bullets(lines)] if lines else [Paragraph("Everything that a rule asks for was entered at least once.")]


def _missing(season: Season) -> list[Part]:
    lines = unknown_lines(season.board.unknown_at(season.judged_at))
    return [Bullets(lines)] if lines else [Paragraph("No reading is missing.")]


def _stale(season: Season) -> list[Part]:
    lines = []
    for name, what in _LAST.items():
        ages = {}
        for item in season.at.setup.fleet:
            if (
                item.kind in season.board.book.catalogue[name].about
                and season.board.book.retired(item) > season.judged_at
            ):
                ages[item.id] = season.board.book.fact(item, name).at(season.judged_at)
        old: dict[str, list[str]] = {}
        for item_id, age in ages.items():
            if isinstance(age, int) and age > STALE:
                old.setdefault(show_span(age), []).append(item_id)
        lines += [f"{listed(items)}: the last {what} is {age} old, or there was none" for age, items in old.items()]
    if not lines:
        return [Paragraph(f"No reading or look is older than {show_span(STALE)}.")]
    return [Paragraph(f"Older than {show_span(STALE)}:"), Bullets(lines)]


def limits_of_this(season: Season) -> list[Part]:
    """What nobody should read into the page."""
    off = [f"The subjects of the rule files that came with the program and are off here: {listed(season.files_off)}."]
    return [Bullets([*_NOT_CHECKED, *(off if season.files_off else [])])]
