"""Write the page on a pack: conclusions first, then their evidence."""

from scheduler.answers.describe_event import describe, naming_packs
from scheduler.answers.desk import Desk
from scheduler.answers.entry_effects import next_ring
from scheduler.answers.entry_text import next_ring_lines, no_daemon_lines, ring_phrase
from scheduler.base.instants import DAY
from scheduler.base.text import listed
from scheduler.base.units import show_span
from scheduler.cells.sudden import LOOK
from scheduler.facts.pack import describe_inference, may_have_been_knocked
from scheduler.facts.timeline import events_of
from scheduler.reminders.board import Board
from scheduler.reminders.message_text import advice, gathered
from scheduler.reports import pack_sections as sections
from scheduler.reports.document import Bullets, Document, Paragraph, Section
from scheduler.reports.pack_report import Endurance, PackReport
from scheduler.reports.pack_text import counted, full_cycles, money, month, number, ranged
from scheduler.reports.pictures import PictureData

_LIMITS = "Estimates rank and warn, they promise nothing. The maker's manual comes first."


def pack_page(at: Desk, report: PackReport, board: Board) -> Document:
    """Return the page, for a board of this pack alone."""
    parts = [
        Section("In short", [Bullets(_conclusions(at, report, board))]),
        Section("Charge", sections.charge(at, report)),
        Section("Where it has spent its days", sections.bands(at, report)),
        Section("What lying full has cost", sections.full_storage(report)),
        Section("Wear", sections.wear(report)),
        Section("Health", sections.health(at, report, picture_of(at, report, board))),
        Section("Resistance", sections.resistance(at, report)),
        Section("Endurance", sections.endurance(report)),
        Section("Travel", sections.travel(report)),
        Section("Cost", sections.cost(report)),
        Section("Next", [Paragraph(line) for line in _next(at, board)]),
        Section("Limits", [Paragraph(_LIMITS)]),
    ]
    return Document(*_head(at, report, board), [section for section in parts if section.parts])


def picture_of(at: Desk, report: PackReport, board: Board) -> PictureData:
    """Return the pack's picture: all since its first entry, at least the last day."""
    since = report.now if report.history.since is None else report.history.since
    trend = report.forecast.trend if sections.has_trend(report) else None
    reminders = [each for each in board.reminders if each.episode.opened <= report.now]
    return PictureData(
        report.history, min(since, report.now - DAY), report.now, reminders, at.setup.hours.zone, trend
    )  # fmt: skip


def _head(at: Desk, report: PackReport, board: Board) -> tuple[str, str]:
    """Return the pack's name and the instant; for one that is gone, also since when."""
    plate, age = report.item.plate, report.facts["age"]
    fits = f", for {listed(list(plate['fits']))}" if plate["fits"] else ""
    energy = f"{plate['capacity']:g} mAh, {report.facts['watt_hours']:.0f} Wh"
    ends = board.store.lifetimes(report.item)[-1].of_kind("handed_in", "retired")
    gone = [f"; {event.what.replace('_', ' ')} {at.say(event.at)}" for event in ends if event.at <= at.now]
    used = "" if age is None or gone else f"; in use for {show_span(age)}"
    cells = f"{plate['chemistry']}, {counted(plate['cells'], 'cell')}"
    return f"Pack {report.item.id}: {cells}, {energy}{fits}", f"{at.say(at.now)}{used}{''.join(gone)}"


def _conclusions(at: Desk, report: PackReport, board: Board) -> list[str]:
    points = [
        _unfit(at, report, board), _charge(report), _health(at, report), *map(_short_flight, report.endurance),
        _full_storage(report), _use(report), _open(at, board),
    ]  # fmt: skip
    return [text for text in points if text]


def _unfit(at: Desk, report: PackReport, board: Board) -> str:
    if report.facts["usable"] != "no":
        return _maybe_knocked(at, report, board)
    events = events_of(board.store.fact(report.item, "usable").segment(at.now).evidence)
    if not events:
        return "Not to be used: retired."
    cause = events[-1]
    inferred = describe_inference(board.store, cause) if cause.what == "mishap" else ""
    how = f" Inferred: {inferred}. If it was another: {naming_packs(cause)}" if inferred else ""
    return f"Not to be used: {describe(cause, at.setup.hours.zone)}, {at.say(cause.at)}.{how}"


def _maybe_knocked(at: Desk, report: PackReport, board: Board) -> str:
    if not may_have_been_knocked(board.store, report.item, at.now):
        return ""
    (mishap,) = events_of(board.store.fact(report.item, "under_watch").segment(at.now).evidence)
    return (
        f"Not known whether it took a knock: {describe(mishap, at.setup.hours.zone)}, {at.say(mishap.at)}, names no "
        f"pack. Say which it was: {naming_packs(mishap)}. Or look at it, a day after that or later, before you charge "
        f"or fly it: shelfbell log inspected {report.item.id} RESULT"
    )


def _charge(report: PackReport) -> str:
    charge = report.charge
    if charge.percent is None:
        return f"Its charge is not known. Record it: shelfbell log measured {report.item.id} PERCENT"
    if charge.low is not None:
        return f"It holds {charge.percent:.0f} % (estimate, {charge.low:.0f} to {charge.high:.0f})."
    if charge.calculated:
        return f"It holds about {charge.percent:.0f} % (calculated)."
    return f"It holds {charge.percent:.0f} %."


def _health(at: Desk, report: PackReport) -> str:
    if report.health is None:
        return "How much it can still hold is not known: no capacity test, and too few flights that show it."
    text = f"It can hold {ranged(report.health.estimate, '%')} of the capacity on its label (estimate)."
    if report.health.estimate.value < 80:
        return f"{text} That is below 80 %, the customary end of its service."
    forecast, ends = report.forecast, []
    if forecast.at is not None:
        value, low, high = (month(at, instant) for instant in forecast.at[:3])
        ends.append(f"about {value} ({low} to {high})")
    if forecast.cycles is not None:
        value, low, high = map(number, forecast.cycles[:3])
        ends.append(f"about cycle {value} ({low} to {high})")
    if not ends:
        return f"{text} When it will be down to 80 % cannot be estimated: {forecast.why_unknown}."
    return f"{text} If it goes on like this it is down to 80 % {', '.join(ends)} (estimate)."


def _short_flight(each: Endurance) -> str:
    if each.last is None or each.last.value >= LOOK:
        return ""
    return f"Its last flight on {each.aircraft} lasted {100 * each.last.value:.0f} % of its usual time: find out why."


def _full_storage(report: PackReport) -> str:
    full, total = report.full, sum(band.time for band in report.bands) / DAY
    if full is None or full.days < 1:
        return ""
    worth = f", worth some {money(full.money, report.price.currency)}" if full.money and report.price else ""
    return (
        f"It has been above 85 % for {full.days:.0f} of {counted(total, 'day')}: that aged it about as much as "
        f"{ranged(full.as_storage_days, 'days', one='day')} at storage charge{worth} (estimate)."
    )


def _use(report: PackReport) -> str:
    if not report.facts["flights"]:
        return "No flights logged."
    share = report.facts["cycles_of_rating"]
    rating = "" if share is None else f", {share:.0f} % of its rating"
    return f"On record: {full_cycles(report)} in {counted(report.facts['flights'], 'flight')}{rating}."


def _open(at: Desk, board: Board) -> str:
    titles = dict.fromkeys(reminder.verdict.rule.title.lower() for reminder in board.open_at(at.now))
    return f"Open: {'; '.join(titles)}." if titles else "Nothing is open on it."


def _next(at: Desk, board: Board) -> list[str]:
    """Say what to do about open reminders, and when the bell rings next."""
    opened, ahead, ring = board.open_at(at.now), next_ring(at, board), ring_phrase(at.home)
    lines = [line.strip() for line in next_ring_lines(at, board, ahead, opened, ring)]
    return [advice(group, at.now) for group in gathered(opened)] + lines + no_daemon_lines(ring, bool(ahead))
