"""Print the figures of ACCURACY.md: `python -m tests.cells.accuracy`; with `--write`, renew them there."""

import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from random import Random
from statistics import mean

from tests.cells import against_record, against_truth
from tests.cells.frozen import frozen

PAGE = Path(__file__).parents[2] / "scheduler" / "cells" / "ACCURACY.md"
BEGIN, END = "<!-- figures: python -m tests.cells.accuracy --write -->\n", "<!-- end of figures -->\n"
CELSIUS = ("10", "25", "40")
TRIALS = 400


Row = tuple[object, ...]


def table(title: str, head: str, rows: Iterable[Row]) -> str:
    rule = " | ".join("---" for _ in head.split(" | "))
    lines = [head, rule, *(" | ".join(map(str, row)) for row in rows)]
    return f"### {title}\n\n" + "".join(f"| {line} |\n" for line in lines)


def charge_rows() -> Iterator[Row]:
    for celsius in CELSIUS:
        for chemistry in ("lipo", "li-ion"):
            errors = against_record.charge_errors(celsius, chemistry)
            within = against_record.inside(celsius, chemistry)
            yield celsius, chemistry, f"{mean(errors):+.1f}", f"{max(errors, key=abs):+.1f}", f"{within:.0%}"


def capacity_rows() -> Iterator[Row]:
    for celsius in CELSIUS:
        for name, chemistry in (("lipo table", "lipo"), ("li-ion table", "li-ion"), ("own curve", None)):
            if (celsius, chemistry) != ("25", None):  # its own curve was taken at 25 C
                errors = against_record.capacity_errors(celsius, chemistry)
                yield celsius, name, len(errors), f"{min(errors):+.0f}", f"{max(errors):+.0f}"


def cell_rows() -> Iterator[Row]:
    for celsius in CELSIUS:
        gaps = [f"{gap:.0f}" for gap in against_record.rest_gaps(celsius)[:-1]]
        plain, mended = against_record.load_gaps(celsius)
        yield celsius, f"{against_record.mohm(celsius):.2f}", *gaps, f"{plain:.0f}", f"{mended:.0f}"


def energy_rows() -> Iterator[Row]:
    for rate in ("1", "2", "3"):
        yield f"Wh delivered at {rate}C over rated Wh", f"{against_record.watt_hour_ratio(rate):.3f}", "1"
    measured, value, low, high = against_record.charging_minutes()
    yield "minutes of a full charge at 0.5C", f"{measured:.0f}", f"{value:.0f} ({low:.0f} to {high:.0f})"


def truth_rows() -> Iterator[Row]:
    truth, random = against_truth, Random(2026)
    scores = {
        "self-discharge, % in 30 d (12 readings)": truth.self_discharge(random, TRIALS),
        "capacity slope, points in 100 cycles (40 readings)": truth.capacity_slope(random, TRIALS),
        "health now, points": truth.health_now(random, TRIALS),
        "cycle at 80 %, steady fade, % of life": truth.end_of_life(random, TRIALS, truth.steady),
        "cycle at 80 %, fade levelling off, % of life": truth.end_of_life(random, TRIALS, truth.levelling),
        "cycle at 80 %, fade with a knee, % of life": truth.end_of_life(random, TRIALS, truth.knee),
    }
    for name, s in scores.items():
        yield name, f"{s.bias:+.1f}", f"{s.within:.1f}", f"{s.covered:.0%}", f"{s.answered:.0%}"


def alarm_rows() -> Iterator[Row]:
    random = Random(2026)
    for spread in (0.05, 0.08, 0.15):
        for earlier in (5, 15):
            row: list[object] = [f"{spread:.0%}", earlier]
            for true_ratio in (1.0, 0.7, 0.5):
                alarm = against_truth.alarms(random, 2000, spread, earlier, true_ratio)
                rates = alarm if true_ratio == 1 else [1 - rate for rate in alarm]
                row.append(" / ".join(f"{rate:.1%}" for rate in rates))
            yield tuple(row)


def onset_rows() -> Iterator[Row]:
    random = Random(2026)
    for spread in (0.05, 0.08, 0.15):
        for ratio in (0.7, 0.5):
            first, third = against_truth.onset(random, TRIALS, spread, ratio)
            yield f"{spread:.0%}", ratio, f"{first:.0%}", f"{third:.0%}"


def model_rows() -> Iterator[Row]:
    for name, kept in frozen("ageing").items():
        yield name, *(f"{100 * (1 - k):.2f}" for days in ("30", "365") for k in kept[days][:2])


SECTIONS: list[tuple[str, str, Callable[[], Iterable[Row]]]] = [
    (
        "Charge from resting voltage, open pouch-cell record (LMO/NCA)",
        "C | table | mean error, points | worst | counted charge inside the range",
        charge_rows,
    ),
    (
        "Capacity from parts of a discharge, percent read off the resting voltage, same record",
        "C | percent read off | parts | least error, % | greatest",
        capacity_rows,
    ),
    (
        "Resistance; greatest mV yet to recover after a rest; mean mV off under load; same record",
        "C | mOhm | 1 min | 5 min | 10 min | 30 min | loaded 0.3C | compensated",
        cell_rows,
    ),
    ("Energy and charging time, same record", "what | measured | estimate", energy_rows),
    (
        "Recovering a known truth (simulated packs)",
        "what | median error | 90 % of errors within | truth inside the range | answered",
        truth_rows,
    ),
    (
        "Sudden loss below 0.75 of the usual endurance: simulated / computed",
        "scatter | earlier flights | false alarms | missed at 0.7 | missed at 0.5",
        alarm_rows,
    ),
    (
        "Sudden loss, a pack that stays at a fraction of its endurance (15 flights before)",
        "scatter | true ratio | caught at once | by the third",
        onset_rows,
    ),
    (
        "Storage loss at 25 C by published models, %",
        "model | 30 d full | 30 d half | 365 d full | 365 d half",
        model_rows,
    ),
]


def figures() -> str:
    return "\n".join(table(title, head, rows()) for title, head, rows in SECTIONS)


def main() -> None:
    if sys.argv[1:] == ["--write"]:
        before, rest = PAGE.read_text().split(BEGIN)
        PAGE.write_text(before + BEGIN + figures() + END + rest.split(END)[1])
    else:
        print(figures())


if __name__ == "__main__":
    main()
