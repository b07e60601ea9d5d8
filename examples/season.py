"""The demo operator's season of 2026: writes season.jsonl; --check tells whether that file is what it writes.

One person, two camera aircraft, about three jobs a week, all invented. The bytes are always the same.

March      The log begins: first readings, papers, spares. New firmware and its test flight. A registration
           renewed weeks before it lapses. A charge ends in the night in which the clock goes forward.
April      For ten days the controller shows no charge at landing. A charge told as 10 % is put right, a
           flight told twice is struck. A job is put off twice while its packs lie full. The gimbal
           twitches.
May        Heron goes to a lighthouse by freight and comes back; it is calibrated six days and several
           flights later. A hard landing is looked at two days after it.
June       A nicked blade: the set is replaced, spares run low and are restocked. Wagtail tips over and
           nobody looks for a week. Three field days are told days later. A lent afternoon is summed up in
           one line. Two flights of heron overlap: one of the times must be wrong.
July       Pack C swells: set aside, retired, handed in late. Pack G takes its place. Pack F is dropped. A
           weekend away. The aircraft's own count of airtime takes the place of the sum.
August     A job is called off on its morning and the packs stay full. Three weeks away: nothing is told.
September  Busy. Pack D lands at 9 % with a warning; two capacity tests settle it. A noisy motor is
           repaired. One reminder is seen, another snoozed.
October    A waiver lapses and is renewed late. The certificate runs out at the end of November. On the
           last day everything lies at storage charge: the demo goes on from there.
"""

import sys
from datetime import datetime
from pathlib import Path

from habits import (
    BIG,
    FIRST_TOTAL,
    STORED,
    Pack,
    Season,
    after,
    at,
    calibrate,
    charge,
    drain,
    each_day,
    fly,
    fly_in_turn,
    on,
    put_away,
    read,
    store,
    turn,
    weeks,
    workshop,
)

LOG = Path(__file__).with_name("season.jsonl")


def march(season: Season) -> None:
    """The log begins."""
    open_the_log(season)
    weeks(season, "03-03", "03-17")
    season.tell(on("03-18 19:10"), "updated", item="heron", version="4.12")
    charge(season, ["B"], on("03-19 08:10"))
    fly(season, "heron", "B", on("03-19 10:05"), purpose="test")
    season.tell(on("03-20 12:00"), "renewed", item="heron-registration", note="counts from the old expiry")
    weeks(season, "03-21", "03-28")
    season.packs["E"].set(100, on("03-29 02:10"))
    season.tell(on("03-29 02:10"), "charged", item="E", charger="bench", note="the clock went forward at one")
    workshop(season, "03-29")
    weeks(season, "03-31", "03-31")


def open_the_log(season: Season) -> None:
    """What is known on the first day."""
    papers = {
        "certificate": {"issued": "2024-11-19"}, "heron-registration": {"expires": "2026-04-20"},
        "wagtail-registration": {"expires": "2028-08-10"}, "insurance": {"expires": "2026-07-01"},
        "harbour-waiver": {"expires": "2026-09-30"},
    }  # fmt: skip
    moment = on("03-01 09:00")
    for item, fields in papers.items():
        moment = after(moment, 2)
        season.tell(moment, "renewed", item=item, **fields)
    season.tell(on("03-01 09:15"), "counted", item="heron-spare-props", count=6)
    season.tell(on("03-01 09:16"), "counted", item="wagtail-spare-props", count=3)
    season.tell(on("03-01 09:20"), "measured", item="heron", airtime_total=FIRST_TOTAL)
    season.tell(on("03-01 09:21"), "measured", item="wagtail", airtime_total=1230)
    season.tell(on("03-01 09:25"), "charged", item="controller", percent=100)
    season.tell(on("03-01 09:30"), "inspected", item="charging-corner", result="pass")
    workshop(season, "03-01")
    calibrate(season, "heron", on("03-01 15:00"))
    calibrate(season, "wagtail", on("03-01 15:30"))


def april(season: Season) -> None:
    """Readings go missing, slips are put right, a job is put off."""
    season.shows_charge = False
    weeks(season, "04-02", "04-10")
    season.shows_charge = True
    weeks(season, "04-11", "04-12")
    slips(season)
    put_off_twice(season)
    weeks(season, "04-21", "04-21")
    season.tell(on("04-22 17:40"), "noticed", item="heron-gimbal", findings=["twitch"])
    weeks(season, "04-23", "04-24")
    season.tell(on("04-25 09:30"), "inspected", item="heron-gimbal", result="pass")
    season.tell(on("04-25 09:50"), "calibrated", item="heron", what_of="gimbal")
    workshop(season, "04-26")
    weeks(season, "04-28", "05-02")


def slips(season: Season) -> None:
    """A figure mistyped, and a flight logged twice."""
    evening = on("04-13 18:30")
    emptiest = min(season.fit["heron"], key=lambda name: season.packs[name].shows(evening))
    (slip,) = charge(season, [emptiest], evening)
    slip["percent"] = 10
    right = {name: slip[name] for name in ("item", "charger")} | {"percent": 100, "instead_of": slip}
    season.tell(slip["at"], "charged", told=on("04-13 21:15"), **right, note="100, not 10")
    fly(season, "heron", emptiest, on("04-14 11:00"), purpose="practice")
    flight = season.events[-1]
    again = {name: value for name, value in flight.items() if name not in ("at", "recorded_at", "id", "what")}
    twice = season.tell(after(flight["at"], 2), "flown", told=on("04-14 20:10"), **again)
    season.tell(on("04-14 20:25"), "struck", event=twice, note="told twice")


def put_off_twice(season: Season) -> None:
    """Rain: the packs for the vineyard are full from Wednesday to Monday."""
    name, packs = "vineyard-april", ["A", "B", "D"]
    store(season, name, on("04-16 10:00"), on("04-09 16:20"), aircraft="heron")
    charge(season, packs, on("04-15 18:30"))
    store(season, name, on("04-18 10:00"), on("04-16 07:40"), aircraft="heron", note="rain")
    store(season, name, on("04-20 10:00"), on("04-18 08:05"), aircraft="heron", note="rain again")
    fly_in_turn(season, "heron", packs, on("04-20 10:00"))
    put_away(season, packs, on("04-20 18:30"), forget=0)


def may(season: Season) -> None:
    """Heron travels, and lands hard."""
    weeks(season, "05-05", "05-09")
    to_the_lighthouse(season)
    weeks(season, "05-20", "05-22")
    charge(season, ["A", "B"], on("05-22 18:30"))
    landing = fly(season, "heron", "A", on("05-23 15:03"), purpose="practice")
    season.tell(landing, "mishap", item="heron", severity="hard_landing", injury="none", packs=["A"])
    for item in ("heron", "heron-props", "heron-gimbal", "A"):
        season.tell(on("05-25 18:40"), "inspected", item=item, result="pass")
    calibrate(season, "heron", on("05-25 19:05"))
    weeks(season, "05-26", "05-30")
    season.tell(on("05-30 18:00"), "used", item="heron-spare-props", count=2, note="lent to a friend")
    workshop(season, "05-31")


def to_the_lighthouse(season: Season) -> None:
    """Out and back by freight, packs at thirty percent or less; calibrated only six days after its return."""
    packs = ["A", "B"]
    plan = {"how": "freight", "carries": ["heron", *packs], "leaves": on("05-12 09:00")}
    season.tell(on("05-08 20:00"), "travel_planned", **plan)
    store(season, "lighthouse", on("05-15 09:00"), on("05-06 11:00"), aircraft="heron")
    for name in packs:
        season.packs[name].set(28, on("05-11 20:30"))
        season.tell(on("05-11 20:30"), "drained", item=name, percent=28)
    travel(season, on("05-12 09:10"), "the lighthouse")
    charge(season, packs, on("05-14 18:00"))
    fly_in_turn(season, "heron", packs, on("05-15 09:00"))
    travel(season, on("05-17 10:00"), "home")
    season.tell(on("05-19 12:15"), "received", item="heron", how="freight")
    put_away(season, packs, on("05-19 18:00"), forget=0)


def travel(season: Season, leaves: datetime, to: str) -> None:
    """By freight with two packs."""
    for item in ("heron", "A", "B"):
        season.tell(leaves, "moved", item=item, how="freight", to=to)


def june(season: Season) -> None:
    """A nick, a tip-over, field days logged late, and two flights that cannot both be right."""
    weeks(season, "06-02", "06-05")
    season.tell(on("06-06 17:10"), "inspected", item="heron-props", result="fail", findings=["nicked"])
    season.tell(on("06-06 17:40"), "replaced", item="heron-props", from_spares="heron-spare-props")
    weeks(season, "06-08", "06-08")
    season.told_at = on("06-14 20:30")
    field_days(season)
    season.told_at = None
    charge(season, ["E"], on("06-14 11:00"))
    landing = fly(season, "wagtail", "E", on("06-14 16:10"), purpose="practice")
    season.tell(landing, "mishap", item="wagtail", severity="tip_over", injury="none")
    weeks(season, "06-16", "06-18")
    season.tell(
        on("06-20 17:30"), "flown", aircraft="wagtail", packs=["E", "F"], minutes=52, flights=4,
        percent_from=100, percent_to=35, purpose="practice", note="lent for an afternoon",
    )  # fmt: skip
    for name in "EF":
        season.packs[name].set(35, on("06-20 17:30"))
    for item in ("wagtail", "wagtail-props", "wagtail-gimbal", "E"):
        season.tell(on("06-21 10:20"), "inspected", item=item, result="pass")
    weeks(season, "06-23", "06-26")
    overlap(season)
    season.tell(on("06-29 09:15"), "renewed", item="insurance", expires="2027-07-01")
    season.tell(on("06-30 11:00"), "restocked", item="heron-spare-props", count=4)
    weeks(season, "06-30", "07-04")


def field_days(season: Season) -> None:
    """Three days at the dam without a signal; all of it is logged on the Sunday after."""
    for day in each_day("06-10", "06-12"):
        packs = turn(season, "heron")[:3]
        charge(season, packs, at(day, "06:20"))
        fly_in_turn(season, "heron", packs, at(day, "10:00"))
    put_away(season, ["A", "B", "C", "D"], on("06-13 18:00"), forget=0)


def overlap(season: Season) -> None:
    """Heron in the air twice at once."""
    charge(season, ["A", "B"], on("06-26 19:30"))
    first = fly(season, "heron", "A", on("06-27 10:25"), purpose="practice")
    fly(season, "heron", "B", after(first, -7), purpose="practice", note="time from memory")
    put_away(season, ["A", "B"], on("06-27 18:30"), forget=0)


def july(season: Season) -> None:
    """Pack C swells, G comes, F falls."""
    workshop(season, "07-05")
    weeks(season, "07-07", "07-11")
    season.tell(on("07-11 18:50"), "noticed", item="C", findings=["swollen"], note="rocks on a flat table")
    season.tell(on("07-11 19:20"), "set_aside", item="C", reason="swollen")
    season.tell(on("07-13 20:00"), "retired", item="C", reason="swollen")
    season.fit["heron"].remove("C")
    del season.packs["C"]
    weeks(season, "07-14", "07-14")
    welcome_pack_g(season)
    weeks(season, "07-16", "07-17")
    season.tell(on("07-18 13:20"), "mishap", item="F", severity="dropped")
    season.tell(on("07-20 19:00"), "inspected", item="F", result="pass")
    weeks(season, "07-21", "07-23")
    season.tell(on("07-23 21:00"), "away", **{"from": on("07-24 08:00"), "to": on("07-26 21:00")})
    total = FIRST_TOTAL + round(season.minutes["heron"]) + 38
    season.tell(on("07-27 18:30"), "measured", item="heron", airtime_total=total, note="the app's own count")
    weeks(season, "07-28", "07-30")
    season.tell(on("07-31 10:40"), "handed_in", item="C")


def welcome_pack_g(season: Season) -> None:
    """A new pack by courier: looked at, read, then charged for the first time."""
    season.packs["G"] = Pack(BIG, 1.01, 0.0005, 3, 10.8)
    season.packs["G"].set(30, on("07-15 10:00"))
    season.tell(on("07-15 12:10"), "received", item="G", how="freight")
    season.tell(on("07-15 18:00"), "inspected", item="G", result="pass")
    read(season, "G", on("07-15 18:05"))
    season.fit["heron"].append("G")


def august(season: Season) -> None:
    """A job called off, and three weeks of nothing."""
    store(season, "harbour-regatta", on("08-01 09:00"), on("07-20 15:00"), aircraft="heron", near_people=True)
    charge(season, ["A", "B", "D", "G"], on("07-31 18:30"))
    season.tell(on("08-01 07:20"), "cancelled", job="harbour-regatta", note="regatta called off")
    season.tell(on("08-01 22:40"), "away", **{"from": on("08-02 06:00"), "to": on("08-24 22:00")})
    season.home_since = on("08-25 09:00")
    season.packs["F"].set(60, on("08-20 12:00"))
    for step, name in enumerate("ABDGEF"):
        read(season, name, on(f"08-25 17:{10 + 5 * step}"))
    drain(season, ["A", "B", "D", "G"], on("08-25 18:00"))
    season.tell(on("08-26 09:00"), "charged", item="controller", percent=100)
    weeks(season, "08-27", "08-29")
    workshop(season, "08-30")


def september(season: Season) -> None:
    """Busy, and pack D shows its age."""
    weeks(season, "09-01", "09-05")
    for aircraft in ("heron", "wagtail"):
        spares = f"{aircraft}-spare-props"
        season.tell(on("09-06 10:00"), "replaced", item=f"{aircraft}-props", from_spares=spares)
    weeks(season, "09-08", "09-12")
    pack_d_fades(season)
    weeks(season, "09-17", "09-19")
    season.tell(on("09-19 18:10"), "noticed", item="heron", findings=["noise"], note="front left motor")
    season.tell(on("09-20 11:00"), "repaired", item="heron", what_of="motor")
    season.tell(on("09-20 11:40"), "inspected", item="heron", result="pass")
    charge(season, ["B"], on("09-20 12:00"))
    fly(season, "heron", "B", on("09-20 15:00"), purpose="test")
    near_people(season)
    weeks(season, "09-24", "09-26")
    workshop(season, "09-27")
    weeks(season, "09-29", "09-30")


def pack_d_fades(season: Season) -> None:
    """A warning and a landing at 9 percent, then two capacity tests: no paid jobs for it any more."""
    charge(season, ["D", "A"], on("09-14 18:30"))
    pack = season.packs["D"]
    pack.shows(on("09-15 10:00"))
    pack.set(9, on("09-15 10:14"))
    season.tell(
        on("09-15 10:14"), "flown", aircraft="heron", packs=["D"], minutes=13.5, percent_from=99,
        percent_to=9, lowest_volts=13.1, pilot="me", purpose="job",
    )  # fmt: skip
    season.tell(on("09-15 10:14"), "warned", item="heron", of="battery")
    season.tell(on("09-15 18:30"), "inspected", item="heron", result="pass")
    read(season, "D", on("09-15 18:40"))
    for day, found in (("09-16", 4130), ("09-18", 4110)):
        season.tell(on(f"{day} 21:10"), "measured", item="D", capacity_mah=found, rested_minutes=60)
        pack.set(STORED, on(f"{day} 22:20"))
        season.tell(on(f"{day} 22:20"), "charged", item="D", percent=STORED)
    season.tell(on("09-19 08:00"), "seen", item="D", rule="pack-health-low", note="no paid jobs any more")
    season.fit["heron"].remove("D")


def near_people(season: Season) -> None:
    """The village fair: guards taken off to be cleaned, and put on again; the packs left full afterwards."""
    season.tell(on("09-21 18:00"), "removed", item="wagtail-guards", aircraft="wagtail", note="to clean them")
    season.tell(on("09-21 18:30"), "fitted", item="wagtail-guards", aircraft="wagtail")
    store(season, "fair", on("09-22 16:00"), on("09-12 10:00"), aircraft="wagtail", near_people=True)
    charge(season, ["E", "F", "G"], on("09-21 19:00"))
    fly_in_turn(season, "wagtail", ["E", "F"], on("09-22 16:00"))
    season.tell(on("09-23 08:10"), "snoozed", item="G", rule="pack-left-full", until=on("09-24 08:00"))


def october(season: Season) -> None:
    """Papers, and the winter ahead."""
    weeks(season, "10-01", "10-03")
    season.tell(on("10-06 09:30"), "renewed", item="harbour-waiver", expires="2027-09-30", note="late")
    weeks(season, "10-06", "10-10")
    season.tell(on("10-11 10:00"), "inspected", item="charging-corner", result="pass")
    season.tell(on("10-11 10:10"), "counted", item="heron-spare-props", count=4)
    season.tell(on("10-11 10:12"), "restocked", item="wagtail-spare-props", count=2)
    weeks(season, "10-13", "10-24")
    second_time = after(on("10-25 00:50"), 80)
    season.packs["B"].set(100, second_time)
    season.tell(second_time, "charged", item="B", charger="bench", note="ten past one for the second time")
    weeks(season, "10-27", "10-30")
    put_away(season, ["A", "B", "D", "G", "E", "F"], on("10-30 20:00"), forget=0)
    workshop(season, "10-31")
    season.tell(on("10-31 12:30"), "charged", item="controller", percent=100)


MONTHS = (march, april, may, june, july, august, september, october)


def story() -> str:
    """Return the whole season as JSON Lines."""
    season = Season()
    for month in MONTHS:
        month(season)
    return "".join(f"{line}\n" for line in season.lines())


def main(argv: list[str]) -> int:
    """Write season.jsonl (0), or with --check compare: 0 the same, 1 different. 2 for anything else."""
    if argv == []:
        LOG.write_text(story(), encoding="utf-8")
        return 0
    if argv != ["--check"]:
        print("usage: python season.py [--check]", file=sys.stderr)
        return 2
    if LOG.exists() and LOG.read_text(encoding="utf-8") == story():
        return 0
    print(f"{LOG.name} is not what {Path(__file__).name} writes: run it without --check", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
