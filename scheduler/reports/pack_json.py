"""Report on a pack for programs: percents, days, minutes, mOhm, Ah, Wh, ranges."""

from scheduler.answers.desk import Desk
from scheduler.answers.entry_effects import next_ring
from scheduler.base.instants import DAY, MINUTE
from scheduler.cells.estimate import Estimate
from scheduler.cells.wear import depth_classes, throughput_ah
from scheduler.events.event import Event
from scheduler.reminders.board import Board
from scheduler.reports.charge_history import moves
from scheduler.reports.pack_report import PackReport


def to_json(at: Desk, report: PackReport, board: Board) -> dict[str, object]:
    """Return the report for programs."""
    facts, charge, forecast = report.facts, report.charge, report.forecast
    rated, total = float(report.item.plate["capacity"]), sum(band.time for band in report.bands)
    answer = {
        "at": at.stamp(report.now),
        "pack": report.item.id,
        "usable": facts["usable"],
        "charge": {
            "percent": charge.percent, "low": charge.low, "high": charge.high,
            "told_by": charge.source, "reckoned": charge.calculated, "events": charge.entries,
        },
        "bench": report.chargers,
        "bands": [
            {"band": band.name, "days": band.time / DAY, "share": band.time / total if total else None}
            for band in report.bands
        ],
        "sitting_full": report.full,
        "self_discharge": {"nameplate": report.item.plate["self_discharge"], "own": report.self_discharge},
        "wear": _wear(report),
        "health": {
            "percent": facts["health"],
            "estimate": report.health and report.health.estimate,
            "readings": [
                {"at": at.stamp(c.event.at), "percent": 100 * c.mah.value / rated, "test": c.test, "event": c.event}
                for c in report.history.capacities
            ],
            "at_80_percent": {
                "at": _moments(at, forecast.at), "cycles": forecast.cycles, "untold": forecast.why_unknown,
            },
        },
        "resistance": {
            "readings": [{"at": at.stamp(when), "mohm": mohm} for when, mohm in report.resistance.readings],
            "ratio": report.resistance.ratio,
        },
        "endurance": [
            {"aircraft": each.aircraft, "minutes_to_reserve": each.minutes, "last": each.last,
             "sisters": each.sisters, "flights": len(each.rates)}
            for each in report.endurance
        ],
        "watt_hours": facts["watt_hours"],
        "cost": report.price and {
            "price": report.price.amount, "currency": report.price.currency,
            "per_flight": report.cost_per("flights"), "per_cycle": report.cost_per("cycles"),
        },
        "next": _next(at, board),
    }  # fmt: skip
    return {name: _plain(value) for name, value in answer.items()}


def _plain(value: object) -> object:
    """Turn named tuples into objects and entries into ids, at any depth."""
    if isinstance(value, Event):
        return value.id
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        value = value._asdict()
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items()}
    return [_plain(each) for each in value] if isinstance(value, list) else value


def _moments(at: Desk, estimate: Estimate | None) -> dict[str, str] | None:
    """Write an estimated instant without basis: its readings are in the answer."""
    names = ("value", "low", "high")
    return None if estimate is None else {name: at.stamp(round(getattr(estimate, name))) for name in names}


def _wear(report: PackReport) -> dict[str, object]:
    path, facts = moves(report.history.charge), report.facts
    return {
        "cycles": facts["cycles"],
        "percent_of_rating": facts["cycles_of_rating"],
        "flights": facts["flights"],
        "airtime_minutes": None if facts["airtime"] is None else facts["airtime"] / MINUTE,
        "depth_classes": {f"{edge:g}": count for edge, count in depth_classes(path).items()},
        "throughput_ah": throughput_ah(path, float(report.item.plate["capacity"]) / 1000),
    }


def _next(at: Desk, board: Board) -> dict[str, object]:
    ahead = next_ring(at, board)
    return {
        "open": [{"rule": r.key.rule, "opened_at": at.stamp(r.episode.opened)} for r in board.open_at(at.now)],
        "ring_at": at.stamp(ahead.at) if ahead else None,
        "ring_rules": sorted({reminder.key.rule for reminder in ahead.reminders}) if ahead else [],
    }
