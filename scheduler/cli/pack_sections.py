"""The sections of the page on a pack: what its conclusions rest on. A line that begins with a space is laid out already."""

from scheduler.cells.energy import LARGE_WH, SMALL_WH
from scheduler.cells.health import LEAST_READINGS
from scheduler.cells.wear import depth_classes, throughput_ah
from scheduler.cli.chart import Point, bar, chart
from scheduler.cli.common import Desk
from scheduler.cli.pack_words import counted, day, ranged, ratio
from scheduler.facts.endurance import RESERVE
from scheduler.facts.life import NAMES, STORAGE, moves
from scheduler.facts.sheet import Flights, Sheet, bench_times
from scheduler.instants import DAY
from scheduler.units import show_span

FEW = 3
"""Below so many readings they are listed, not drawn."""


def charge(at: Desk, sheet: Sheet) -> list[str]:
    """What told the charge, and what the bench would take."""
    lines = []
    if sheet.holding.by:
        told, *later = sheet.holding.by
        since = f", then by {counted(len(later), 'later entry').replace('entrys', 'entries')}" if later else ""
        lines.append(f"{_WAYS[sheet.holding.way]} {at.say(told.at)}{since}; since then less self-discharge{_rate(sheet)}.")
    lines += _own_rate(sheet)
    for name, to, time in bench_times(at, sheet):
        way = "Filling" if to == 100 else f"Draining to {to:.0f} %, storage charge,"
        lines.append(f"{way} on {name} takes about {ranged(time, 'min')} (estimate); attended.")
    return lines


_WAYS = {
    "charged": "Charged", "drained": "Drained", "flown": "Told at the landing", "measured": "Read off the pack",
    "lights": "Told by its lights", "voltage": "Told by its resting voltage (range: published cells; an estimate)",
}  # fmt: skip


def _rate(sheet: Sheet) -> str:
    drain = " and its own emptying" if sheet.item.plate["self_drain"] else ""
    return f", {sheet.item.plate['self_discharge']:g} % in 30 d by the nameplate{drain}"


def _own_rate(sheet: Sheet) -> list[str]:
    own = sheet.own_rate
    if own is None:
        return []
    plate = float(sheet.item.plate["self_discharge"])  # type: ignore[arg-type]
    line = f"By its own readings at rest it loses {ranged(own, '%', digits=2)} in 30 d (estimate: {own.basis})"
    if own.low <= plate <= own.high:
        return [f"{line}: the nameplate's figure fits."]
    return [f"{line}: better to write self_discharge: {own.value:.1f} % in fleet.yaml; the reminders go by that."]


def bands(at: Desk, sheet: Sheet) -> list[str]:
    """The share of time by band of charge."""
    total = sum(band.time for band in sheet.bands)
    if not total:
        return ["Nothing is logged of it yet."]
    rows = [band for band in sheet.bands if band.name in NAMES or band.time]
    lines = [
        f" {band.name:<12}{band.time / DAY:>6.0f} d {100 * band.time / total:>4.0f} %  {bar(band.time / total)}".rstrip()
        for band in rows
    ]
    return [f"Since its first entry, {at.say(sheet.since)}:", *lines]


def sitting(sheet: Sheet) -> list[str]:
    """What the conclusion on sitting full rests on."""
    sat = sheet.sitting
    if sat is None or sat.days < 1:
        return []
    return [
        f"{sat.days:.0f} days above 85 % against the same days at {STORAGE:.0f} %, at {sat.celsius:.0f} C: "
        f"{ranged(sat.lost.times(100), 'points', digits=2)} of capacity. {sat.lost.basis.capitalize()}. Rank packs by it; "
        "for this one pack it promises nothing."
    ]


def wear(sheet: Sheet) -> list[str]:
    """Cycles, depths, throughput."""
    path = moves(sheet.history)
    if not sheet.facts["cycles"] and len(path) < 2:
        return []
    moved = throughput_ah(path, float(sheet.item.plate["capacity"]) / 1000)  # type: ignore[arg-type]
    airtime = sheet.facts["airtime"]
    return [
        f"{sheet.facts['cycles']:.1f} equivalent full cycles{_rating(sheet)}; {show_span(airtime)} in the air; {moved:.0f} Ah "
        "moved in and out since its first entry.",
        "How deep (rainflow, ASTM E1049): points of charge, cycles:",
        *(f" {edge - 10:>3.0f} to {edge:<3.0f} {count:>6.1f}  {bar(count / 100, 100)[:50]}" for edge, count in depth_classes(path).items()),
    ]  # fmt: skip


def health(at: Desk, sheet: Sheet) -> list[str]:
    """The readings, drawn or listed, and what the estimate rests on."""
    rated = float(sheet.item.plate["capacity"])  # type: ignore[arg-type]
    points = [Point(c.event.at / DAY, 100 * c.mah.value / rated, "#" if c.test else "o") for c in sheet.capacities]
    if not points:
        return [
            "No reading tells its capacity. A full charge, a full discharge on the charger, then: "
            f"shelfbell log measured {sheet.item.id} --capacity_mah 4900. Or log used_mah with both percents of each flight."
        ]
    lines = _drawn(at, sheet, points) if len(points) >= FEW else _listed(at, sheet, points)
    if sheet.health:
        lines.append(f"Estimate: {ranged(sheet.health.estimate, '%', digits=3)}, {sheet.health.estimate.basis}.")
    return [*lines, *_disagreement(sheet, points), *_gauge(points)]


def _drawn(at: Desk, sheet: Sheet, points: list[Point]) -> list[str]:
    """The chart with its axis and its legend."""
    line = sheet.outlook.line if sheet.outlook.at or sheet.outlook.untold != _few(sheet) else None
    rows = chart(points, 80, (lambda x: line.intercept + line.slope.value * x) if line else None)
    first, last = (day(at, c.event.at) for c in (sheet.capacities[0], sheet.capacities[-1]))
    return [
        *(f" {row}" for row in rows),
        f" {'':>6} {first}{last:>{66 - len(first)}}",
        f" {'':>6} o flight   # capacity test   - 80 %" + ("   . trend (estimate)" if line else ""),
    ]


def _few(sheet: Sheet) -> str | None:
    return sheet.outlook.untold if sheet.outlook.untold and "readings that a trend takes" in sheet.outlook.untold else ""


def _listed(at: Desk, sheet: Sheet, points: list[Point]) -> list[str]:
    """The few readings there are."""
    found = zip(sheet.capacities, points, strict=True)
    return [f" {day(at, c.event.at)}  {p.y:5.1f} %  {'capacity test' if c.test else 'flight'}" for c, p in found]


def day(at: Desk, instant: int) -> str:
    when = to_datetime(instant, at.setup.hours.zone)
    return f"{when.day} {when:%b %Y}"


def _disagreement(sheet: Sheet, points: list[Point]) -> list[str]:
    tests = [point.y for point in points if point.mark == "#"]
    if not tests or sheet.health is None or abs(tests[-1] - sheet.health.estimate.value) <= 5:
        return []
    return [f"The last capacity test, {tests[-1]:.0f} %, and the flights disagree: test again; two tests outvote the flights."]


def _gauge(points: list[Point]) -> list[str]:
    if all(point.mark == "#" for point in points):
        return []
    return ["A gauge that reckons its percent from the label's capacity gives the label back: only a capacity test finds that out."]


def resistance(at: Desk, sheet: Sheet) -> list[str]:
    """How its resistance has gone."""
    readings, ratio = sheet.resistance
    if not readings:
        return []
    first, last = readings[0], readings[-1]
    line = f"{first[1]:g} mOhm a cell {day(at, first[0])}, {last[1]:g} mOhm {day(at, last[0])}, at 15 to 30 C"
    if ratio is None:
        return [f"{line}; a trend takes 8 readings, there are {len(readings)}."]
    return [f"{line}: {ratio.value:.2f} times what it was ({ratio.low:.2f} to {ratio.high:.2f}); 2 is a customary end. "
            f"Basis: {ratio.basis}."]  # fmt: skip


def endurance_lines(each: Flights) -> list[str]:
    """How long it flies one aircraft."""
    line = f"On {each.aircraft}: about {each.minutes:.0f} min from full to {RESERVE} % (estimate, {counted(len(each.rates), 'flight')})"
    if each.last is not None:
        line += f"; the last flight {each.last.value:.2f} of its usual ({each.last.low:.2f} to {each.last.high:.2f})"
    if each.sisters is not None:
        s = each.sisters
        line += f"; against its sisters {s.value:.2f} of the middle one ({s.low:.2f} of the best, {s.high:.2f} of the worst)"
    return [line + "."]


def travel(sheet: Sheet) -> list[str]:
    """What its energy means in a passenger aircraft, in outline."""
    energy = float(sheet.facts["watt_hours"])  # type: ignore[arg-type]
    if sheet.facts["usable"] == "no":
        means = "damaged or set aside: not on board at all"
    elif energy <= SMALL_WH:
        means = f"up to {SMALL_WH:g} Wh: as a spare in the cabin only, contacts covered"
    elif energy <= LARGE_WH:
        means = f"{SMALL_WH:g} to {LARGE_WH:g} Wh: the airline's approval first, at most two spares, in the cabin only, contacts covered"
    else:
        means = f"above {LARGE_WH:g} Wh: not in baggage"
    return [f"{energy:.1f} Wh, {means}. US rule 49 CFR 175.10(a)(18) in outline; others differ, ask the carrier. No legal advice."]


def cost(sheet: Sheet) -> list[str]:
    """What it has cost so far, by the price of a new one."""
    price = sheet.price
    each = [(sheet.cost_per(name), word) for name, word in (("flights", "a flight"), ("cycles", "a full cycle"))]
    told = [f"{cost:.2f} {price.currency} {word}" for cost, word in each if cost is not None and price]
    if not price or not told:
        return []
    return [f"{price.amount:g} {price.currency} for a new one: so far {', '.join(told)}."]
