"""The estimators against an open record of one pouch cell (fixtures/make_record.py tells which)."""

from itertools import combinations
from statistics import mean, median
from typing import Any, NamedTuple

from scheduler.cells.curves import interpolate
from scheduler.cells.energy import minutes_to_charge, watt_hours
from scheduler.cells.health import capacity_from_flight
from scheduler.cells.voltage import charge_at, rested_volts
from tests.cells.frozen import frozen

CAR_CELL_NOMINAL_VOLTS = 3.7
CHARGE_AMPS = 15.3


class Point(NamedTuple):
    """One stop of a sweep: charge counted from the current, the voltages of its rest, the resistance."""

    percent: float
    taken_ah: float
    loaded: tuple[float, float]
    rested: list[float]
    mohm: float


def sweep(celsius: str) -> list[Point]:
    record = frozen("record")["sweeps"][celsius]
    return [
        Point(
            100 - 100 * p["taken_ah"] / record["capacity_ah"],
            p["taken_ah"],
            tuple(p["loaded"]),
            p["rested"],
            1000 * (p["rested"][-1] - p["pulse"][1]) / p["pulse"][0],
        )
        for p in record["points"]
    ]


def charge_errors(celsius: str, chemistry: str) -> list[float]:
    """Percent read off the hour's resting voltage, less the percent counted."""
    return [charge_at(p.rested[-1], chemistry).value - p.percent for p in sweep(celsius)]


def inside(celsius: str, chemistry: str) -> float:
    """Share of points whose counted percent lies in the range given."""
    read = [(charge_at(p.rested[-1], chemistry), p.percent) for p in sweep(celsius)]
    return mean(e.low <= percent <= e.high for e, percent in read)


def rest_gaps(celsius: str) -> list[float]:
    """Greatest distance from the voltage after an hour, in mV, by minutes rested (after a discharge)."""
    stops = sweep(celsius)[1:]
    return [max(1000 * abs(p.rested[-1] - p.rested[i]) for p in stops) for i in range(len(stops[0].rested))]


def load_gaps(celsius: str) -> tuple[float, float]:
    """Mean mV short of the voltage after an hour: the loaded voltage, and the compensated one."""
    stops = sweep(celsius)[1:]
    plain = [1000 * (p.rested[-1] - p.loaded[1]) for p in stops]
    mended = [1000 * (p.rested[-1] - rested_volts(p.loaded[1], p.loaded[0], p.mohm, 1)) for p in stops]
    return mean(plain), mean(mended)


def capacity_errors(celsius: str, chemistry: str | None) -> list[float]:
    """Capacity from each part of a discharge of 30 points or more, as an error in percent of the whole one.

    The percent of both ends come from the resting voltage: on the chemistry's table or, without one, on the
    cell's own curve, taken at 25 C in another run.
    """
    whole = frozen("record")["sweeps"][celsius]["capacity_ah"]
    own = sorted((p.rested[-1], p.percent) for p in sweep("25"))
    volts, percents = zip(*own, strict=True)

    def read(p: Point) -> float:
        if chemistry:
            return charge_at(p.rested[-1], chemistry).value
        return interpolate(p.rested[-1], volts, percents)

    found = [
        capacity_from_flight(1000 * (b.taken_ah - a.taken_ah), read(a), read(b))
        for a, b in combinations(sweep(celsius), 2)
    ]
    return [e.value / 10 / whole - 100 for e in found if e]


def mohm(celsius: str) -> float:
    return median(p.mohm for p in sweep(celsius))


def rounds(rate: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = frozen("record")["rounds"][rate]
    return rows


def watt_hour_ratio(rate: str) -> float:
    """Watt-hours delivered over the rated ones (delivered Ah x nominal volts)."""
    return mean(r["wh"] / watt_hours(r["ah"], CAR_CELL_NOMINAL_VOLTS) for r in rounds(rate))


def charging_minutes() -> tuple[float, float, float, float]:
    """Measured minutes of a charge from empty at half of 1C, and the estimate with its range."""
    row = rounds("1")[0]["charge"]
    pack = watt_hours(row["ah"], CAR_CELL_NOMINAL_VOLTS)
    watts = CHARGE_AMPS * row["wh"] / row["ah"]
    return row["minutes"], *minutes_to_charge(pack, 0, 100, watts)[:3]
