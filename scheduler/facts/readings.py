"""Facts that a reading of a pack sets: cells, resistance, capacity, temperature."""

from scheduler.base.instants import DAY, local_date
from scheduler.base.units import PERCENT, RATIO, SPAN, VOLTS, count
from scheduler.events.event import Event
from scheduler.facts.charge import cell_volts
from scheduler.facts.declare import PACK, fact
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.shapes import rising, stepped, within
from scheduler.facts.timeline import Segment

AT_REST = 60
"""Minutes at rest after which cells are compared with each other. From memory."""
MILD = (15, 30)
"""Degrees Celsius between which resistances are compared: it falls by a third from 10 to 25 C."""
WINDOW = 30 * DAY
"""How far `charges_out_of_range` looks back."""


@fact(
    "cell_spread", PACK, VOLTS, "The highest cell less the lowest, after an hour or more at rest.",
    unknown="no cell voltages at rest", record="shelfbell log measured {item} --cell_volts VOLTS,VOLTS",
)  # fmt: skip
def cell_spread(lifetime: Lifetime) -> list[Segment]:
    """Step at each reading of the cells at rest, or without rested_minutes."""
    readings = []
    for event in lifetime.of_kind("measured"):
        cells = cell_volts(event, lifetime.item.plate) if "cell_volts" in event.fields else None
        if cells and float(event.get("rested_minutes", AT_REST)) >= AT_REST:
            readings.append((event, round(max(cells) - min(cells), 4)))
    return stepped(readings)


@fact("resistance_ratio", PACK, RATIO,
      "Median resistance of the last 3 readings over that of the first 5, at 15 to 30 C.",
      unknown="fewer than eight resistance readings at 15 to 30 C")  # fmt: skip
def resistance_ratio(lifetime: Lifetime) -> list[Segment]:
    """Step at each reading from the eighth on."""
    from scheduler.cells.wear import resistance_ratio as ratio

    segments, read = [], []
    for event, mohm in mild_resistances(lifetime):
        read.append(mohm)
        estimate = ratio(read)
        if estimate is not None:
            segments.append(Segment(event.at, estimate.value, None, (event, None)))
    return segments


def mild_resistances(lifetime: Lifetime) -> list[tuple[Event, float]]:
    """Return the resistances, mOhm, at mild temperatures: only these compare."""
    readings = [event for event in lifetime.of_kind("measured") if "resistance_mohm" in event.fields and _mild(event)]
    return [(event, float(event.fields["resistance_mohm"])) for event in readings]


def _mild(event: Event) -> bool:
    celsius = event.get("temperature_c")
    return celsius is not None and MILD[0] <= float(celsius) <= MILD[1]


def capacity_tests(lifetime: Lifetime) -> list[Event]:
    """Return the readings that give a capacity."""
    return [event for event in lifetime.of_kind("measured") if "capacity_mah" in event.fields]


@fact(
    "health_confirmed", PACK, PERCENT,
    "The better of the last two capacity tests on different days, percent of the nameplate's.",
    unknown="fewer than two capacity tests on different days",
    record="shelfbell log measured {item} --capacity_mah MAH",
)  # fmt: skip
def health_confirmed(lifetime: Lifetime) -> list[Segment]:
    """Set from the second day with a test on: a single test can be a slip."""
    capacity = float(lifetime.item.plate["capacity"])
    by_day: dict[object, tuple[float, Event]] = {}
    segments = []
    for event in capacity_tests(lifetime):
        share = 100 * float(event.fields["capacity_mah"]) / capacity
        by_day[local_date(event.at, lifetime.store.clocks.zone)] = share, event
        last = list(by_day.values())[-2:]
        if len(last) == 2:
            segments.append(Segment(event.at, max(last[0][0], share), None, (event, (last[0][1], None))))
    return segments


@fact("since_capacity_test", PACK, SPAN, "Time since its last capacity test, or since it came into use.")
def since_capacity_test(lifetime: Lifetime) -> list[Segment]:
    """Rise from each test."""
    return rising(lifetime, capacity_tests(lifetime))


@fact("cycles_since_test", PACK, count("cycle", digits=1), "Equivalent full cycles since its last capacity test.")
def cycles_since_test(lifetime: Lifetime) -> list[Segment]:
    """Subtract the cycles at the last test from the cycles."""
    cycles = lifetime.fact("cycles")
    tests = {event.at for event in capacity_tests(lifetime)}
    turns = sorted({segment.start for segment in cycles.segments if segment.value is not None} | tests)
    segments, base = [], 0.0
    for turn in turns:
        segment = cycles.segment(turn)
        total = float(segment.value or 0)
        base = total if turn in tests else min(base, total)
        segments.append(Segment(turn, total - base, None, segment.evidence))
    return segments


@fact("charges_out_of_range", PACK, count("charge"), "Charges in 30 days at a temperature outside the nameplate's.")
def charges_out_of_range(lifetime: Lifetime) -> list[Segment]:
    """Count the charges with a temperature_c below charge_from or above charge_to."""
    low, high = float(lifetime.item.plate["charge_from"]), float(lifetime.item.plate["charge_to"])
    known = [event for event in lifetime.of_kind("charged") if "temperature_c" in event.fields]
    return within(lifetime, [e for e in known if not low <= float(e.fields["temperature_c"]) <= high], WINDOW)
