"""Write the season audit, a document an operator can give a client or an insurer."""

from scheduler.base.instants import HOUR
from scheduler.base.text import listed
from scheduler.base.units import show_span
from scheduler.reminders.message_text import gathered
from scheduler.reports.coverage import coverage, limits_of_this
from scheduler.reports.document import Bullets, Document, Paragraph, Part, Section, Table
from scheduler.reports.fleet_tables import fleet, packs
from scheduler.reports.rule_tables import never_decided, rules
from scheduler.reports.season import Season, count_superseded, responses, safe, settled, some


def audit(season: Season) -> Document:
    """Return the document, conclusions first."""
    about = (
        f"{season.day(season.start)} to {season.day(season.end - 1)}, judged as of {season.moment(season.judged_at)}"
    )
    return Document(
        "Season audit",
        f"{about}, from everything that is in the log today. Made by shelfbell.",
        [
            Section("In short", [Bullets(conclusions(season))]),
            Section("Open items", _open(season)),
            Section("Fleet and papers", fleet(season)),
            Section("Rules", rules(season)),
            Section("Coverage", coverage(season)),
            Section("The packs, one by one", packs(season)),
            Section("Corrections made to the log", _corrections(season)),
            Section("What this does not check", limits_of_this(season)),
        ],
    )


def conclusions(season: Season) -> list[str]:
    """Sum the season up in plain sentences."""
    return [_work(season), _reminders(season), _now(season), _standing(season), _blind(season), _sent(season)]


def _work(season: Season) -> str:
    logged = season.logged
    entries = some(logged.entries, "entry", "entries").capitalize()
    corrected = some(len(season.corrections), "entry", "entries")
    return (
        f"{entries} in the log: {some(logged.flights, 'flight')}, {logged.airtime / HOUR:.1f} h in the air, "
        f"{some(logged.mishaps, 'mishap')}; "
        f"{corrected} corrected."
    )


def _reminders(season: Season) -> str:
    opened = season.opened()
    if not opened:
        return "No reminder opened."
    times = responses(opened, season.judged_at)
    text = f"{some(len(opened), 'reminder').capitalize()} opened, {len(times)} of them were settled"
    gone = count_superseded(opened, season.judged_at)
    superseded = f" Another on the same item took the place of {gone}." if gone else ""
    if not times:
        return f"{text}.{superseded}"
    longest = settled(opened, season.judged_at)[-1]
    return (
        f"{text}, half of them within {show_span(times[len(times) // 2])}; the longest took {show_span(times[-1])} "
        f"({longest.title.lower()}: {longest.key.item}).{superseded}"
    )


def _now(season: Season) -> str:
    """Count the urgent ones separately: for these a day matters."""
    urgent = [r for r in season.opened() if r.urgent]
    if not urgent:
        return "Nothing was of the highest urgency."
    times = responses(urgent, season.judged_at)
    end = f", {len(times)} settled, the slowest after {show_span(times[-1])}" if times else ", none settled"
    return f"{some(len(urgent), 'reminder').capitalize()} of the highest urgency{end}."


def _standing(season: Season) -> str:
    groups = gathered(season.still_open)
    if not groups:
        return "Nothing is open at the end."
    named = [f"{group.rule.title.lower()} ({group.items()})" for group in groups]
    return f"Open at the end: {'; '.join(named[:5])}{f'; and {len(named) - 5} more' if len(named) > 5 else ''}."


def _blind(season: Season) -> str:
    seen = {each.key.item for each in season.watched}
    unwatched = [item for item in season.at.setup.fleet.ids() if item not in seen]
    dark = never_decided(season)
    watched = f"No rule watches {listed(unwatched)}" if unwatched else "Every item is watched by some rule"
    partly = {each.key.rule for each in season.watched if each.undecided} - set(dark)
    blind = [f"{some(len(dark), 'rule')} could never be judged: entries are missing"] if dark else []
    blind += [f"{some(len(partly), 'rule')} could not be judged for some items (see Coverage)"] if partly else []
    return f"{watched}; {', and '.join(blind) or 'no rule lacked entries'}."


def _sent(season: Season) -> str:
    sent, given_up = season.sent
    if not sent and not given_up:
        return "No message of this time is in the outbox: this cannot show whether anyone heard of it in time."
    lost = f"{some(given_up, 'message')} could not be delivered" if given_up else "none was lost"
    return f"{some(sent, 'message').capitalize()} went out, {lost}."


def _open(season: Season) -> list[Part]:
    reminders = season.still_open
    if not reminders:
        return [Paragraph("Nothing is open.")]
    rows = [
        [
            r.key.item, r.verdict.rule.title, season.moment(r.episode.opened),
            r.verdict.urgency(season.judged_at).replace("_", " "),
            "may be done: the log does not say" if r.episode.unknown_at(season.judged_at) else "",
        ]
        for r in reminders
    ]  # fmt: skip
    return [Table.of("", ["Item", "What", "Open since", "Urgency", "Remark"], rows)]


def _corrections(season: Season) -> list[Part]:
    if not season.corrections:
        return [Paragraph("None. Nothing in the log can be changed or deleted; a correction is an entry of its own.")]
    rows = [
        [season.moment(by.recorded_at), f"{was.what} of {season.moment(was.at)} ({was.id})",
         "struck" if by.what == "struck" else f"replaced by {by.id}", safe(by.get("note", ""))]
        for was, by in season.corrections
    ]  # fmt: skip
    note = "Nothing in the log can be changed or deleted; these entries were taken back by later ones, and both remain."
    return [Paragraph(note), Table.of("", ["Corrected", "Entry", "How", "Note"], rows)]
