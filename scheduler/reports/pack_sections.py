"""Write the sections of the page on a pack: the evidence for its conclusions."""

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
from scheduler.reports.document import Paragraph, Part, Picture, Table
from scheduler.reports.pack_report import PackReport
from scheduler.reports.pack_text import counted, day, full_cycles, ranged, ratio
from scheduler.reports.pictures import LEGEND, PictureData, draw_svg

FEW = 3
"""Below so many readings they are listed, not drawn."""
_SOURCES = {
    "charged": "Charged", "drained": "Drained", "flown": "Read at the landing", "measured": "Read off the pack",
    "lights": "Read off its lights", "voltage": "From its resting voltage (range: published cells; an estimate)",
}  # fmt: skip


def charge(at: Desk, report: PackReport) -> list[Part]:
    """Say how the charge is known, and how long the chargers would take."""
    lines = []
    if report.charge.entries and report.charge.source:
        first, *later = report.charge.entries
        since = f", then calculated over {counted(len(later), 'later entry', 'later entries')}" if later else ""
        drain = " and empties itself to storage when left alone" if report.item.plate["self_drain"] else ""
        rate = f"since then it loses {report.item.plate['self_discharge']:g} % in 30 d by its nameplate{drain}"
        lines.append(f"{_SOURCES[report.charge.source]} {at.say(first.at)}{since}; {rate}.")
    lines += _self_discharge(report)
    for charger, to, minutes in report.chargers:
        way = "Filling it" if to == FULL else f"Draining it to {to:.0f} %, storage charge,"
        lines.append(f"{way} on {charger} takes {ranged(minutes, 'min')}, attended (estimate).")
    return [Paragraph(line) for line in lines]


def _self_discharge(report: PackReport) -> list[str]:
    own = report.self_discharge
    if own is None:
        return []
    plate = float(report.item.plate["self_discharge"])
    line = f"By its own readings it loses {ranged(own, '%', digits=2)} in 30 d (estimate: {own.basis})"
    if own.low <= plate <= own.high:
        return [f"{line}: the nameplate's figure agrees."]
    return [f"{line}. Reminders use the nameplate: write self_discharge: {own.value:.1f} % there."]


def bands(at: Desk, report: PackReport) -> list[Part]:
    """Show the share of time by band of charge."""
    total = sum(band.time for band in report.bands)
    if not total:
        return [Paragraph("Nothing is logged of it yet.")]
    shares = [(band, band.time / total) for band in report.bands if band.name in NAMES or band.time]
    rows = [[b.name, _days(b.time / DAY), f"{100 * share:3.0f} %", bar(share)] for b, share in shares]
    caption = f"Since its first entry, {at.say(report.history.since)}"
    return [Table(caption, ["Charge", "Time", "Share", ""], rows)]


def _days(days: float) -> str:
    if 0 < days < 0.05:
        return "<0.1 d"
    return f"{days:4.1f} d" if 0 < days < 0.95 else f"{days:4.0f} d"


def full_storage(report: PackReport) -> list[Part]:
    """Say the evidence for the conclusion on lying full."""
    full = report.full
    if full is None or full.days < 1:
        return []
    text = (
        f"{counted(full.days, 'day')} above 85 % against the same days at {STORAGE:.0f} %, all at "
        f"{full.celsius:.0f} C: {ranged(full.capacity_lost.times(100), '%', digits=2)} of its capacity more. That is "
        f"an {full.capacity_lost.basis}. It ranks packs and habits; of this one pack it promises nothing."
    )
    return [Paragraph(text)]


def wear(report: PackReport) -> list[Part]:
    """Write cycles, depths, throughput; a bar is a depth's share of all charge moved."""
    path = moves(report.history.charge)
    if not report.facts["cycles"] and len(path) < 2:
        return []
    moved = throughput_ah(path, float(report.item.plate["capacity"]) / 1000)
    share, rated = report.facts["cycles_of_rating"], report.item.plate["rated_cycles"]
    rating = "" if share is None else f", {share:.0f} % of the {rated} it is rated for"
    airtime = report.facts["airtime"]
    flown = f"{show_span(airtime)} in the air" if airtime else "never flown"
    text = (
        f"{full_cycles(report)} (the charge drawn from it, in full charges){rating}; "
        f"{flown}; {moved:.0f} Ah moved, in and out together, since its first "
        "entry."
    )
    classes = depth_classes(path)
    total = sum((edge - 5) * count for edge, count in classes.items())
    rows = [[f"{edge - 10:.0f} to {edge:.0f} points", f"{count:6.1f}", bar((edge - 5) * count / total)]
            for edge, count in classes.items()]  # fmt: skip
    head = ["Depth", "Cycles", "Share in the charge moved"]
    return [Paragraph(text), *([Table("Cycles by depth (rainflow, ASTM E1049)", head, rows)] if rows else [])]


def has_trend(report: PackReport) -> bool:
    """Return whether the readings of its capacity are enough for a trend."""
    return len(report.history.capacities) >= LEAST_READINGS


def health(at: Desk, report: PackReport, picture: PictureData) -> list[Part]:
    """Draw or list the readings; say the evidence for the estimate."""
    rated, readings = float(report.item.plate["capacity"]), report.history.capacities
    points = [Point(c.event.at / DAY, 100 * c.mah.value / rated, "#" if c.test else "o") for c in readings]
    if not points:
        text = (
            "No reading shows its capacity. Measure it with the charger's capacity test, attended, and log it: "
            f"shelfbell log measured {report.item.id} --capacity_mah MAH. Flights show it too, with used_mah and both "
            "percents."
        )
        return [Paragraph(text)]
    return [
        _drawn(at, report, points, picture) if len(points) >= FEW else _listed(at, report, points),
        *map(Paragraph, _estimate(report, points)),
    ]


def _drawn(at: Desk, report: PackReport, points: list[Point], picture: PictureData) -> Picture:
    """Draw a chart in characters, with axis and legend, to use without pictures."""
    line = report.forecast.trend if has_trend(report) else None
    rows = chart(points, 80, (lambda x: line.intercept + line.slope.value * x) if line else None)
    first, last = (day(at, report.history.capacities[index].event.at) for index in (0, -1))
    names = {"o": "o flight", "#": "# capacity test"}
    legend = [text for mark, text in names.items() if mark in {point.mark for point in points}] + ["- 80 %"]
    rows += [f"{'':>7} {first}{last:>{WIDTH - len(first)}}"]
    rows += [f"{'':>7} {'   '.join([*legend, '. trend (estimate)'] if line else legend)}"]
    title, alt = f"Pack {report.item.id}", f"{counted(len(points), 'reading')} of its capacity, {first} to {last}."
    return Picture(title, alt, lambda: draw_svg(picture), LEGEND, rows)


def _listed(at: Desk, report: PackReport, points: list[Point]) -> Table:
    rows = [
        [day(at, c.event.at), f"{point.y:.1f} %", "capacity test" if c.test else "flight"]
        for c, point in zip(report.history.capacities, points, strict=True)
    ]
    return Table("", ["Day", "Health", "By"], rows)


def _estimate(report: PackReport, points: list[Point]) -> list[str]:
    """Return the estimate and the doubts about it."""
    lines, tests = [], [point.y for point in points if point.mark == "#"]
    if report.health:
        estimate = report.health.estimate
        lines.append(f"Estimate: {ranged(estimate, '%', digits=3)}, {estimate.basis}; range: how readings differ.")
        if tests and abs(tests[-1] - estimate.value) > 5:
            lines.append(f"The last capacity test found {tests[-1]:.0f} %: test again, two tests outvote the flights.")
    if len(tests) < len(points):
        lines.append(
            "A gauge that is always off the same way, or calculates from the label, is not in that range: a capacity "
            "test finds it out."
        )
    return lines


def resistance(at: Desk, report: PackReport) -> list[Part]:
    """Say how its resistance has changed."""
    readings, now = report.resistance
    if not readings:
        return []
    first, last = (f"{mohm:g} mOhm {day(at, when)}" for when, mohm in (readings[0], readings[-1]))
    line = f"{first}, {last}, at 15 to 30 C"
    if now is None:
        return [Paragraph(f"{line}; a trend takes 8 readings, so far {len(readings)}.")]
    return [Paragraph(f"{line}: {ratio(now)} times what it was ({now.basis}). Twice is a customary end.")]


def endurance(report: PackReport) -> list[Part]:
    """Say how long it flies each aircraft."""
    parts: list[Part] = []
    for each in report.endurance:
        flights = counted(len(each.rates), "flight")
        line = f"On {each.aircraft} {each.minutes:.0f} min from full to {RESERVE} % (estimate, by {flights})"
        if each.last is not None:
            line += f"; its last flight lasted {100 * each.last.value:.0f} % of its usual time"
        if each.sisters is not None:
            middle, best, worst = (f"{100 * value:.0f} %" for value in each.sisters[:3])
            line += (
                f"; it lasts {middle} as long as the middle one of its kind ({best} of the best, {worst} of the worst)"
            )
        parts.append(Paragraph(f"{line}."))
    return parts


def travel(report: PackReport) -> list[Part]:
    """Outline what its energy means in a passenger aircraft."""
    energy = float(report.facts["watt_hours"])
    text = (
        f"{energy:.1f} Wh by its label. {_carriage(energy, report.facts['usable'] == 'no')} That is the US rule, "
        "49 CFR 175.10(a)(18), in outline; other states and carriers differ: ask yours. No legal advice."
    )
    return [Paragraph(text)]


def _carriage(energy: float, unfit: bool) -> str:
    if unfit:
        return "Damaged or doubtful packs do not fly as baggage at all."
    if energy <= SMALL_WH:
        return f"Up to {SMALL_WH:g} Wh: a spare goes in the cabin only, its contacts covered."
    if energy <= LARGE_WH:
        return (f"{SMALL_WH:g} to {LARGE_WH:g} Wh: with the airline's approval, two spares at most, "
                "in the cabin only, contacts covered.")  # fmt: skip
    return f"Above {LARGE_WH:g} Wh: not in baggage."


def cost(report: PackReport) -> list[Part]:
    """Say the cost of its use: the price of a new one over its use on record."""
    price = report.price
    rates = [(report.cost_per(name), unit) for name, unit in (("flights", "a flight"), ("cycles", "a full cycle"))]
    known = [f"{amount:.2f} {price.currency} {unit}" for amount, unit in rates if price and amount is not None]
    if not price or not known:
        return []
    text = f"A new one costs {price.amount:g} {price.currency}; over its use on record that is {' and '.join(known)}."
    return [Paragraph(text)]
