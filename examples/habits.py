"""The habits of the demo operator and the behaviour of their packs, from which season.py builds its season."""

import json
import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

LISBON = ZoneInfo("Europe/Lisbon")
DRAW = 2026
PLACES = ("harbour", "quarry", "vineyard", "orchard", "bridge", "dam", "mill", "bay", "chapel", "castle")
STORED = 58
PORTS = 3
FIRST_TOTAL = 5460

Event = dict[str, object]


class Model(NamedTuple):
    """A make of pack: mAh, cells, a cell's resting volts at 0, 10 … 100 percent, mAh a minute in the air."""

    capacity: int
    cells: int
    volts: tuple[float, ...]
    draw: float


BIG = Model(5200, 4, (3.00, 3.64, 3.70, 3.73, 3.76, 3.80, 3.84, 3.91, 3.99, 4.09, 4.20), 205)
SMALL = Model(2600, 3, (3.00, 3.64, 3.71, 3.74, 3.77, 3.81, 3.87, 3.96, 4.06, 4.19, 4.35), 118)
FLEET = {"heron": list("ABCD"), "wagtail": list("EF")}


class Pack:
    """A pack as it really is, which the operator sees only through readings."""

    def __init__(self, model: Model, health: float, fade: float, loss: float, milliohm: float) -> None:
        self.model = model
        self.health = health
        self.fade = fade
        self.loss = loss
        self.milliohm = milliohm
        self.charge = float(STORED)
        self.since = on("03-01 09:00")

    def shows(self, now: datetime) -> int:
        """Return the percent it holds after lying until `now`."""
        days = max(timedelta(0), now - self.since) / timedelta(days=1)
        self.charge = max(0.0, self.charge - self.loss * days / 30)
        self.since = max(now, self.since)
        return round(self.charge)

    def set(self, percent: float, now: datetime) -> None:
        """Charge or drain it to `percent`."""
        self.charge, self.since = percent, now

    def minutes_to(self, percent: float) -> float:
        """Return how long it flies from here down to `percent`."""
        return (self.charge - percent) / 100 * self.model.capacity * self.health / self.model.draw

    def fly(self, minutes: float, landing: datetime) -> float:
        """Fly that long and return the mAh used. Wear follows: capacity fades, resistance rises."""
        used = minutes * self.model.draw
        self.set(max(1.0, self.charge - 100 * used / (self.model.capacity * self.health)), landing)
        self.milliohm *= 1 + 2 * self.fade * used / self.model.capacity
        self.health -= self.fade * used / self.model.capacity
        return used

    def volts(self) -> float:
        """Return the volts of one cell at rest."""
        step = min(9, int(self.charge // 10))
        low, high = self.model.volts[step : step + 2]
        return low + (high - low) * (self.charge / 10 - step)


class Season:
    """The log as it grows, with the packs and what is on the operator's mind.

    `fit`: the packs of each aircraft, whose turn is next first. `home_since`: nothing is booked earlier.
    `told_at`: set while a field trip is told afterwards. `shows_charge`: the controller shows it at landing.
    """

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.packs = {
            "A": Pack(BIG, 0.95, 0.0005, 3, 11.5), "B": Pack(BIG, 0.96, 0.0005, 3, 11.2),
            "C": Pack(BIG, 0.93, 0.0012, 4, 12.9), "D": Pack(BIG, 0.87, 0.0020, 6, 15.1),
            "E": Pack(SMALL, 0.97, 0.0006, 2, 17.8), "F": Pack(SMALL, 0.96, 0.0006, 5, 18.3),
        }  # fmt: skip
        self.fit = {aircraft: list(packs) for aircraft, packs in FLEET.items()}
        self.minutes = dict.fromkeys(FLEET, 0.0)
        self.home_since = on("03-01 09:00")
        self.told_at: datetime | None = None
        self.shows_charge = True
        self._draws = random.Random(DRAW)

    def between(self, low: float, high: float) -> float:
        """Draw evenly from a range."""
        return low + (high - low) * self._draws.random()

    def chance(self, share: float) -> bool:
        """Return True in that share of draws."""
        return self._draws.random() < share

    def tell(self, at: datetime, what: str, told: datetime | None = None, **fields: object) -> Event:
        """Log one event, recorded some minutes after it happened, unless `told` or a field trip says when."""
        recorded = told or after(at, self.between(1, 15))
        if self.told_at is not None:
            self.told_at = after(self.told_at, 1)
            recorded = self.told_at
        event = {"at": at, "recorded_at": recorded, "id": "", "what": what} | fields
        self.events.append(event)
        return event

    def lines(self) -> Iterator[str]:
        """Return the log in the order in which it was recorded, ids counted in that order."""
        arrived = sorted(self.events, key=lambda event: event["recorded_at"])
        for number, event in enumerate(arrived, 1):
            event["id"] = f"s{number:04}"
        return (json.dumps({name: written(value) for name, value in event.items()}) for event in arrived)


def on(text: str) -> datetime:
    """Return a local time of the season, given as "MM-DD HH:MM"."""
    return datetime.strptime(f"2026-{text}", "%Y-%m-%d %H:%M").replace(tzinfo=LISBON)


def at(day: date, clock: str, minutes: float = 0) -> datetime:
    """Return the instant some minutes after a local time of a day."""
    return after(on(f"{day:%m-%d} {clock}"), minutes)


def after(moment: datetime, minutes: float) -> datetime:
    """Return the instant some minutes later, whatever the local clock does, to the whole minute."""
    return (moment.astimezone(UTC) + timedelta(minutes=round(minutes))).astimezone(LISBON)


def each_day(first: str, last: str) -> Iterator[date]:
    """Return the days from `first` to `last`, both "MM-DD" and both included."""
    day = on(f"{first} 12:00").date()
    while day <= on(f"{last} 12:00").date():
        yield day
        day += timedelta(days=1)


def written(value: object) -> object:
    """Return a field as the file has it: times with their offset, another event as its id."""
    if isinstance(value, datetime):
        return value.isoformat()
    return value["id"] if isinstance(value, dict) else value


def store(season: Season, job: str, starts: datetime, booked: datetime | None = None, **more: object) -> Event:
    """Take a job on, some days ahead."""
    usual = after(starts, -60 * season.between(4 * 24, 9 * 24))
    earliest = after(season.home_since, season.between(0, 90))
    return season.tell(
        booked or max(usual, earliest), "booked", job=job, starts=starts,
        ends=after(starts, 150), airtime_minutes=round(season.between(30, 60) / 5) * 5, **more,
    )  # fmt: skip


def charge(season: Season, names: list[str], begin: datetime, percent: int = 100) -> list[Event]:
    """Charge packs, as many at a time as the charger has ports, except those that are nearly there already."""
    due = [name for name in names if season.packs[name].shows(begin) < percent - 5]
    told = []
    for place, name in enumerate(due):
        pack = season.packs[name]
        done = after(begin, place // PORTS * 60 + 0.8 * (percent - pack.charge) + season.between(0, 9))
        pack.set(percent, done)
        told.append(season.tell(done, "charged", item=name, percent=percent, charger="bench"))
    return told


def eve(season: Season, day: date, names: list[str]) -> None:
    """Charge the packs full the evening before, and sometimes the controller."""
    begin = at(day - timedelta(days=1), "18:20", season.between(0, 70))
    charge(season, names, begin)
    if season.chance(0.6):
        season.tell(after(begin, 50), "charged", item="controller", percent=100)


def fly(season: Season, aircraft: str, name: str, take_off: datetime, **fields: object) -> datetime:
    """Fly once with one pack and return the landing."""
    pack = season.packs[name]
    start = pack.shows(take_off)
    target = season.between(12, 19) if season.chance(0.08) else season.between(23, 38)
    minutes = max(2.0, round(2 * min(pack.minutes_to(target), season.between(15, 22))) / 2)
    landing = after(take_off, minutes)
    used = pack.fly(minutes, landing)
    told: Event = {"aircraft": aircraft, "packs": [name], "minutes": minutes}
    if season.chance(0.85):
        told["percent_from"] = start
    if season.shows_charge and not season.chance(0.03):
        told["percent_to"] = round(pack.charge)
    if season.chance(0.4):
        told["used_mah"] = round(used * season.between(0.98, 1.02) / 10) * 10
    if season.chance(0.25):
        told["lowest_volts"] = round(pack.model.cells * (pack.volts() - 0.13 - pack.milliohm / 400), 2)
    season.minutes[aircraft] += minutes
    next_evening = at(landing.date() + timedelta(days=1), "19:30", season.between(0, 90))
    late = next_evening if season.chance(0.04) else None
    season.tell(landing, "flown", late, **told, pilot="me", looked_before=season.chance(0.9), **fields)
    return landing


def fly_in_turn(season: Season, aircraft: str, names: list[str], begin: datetime, purpose: str = "job") -> datetime:
    """Fly several times, a pack each, with some minutes between; return the last landing."""
    landing = begin
    for name in names:
        landing = fly(season, aircraft, name, after(landing, season.between(4, 12)), purpose=purpose)
    return landing


def put_away(season: Season, names: list[str], begin: datetime, forget: float = 0.12) -> None:
    """Bring packs to storage: charge up the flown ones, drain the full ones. Some are forgotten."""
    kept = [name for name in names if not season.chance(forget)]
    full = [name for name in kept if season.packs[name].shows(begin) > STORED + 10]
    drain(season, full, begin)
    charge(season, [name for name in kept if name not in full], after(begin, 5), STORED)


def drain(season: Season, names: list[str], begin: datetime) -> None:
    """Drain packs to storage with the charger, three at a time."""
    for place, name in enumerate(names):
        done = after(begin, (1 + place // PORTS) * 95 + season.between(0, 12))
        season.packs[name].set(STORED, done)
        season.tell(done, "drained", item=name, percent=STORED)


def job(season: Season, day: date, aircraft: str = "heron", **fields: object) -> None:
    """Play a job from booking to storage. Now and then the wind calls it off and the packs stay full."""
    place = PLACES[int(season.between(0, len(PLACES)))]
    starts = at(day, "08:30", 30 * round(season.between(0, 10)))
    store(season, name := f"{place}-{day:%m-%d}", starts, aircraft=aircraft, **fields)
    packs = turn(season, aircraft)
    eve(season, day, packs)
    if season.chance(0.06):
        season.tell(after(starts, -season.between(60, 110)), "cancelled", job=name, note="wind")
        return
    flown = packs if season.chance(0.7) else packs[:-1]
    landing = fly_in_turn(season, aircraft, flown, starts)
    if starts.hour < 12 and season.chance(0.4):
        charge(season, flown[:2], after(landing, 20))
        fly_in_turn(season, aircraft, flown[:2], after(landing, 100))
    put_away(season, packs, at(day, "19:00"))
    if season.chance(0.8):
        season.tell(at(day, "20:40"), "inspected", item=f"{aircraft}-props", result="pass")


def turn(season: Season, aircraft: str) -> list[str]:
    """Return the packs for a day out: most of them, taking turns."""
    packs = season.fit[aircraft]
    season.fit[aircraft] = packs[1:] + packs[:1]
    return packs[: max(2, len(packs) - int(season.between(0, 2)))]


def practise(season: Season, day: date, aircraft: str) -> None:
    """Practise on the field for an hour."""
    packs = turn(season, aircraft)[:2]
    charge(season, packs, at(day, "09:00", season.between(0, 60)))
    fly_in_turn(season, aircraft, packs, at(day, "14:30", season.between(0, 90)), "practice")
    put_away(season, packs, at(day, "18:30"), forget=0.25)


def weeks(season: Season, first: str, last: str) -> None:
    """Play ordinary weeks: jobs on Tuesdays and Thursdays, wagtail on some Fridays, practice at most weekends."""
    for day in each_day(first, last):
        weekday = f"{day:%a}"
        if weekday in ("Tue", "Thu"):
            job(season, day)
        elif weekday == "Fri" and season.chance(0.8):
            job(season, day, "wagtail", near_people=True)
        elif season.chance({"Sat": 0.85, "Sun": 0.55}.get(weekday, 0)):
            practise(season, day, "wagtail" if season.chance(0.6) else "heron")


def workshop(season: Season, day: str) -> None:
    """Spend the monthly morning at the bench: read packs; look at aircraft, propellers and gimbals."""
    moment = on(f"{day} 10:00")
    for name in season.packs:
        moment = after(moment, 4)
        read(season, name, moment)
    for aircraft in ("heron", "wagtail"):
        for item in (aircraft, f"{aircraft}-props", f"{aircraft}-gimbal"):
            moment = after(moment, 7)
            season.tell(moment, "inspected", item=item, result="pass")


def read(season: Season, name: str, moment: datetime) -> None:
    """Read charge, cell voltages and resistance of a pack that has rested overnight."""
    pack = season.packs[name]
    apart = 0.004 if name != "D" else 0.05 * (1 - pack.health) / 0.15
    each = [round(pack.volts() - apart * cell / pack.model.cells, 3) for cell in range(pack.model.cells)]
    season.tell(
        moment, "measured", item=name, percent=pack.shows(moment), cell_volts=each, rested_minutes=720,
        resistance_mohm=round(pack.milliohm * season.between(0.97, 1.03), 1),
        temperature_c=round(season.between(17, 25), 1),
    )  # fmt: skip


def calibrate(season: Season, aircraft: str, moment: datetime) -> None:
    """Calibrate everything, outdoors."""
    for step, part in enumerate(("imu", "compass", "gimbal", "sensors")):
        season.tell(after(moment, 4 * step), "calibrated", item=aircraft, what_of=part)
