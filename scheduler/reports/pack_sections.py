"""The sections of the page on a pack: what its conclusions rest on.

A line that begins with a space is laid out already.
"""

from scheduler.answers.desk import Desk
from scheduler.base.instants import DAY
from scheduler.base.units import show_span
from scheduler.cells.energy import LARGE_WH, SMALL_WH
from scheduler.cells.health import LEAST_READINGS
from scheduler.cells.wear import depth_classes, throughput_ah
from scheduler.facts.flight_time import RESERVE
from scheduler.reports.charge_estimate import FULL
from scheduler.reports.charge_history import NAMES, STORAGE, moves
from scheduler.reports.chart import WIDTH, Point, bar, chart
from scheduler.reports.pack_report import Flights, PackReport
from scheduler.reports.pack_text import counted, day, full_cycles, ranged, ratio

FEW = 3
"""Below so many readings they are listed, not drawn."""


def charge(at: Desk, sheet: PackReport) -> list[str]:
    """What told the charge, and what the bench would take."""
    lines = []
    if sheet.holding.by and sheet.holding.way:
        told, *later = sheet.holding.by
        since = f", then reckoned over {counted(len(later), 'later entry', 'later entries')}" if later else ""
        lines.append(f"{_WAYS[sheet.holding.way]} {at.say(told.at)}{since}; {_loss(sheet)}.")
    lines += _own_rate(sheet)
    for charger, to, minutes in sheet.bench:
        way = "Filling it" if to == FULL else f"Draining it to {to:.0f} %, storage charge,"
        lines.append(f"{way} on {charger} takes {ranged(minutes, 'min')}, attended (estimate).")
    return lines


_WAYS = {
    "charged": "Charged", "drained": "Drained", "flown": "Told at the landing", "measured": "Read off the pack",
    "lights": "Told by its lights", "voltage": "Told by its resting voltage (range: published cells; an estimate)",
}  # fmt: skip


def _loss(sheet: PackReport) -> str:
    drain = " and empties itself to storage when left alone" if sheet.item.plate["self_drain"] else ""
    return f"since then it loses {sheet.item.plate['self_discharge']:g} % in 30 d by its nameplate{drain}"


def _own_rate(sheet: PackReport) -> list[str]:
    own = sheet.own_rate
    if own is None:
        return []
    plate = float(sheet.item.plate["self_discharge"])
    line = f"By its own readings it loses {ranged(own, '%', digits=2)} in 30 d (estimate: {own.basis})"
    if own.low <= plate <= own.high:
        return [f"{line}: the nameplate's figure agrees."]
    return [f"{line}. The reminders go by the nameplate: write self_discharge: {own.value:.1f} % there."]


def bands(at: Desk, sheet: PackReport) -> list[str]:
    """The share of time by band of charge."""
    total = sum(band.time for band in sheet.bands)
    if not total:
        return ["Nothing is logged of it yet."]
    rows = [band for band in sheet.bands if band.name in NAMES or band.time]
    shares = [(band, band.time / total) for band in rows]
    lines = [f" {b.name:<12}{b.time / DAY:>6.0f} d {100 * share:>4.0f} %  {bar(share)}".rstrip() for b, share in shares]
    return [f"Since its first entry, {at.say(sheet.since)}:", *lines]


def sitting(sheet: PackReport) -> list[str]:
    """What the conclusion on sitting full rests on."""
    sat = sheet.sitting
    if sat is None or sat.days < 1:
        return []
    return [
        f"{counted(sat.days, 'day')} above 85 % against the same days at {STORAGE:.0f} %, all at {sat.celsius:.0f} C: "
        f"{ranged(sat.lost.times(100), '%', digits=2)} of its capacity more. That is an {sat.lost.basis}. "
        "It ranks packs and habits; of this one pack it promises nothing."
    ]


def wear(sheet: PackReport) -> list[str]:
    """Cycles, depths, throughput."""
    path = moves(sheet.history)
    if not sheet.facts["cycles"] and len(path) < 2:
        return []
    moved = throughput_ah(path, float(sheet.item.plate["capacity"]) / 1000)
    share, rated = sheet.facts["cycles_of_rating"], sheet.item.plate["rated_cycles"]
    rating = "" if share is None else f", {share:.0f} % of the {rated} it is rated for"
    return [
        f"{full_cycles(sheet)} (what was taken out of it, in full charges){rating}; "
        f"{show_span(sheet.facts['airtime'])} in the air; {moved:.0f} Ah moved, in and out together, since its first "
        "entry.",
        *_depths(path),
    ]


def _depths(path: list[float]) -> list[str]:
    """Cycles by depth; the bar is the share that the class has in all that was moved."""
    classes = depth_classes(path)
    total = sum((edge - 5) * count for edge, count in classes.items())
    rows = [f" {edge - 10:>3.0f} to {edge:>3.0f} points {count:>7.1f}  {bar((edge - 5) * count / total)}".rstrip()
            for edge, count in classes.items()]  # fmt: skip
    return ["Cycles by depth (rainflow, ASTM E1049); bar: share in the charge moved:", *rows] if rows else []


def health(at: Desk, sheet: PackReport) -> list[str]:
    """The readings, drawn or listed, and what the estimate rests on."""
    rated = float(sheet.item.plate["capacity"])
    points = [Point(c.event.at / DAY, 100 * c.mah.value / rated, "#" if c.test else "o") for c in sheet.capacities]
    if not points:
        return [
            "No reading tells its capacity. Measure it with the charger's capacity test, attended, and log it: "
            f"shelfbell log measured {sheet.item.id} --capacity_mah MAH. Flights tell it too, with used_mah and both "
            "percents."
        ]
    lines = _drawn(at, sheet, points) if len(points) >= FEW else _listed(at, sheet, points)
    if sheet.health:
        estimate = sheet.health.estimate
        lines.append(f"Estimate: {ranged(estimate, '%', digits=3)}, {estimate.basis}; range: how readings differ.")
    return [*lines, *_disagreement(sheet, points), *_gauge(points)]


def _drawn(at: Desk, sheet: PackReport, points: list[Point]) -> list[str]:
    """The chart with its axis and its legend."""
    line = sheet.outlook.line if len(points) >= LEAST_READINGS else None
    rows = chart(points, 80, (lambda x: line.intercept + line.slope.value * x) if line else None)
    first, last = day(at, sheet.capacities[0].event.at), day(at, sheet.capacities[-1].event.at)
    marks = {point.mark for point in points}
    legend = [text for mark, text in _LEGEND if mark in marks] + ["- 80 %"] + ([". trend (estimate)"] if line else [])
    return [
        *(f" {row}" for row in rows),
        f" {'':>7} {first}{last:>{WIDTH - len(first)}}",
        f" {'':>7} {'   '.join(legend)}",
    ]


_LEGEND = (("o", "o flight"), ("#", "# capacity test"))


def _listed(at: Desk, sheet: PackReport, points: list[Point]) -> list[str]:
    """The few readings there are."""
    found = zip(sheet.capacities, points, strict=True)
    return [f" {day(at, c.event.at)}  {p.y:5.1f} %  {'capacity test' if c.test else 'flight'}" for c, p in found]


def _disagreement(sheet: PackReport, points: list[Point]) -> list[str]:
    tests = [point.y for point in points if point.mark == "#"]
    if not tests or sheet.health is None or abs(tests[-1] - sheet.health.estimate.value) <= 5:
        return []
    return [f"The last capacity test found {tests[-1]:.0f} %: test again, two tests outvote the flights."]


def _gauge(points: list[Point]) -> list[str]:
    if all(point.mark == "#" for point in points):
        return []
    return [
        "A gauge that is always off the same way, or reckons from the label, is not in that range: a capacity test "
        "finds it out."
    ]


def resistance(at: Desk, sheet: PackReport) -> list[str]:
    """How its resistance has gone."""
    readings, now = sheet.resistance
    if not readings:
        return []
    first, last = readings[0], readings[-1]
    line = f"{first[1]:g} mOhm {day(at, first[0])}, {last[1]:g} mOhm {day(at, last[0])}, at 15 to 30 C"
    if now is None:
        return [f"{line}; a trend takes 8 readings, so far {len(readings)}."]
    return [f"{line}: {ratio(now)} times what it was ({now.basis}). Twice is a customary end."]


def endurance(each: Flights) -> str:
    """How long it flies one aircraft."""
    flights = counted(len(each.rates), "flight")
    line = f"On {each.aircraft} {each.minutes:.0f} min from full to {RESERVE} % (estimate, by {flights})"
    if each.last is not None:
        line += f"; its last flight lasted {each.last.value:.2f} of its usual"
    if each.sisters is not None:
        value, best, worst, _ = each.sisters
        line += f"; it lasts {value:.2f} of its middle sister ({best:.2f} of the best, {worst:.2f} of the worst)"
    return line + "."


def travel(sheet: PackReport) -> list[str]:
    """What its energy means in a passenger aircraft, in outline."""
    energy = float(sheet.facts["watt_hours"])  # type: ignore[arg-type]
    return [
        f"{energy:.1f} Wh by its label. {_carriage(energy, sheet.facts['usable'] == 'no')} That is the US rule, "
        "49 CFR 175.10(a)(18), in outline; other states and carriers differ: ask yours. No legal advice."
    ]


def _carriage(energy: float, unfit: bool) -> str:
    if unfit:
        return "Damaged or doubtful packs do not fly as baggage at all."
    if energy <= SMALL_WH:
        return f"Up to {SMALL_WH:g} Wh: a spare goes in the cabin only, its contacts covered."
    if energy <= LARGE_WH:
        return (f"{SMALL_WH:g} to {LARGE_WH:g} Wh: with the airline's approval, two spares at most, "
                "in the cabin only, contacts covered.")  # fmt: skip
    return f"Above {LARGE_WH:g} Wh: not in baggage."


def cost(sheet: PackReport) -> list[str]:
    """What its use has cost, by the price of a new one over what is on record."""
    price = sheet.price
    each = [(sheet.cost_per(name), word) for name, word in (("flights", "a flight"), ("cycles", "a full cycle"))]
    told = [f"{amount:.2f} {price.currency} {word}" for amount, word in each if price and amount is not None]
    if not price or not told:
        return []
    return [f"A new one costs {price.amount:g} {price.currency}; over its use on record that is {' and '.join(told)}."]
