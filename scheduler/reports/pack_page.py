"""The page on a pack for people: conclusions first, then what they rest on."""

from textwrap import wrap

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
from scheduler.reports.pack_report import Flights, PackReport
from scheduler.reports.pack_text import counted, full_cycles, month, number, ranged

COLUMNS = 78
_LAST = "Estimates rank and warn, they promise nothing. The maker's manual comes first."


def page(at: Desk, sheet: PackReport, board: Board) -> str:
    """The whole page, for a board of this pack alone."""
    told = {
        "Charge": sections.charge(at, sheet),
        "Where it has spent its days": sections.bands(at, sheet),
        "What sitting full has cost": sections.sitting(sheet),
        "Wear": sections.wear(sheet),
        "Health": sections.health(at, sheet),
        "Resistance": sections.resistance(at, sheet),
        "Endurance": [sections.endurance(each) for each in sheet.flights],
        "Travel": sections.travel(sheet),
        "Cost": sections.cost(sheet),
        "Next": _next(at, board),
    }
    lines = [*_head(at, sheet, board), "", *_conclusions(at, sheet, board)]
    for name, section in told.items():
        if section:
            lines += ["", name, *(part for line in section for part in _folded(line))]
    return "\n".join([*lines, "", _LAST])


def _folded(line: str) -> list[str]:
    """A sentence in lines of the page's width; a line that is laid out already (it begins with a space) as it is."""
    if line.startswith(" "):
        return [f" {line}"]
    return wrap(line, COLUMNS, initial_indent="  ", subsequent_indent="  ")


def _head(at: Desk, sheet: PackReport, board: Board) -> list[str]:
    """Whose page it is, as of when; and since when it is gone."""
    plate, age = sheet.item.plate, sheet.facts["age"]
    fits = f", for {listed(list(plate['fits']))}" if plate["fits"] else ""
    energy = f"{plate['capacity']:g} mAh, {sheet.facts['watt_hours']:.0f} Wh"
    gone = [
        event for event in board.store.lifetimes(sheet.item)[-1].of_kind("handed_in", "retired") if event.at <= at.now
    ]
    used = "" if age is None or gone else f"; in use for {show_span(age)}"
    used += "".join(f"; {event.what.replace('_', ' ')} {at.say(event.at)}" for event in gone)
    cells = f"{plate['chemistry']}, {counted(plate['cells'], 'cell')}"
    return [f"Pack {sheet.item.id}: {cells}, {energy}{fits}", f"{at.say(at.now)}{used}"]


def _conclusions(at: Desk, sheet: PackReport, board: Board) -> list[str]:
    """What an operator should know, a point each."""
    points = [
        _unfit(at, sheet, board), _holds(sheet), _can_hold(at, sheet), *map(_short, sheet.flights), _sat(sheet),
        _worked(sheet), _open(at, board),
    ]  # fmt: skip
    return [line for text in points for line in wrap(text, COLUMNS, initial_indent="- ", subsequent_indent="  ")]


def _unfit(at: Desk, sheet: PackReport, board: Board) -> str:
    if sheet.facts["usable"] != "no":
        return _unsure(at, sheet, board)
    grounds = events_of(board.store.fact(sheet.item, "usable").segment(at.now).evidence)
    if not grounds:
        return "Not to be used: retired."
    ground = grounds[-1]
    inferred = describe_inference(board.store, ground) if ground.what == "mishap" else ""
    how = f" Inferred: {inferred}. If it was another: {naming_packs(ground)}" if inferred else ""
    return f"Not to be used: {describe(ground, at.setup.hours.zone)}, {at.say(ground.at)}.{how}"


def _unsure(at: Desk, sheet: PackReport, board: Board) -> str:
    """A mishap that it may have been in."""
    if not may_have_been_knocked(board.store, sheet.item, at.now):
        return ""
    (mishap,) = events_of(board.store.fact(sheet.item, "under_watch").segment(at.now).evidence)
    told = f"{describe(mishap, at.setup.hours.zone)}, {at.say(mishap.at)}"
    return (
        f"Not known whether it took a knock: {told}, names no pack. Say which it was: {naming_packs(mishap)}. Or look "
        f"at it, a day after that or later, before you charge or fly it: shelfbell log inspected {sheet.item.id} RESULT"
    )


def _holds(sheet: PackReport) -> str:
    holding = sheet.holding
    if holding.percent is None:
        return f"What it holds is not known. Record: shelfbell log measured {sheet.item.id} PERCENT"
    if holding.low is not None:
        return f"It holds {holding.percent:.0f} % (estimate, {holding.low:.0f} to {holding.high:.0f})."
    if holding.reckoned:
        return f"It holds about {holding.percent:.0f} % (reckoned)."
    return f"It holds {holding.percent:.0f} %."


def _can_hold(at: Desk, sheet: PackReport) -> str:
    if sheet.health is None:
        return "How much it can still hold is not known: no capacity test, and too few flights that tell."
    text = f"It can hold {ranged(sheet.health.estimate, '%')} of what is printed on it (estimate)."
    if sheet.health.estimate.value < 80:
        return f"{text} That is below 80 %, the customary end of its service."
    return f"{text} {_ending(at, sheet)}"


def _ending(at: Desk, sheet: PackReport) -> str:
    """When it comes to 80 %, or why that cannot be told."""
    told, outlook = [], sheet.outlook
    if outlook.at is not None:
        value, low, high = (month(at, instant) for instant in outlook.at[:3])
        told.append(f"about {value} ({low} to {high})")
    if outlook.cycles is not None:
        value, low, high = map(number, outlook.cycles[:3])
        told.append(f"about cycle {value} ({low} to {high})")
    if not told:
        return f"When it comes to 80 % cannot be told: {outlook.untold}."
    return f"If it goes on like this it comes to 80 % {', '.join(told)} (estimate)."


def _short(each: Flights) -> str:
    if each.last is None or each.last.value >= LOOK:
        return ""
    return f"Its last flight on {each.aircraft} lasted {each.last.value:.2f} of its usual: look into it."


def _sat(sheet: PackReport) -> str:
    sat, total = sheet.sitting, sum(band.time for band in sheet.bands) / DAY
    if sat is None or sat.days < 1:
        return ""
    money = sheet.lost_money()
    worth = f", worth some {ranged(money, sheet.price.currency, digits=2)}" if money and sheet.price else ""
    return (
        f"It has sat above 85 % for {sat.days:.0f} of {counted(total, 'day')}: that took about as much life as "
        f"{ranged(sat.as_days, 'days', one='day')} at storage charge{worth} (estimate)."
    )


def _worked(sheet: PackReport) -> str:
    if not sheet.facts["flights"]:
        return "No flight of it is on record."
    share = sheet.facts["cycles_of_rating"]
    rating = "" if share is None else f", {share:.0f} % of its rating"
    flights = counted(sheet.facts["flights"], "flight")
    return f"On record: {full_cycles(sheet)} in {flights}{rating}."


def _open(at: Desk, board: Board) -> str:
    titles = dict.fromkeys(reminder.verdict.rule.title.lower() for reminder in board.open_at(at.now))
    return f"Open: {'; '.join(titles)}." if titles else "Nothing is open on it."


def _next(at: Desk, board: Board) -> list[str]:
    """What is open, and when the bell rings next."""
    opened, ahead, ring = board.open_at(at.now), next_ring(at, board), ring_phrase(at.home)
    said = [line.strip() for line in next_ring_lines(at, board, ahead, opened, ring)]
    return [advice(group, at.now) for group in gathered(opened)] + said + no_daemon_lines(ring, bool(ahead))
