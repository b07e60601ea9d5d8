"""One pack for programs."""

from scheduler.answers.desk import Desk
from scheduler.answers.entry_effects import next_ring
from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import DAY, MINUTE
from scheduler.cells.estimate import Estimate
from scheduler.cells.wear import depth_classes, throughput_ah
from scheduler.fleet.fleet import Item
from scheduler.reminders.board import Board
from scheduler.reports.charge_history import moves
from scheduler.reports.pack_report import PackReport


def asked(at: Desk, name: str) -> Item:
    """The pack of that name. Raises Refused."""
    fleet = at.setup.fleet
    if fleet.kind(name) != "pack":
        what = f"{name} is no pack" if name in fleet else f"there is no pack {name!r}"
        known = fleet.ids("pack")
        raise Refused.because(f"{what}{did_you_mean(name, known)}; there is {', '.join(known) or 'none in fleet.yaml'}")
    return fleet[name]


def to_json(at: Desk, sheet: PackReport, board: Board) -> dict[str, object]:
    """The page for programs: percents, days, minutes, mOhm, Ah, Wh; a range where there is one."""
    rated = float(sheet.item.plate["capacity"])
    total = sum(band.time for band in sheet.bands)
    return {
        "at": at.stamp(at.now),
        "pack": sheet.item.id,
        "usable": sheet.facts["usable"],
        "charge": {
            "percent": sheet.holding.percent, "low": sheet.holding.low, "high": sheet.holding.high,
            "told_by": sheet.holding.way, "reckoned": sheet.holding.reckoned,
            "events": [event.id for event in sheet.holding.by],
        },
        "bench": [{"charger": b.charger, "to": b.percent, "minutes": ranged(b.minutes)} for b in sheet.bench],
        "bands": [
            {"band": each.name, "days": each.time / DAY, "share": each.time / total if total else None}
            for each in sheet.bands
        ],
        "sitting_full": sitting_json(sheet),
        "self_discharge": {"nameplate": sheet.item.plate["self_discharge"], "own": ranged(sheet.own_rate)},
        "wear": wear_json(sheet),
        "health": {
            "percent": sheet.facts["health"],
            "estimate": ranged(sheet.health and sheet.health.estimate),
            "readings": [
                {"at": at.stamp(c.event.at), "percent": 100 * c.mah.value / rated, "test": c.test, "event": c.event.id}
                for c in sheet.capacities
            ],
            "at_80_percent": {
                "at": moments(at, sheet.outlook.at), "cycles": ranged(sheet.outlook.cycles),
                "untold": sheet.outlook.untold,
            },
        },
        "resistance": {
            "readings": [{"at": at.stamp(when), "mohm": mohm} for when, mohm in sheet.resistance.readings],
            "ratio": ranged(sheet.resistance.ratio),
        },
        "endurance": [
            {"aircraft": each.aircraft, "minutes_to_reserve": each.minutes, "last": ranged(each.last),
             "sisters": ranged(each.sisters), "flights": len(each.rates)}
            for each in sheet.flights
        ],
        "watt_hours": sheet.facts["watt_hours"],
        "cost": cost_json(sheet),
        "next": next_json(at, board),
    }  # fmt: skip


def ranged(estimate: Estimate | None) -> dict[str, object] | None:
    """An estimate for programs."""
    return estimate._asdict() if estimate else None


def moments(at: Desk, estimate: Estimate | None) -> dict[str, object] | None:
    """An estimated instant for programs."""
    if estimate is None:
        return None
    return {name: at.stamp(round(getattr(estimate, name))) for name in ("value", "low", "high")}


def sitting_json(sheet: PackReport) -> dict[str, object] | None:
    """What sitting full took."""
    if sheet.sitting is None:
        return None
    lost = sheet.lost_money()
    return {
        "days": sheet.sitting.days,
        "as_storage_days": ranged(sheet.sitting.as_days),
        "capacity_lost": ranged(sheet.sitting.lost),
        "celsius": sheet.sitting.celsius,
        "money": ranged(lost) if lost else None,
    }


def wear_json(sheet: PackReport) -> dict[str, object]:
    """How it has been worked."""
    path = moves(sheet.history)
    airtime = sheet.facts["airtime"]
    return {
        "cycles": sheet.facts["cycles"],
        "percent_of_rating": sheet.facts["cycles_of_rating"],
        "flights": sheet.facts["flights"],
        "airtime_minutes": None if airtime is None else airtime / MINUTE,  # type: ignore[operator]
        "depth_classes": {f"{edge:g}": count for edge, count in depth_classes(path).items()},
        "throughput_ah": throughput_ah(path, float(sheet.item.plate["capacity"]) / 1000),
    }


def cost_json(sheet: PackReport) -> dict[str, object] | None:
    """What it has cost so far."""
    price = sheet.price
    if price is None:
        return None
    return {"price": price.amount, "currency": price.currency, "per_flight": sheet.cost_per("flights"),
            "per_cycle": sheet.cost_per("cycles")}  # fmt: skip


def next_json(at: Desk, board: Board) -> dict[str, object]:
    """What is open, and when it rings next."""
    ahead = next_ring(at, board)
    return {
        "open": [{"rule": r.key.rule, "opened_at": at.stamp(r.episode.opened)} for r in board.open_at(at.now)],
        "ring_at": at.stamp(ahead.at) if ahead else None,
        "ring_rules": sorted({reminder.key.rule for reminder in ahead.reminders}) if ahead else [],
    }
