"""Facts of condition: what keeps an item on the ground, and what was not yet looked at, confirmed or flown."""

from typing import TYPE_CHECKING

from scheduler.base.instants import MIN_INSTANT
from scheduler.base.units import FLAG, SPAN, word
from scheduler.events.event import Event
from scheduler.events.kinds import FINDINGS
from scheduler.events.source import standing
from scheduler.facts.aircraft import AIRCRAFT, BLADE_FAULTS, CALIBRATED
from scheduler.facts.airtime import passes, rising, switched
from scheduler.facts.declare import FLOWN, PHYSICAL, fact
from scheduler.facts.fact_store import counts_from
from scheduler.facts.pack import PACK, STOP_SIGNS, latched
from scheduler.facts.timeline import NEVER, RISING, Segment, Trail, flags

if TYPE_CHECKING:
    from scheduler.facts.fact_store import Lifetime

TOUCHES = ("strike", "collision", "crash", "tip_over", "part_lost")
"""Mishaps in which a turning blade is taken to have touched something."""
MISALIGNS = ("hard_landing", *TOUCHES)
"""Mishaps after which sensors are not trusted to know level. Common practice, no source."""
HUM = frozenset(("noise", "rough", "heat", "hot", "drift"))
"""What motors and bearings are heard or felt to do first."""
CONNECTION = frozenset(("latch_worn", "loose", "corroded", "bent"))
"""Faults of a latch or a contact that can part a pack from the aircraft in flight."""
GROUNDS: dict[str, dict[str, str]] = {
    "aircraft": {
        "mishap_since_inspected": "not looked at since its mishap",
        "water_open": "was in water",
        "found_unfit": "found unfit and not put right",
        "warning_open": "gave a warning, not looked into",
        "noise_open": "heard or felt to run oddly, not looked into",
        "remote_id_failed": "broadcasts no remote identification",
    },
    "propellers": {
        "damaged": "damaged",
        "struck": "touched something while turning",
        "found_unfit": "found unfit and not put right",
    },
    "gimbal": {
        "found_unfit": "found unfit and not put right",
        "mishap_since_inspected": "not looked at since a mishap",
    },
    "pack": {
        "swollen": "swollen, leaking or smelling",
        "wet": "was in water",
        "too_deep": "stood below its damage voltage",
        "under_watch": "under watch after a knock",
        "set_aside": "set aside",
        "found_unfit": "found unfit and not put right",
        "contact_fault": "fault of its latch or contacts",
    },
    **{
        kind: {"found_unfit": "found unfit and not put right"}
        for kind in ("guards", "filter", "controller", "charger", "place")
    },
}
"""The facts that ground an item of a kind, each with the words for it (14 CFR 107.15: no flight in a condition that is
known to be unsafe)."""


ANSWERED: dict[str, frozenset[str]] = {
    "aircraft": HUM,
    "pack": STOP_SIGNS | CONNECTION | {"dented"},
    "propellers": BLADE_FAULTS,
    "gimbal": frozenset(FINDINGS),
}
"""What can be noticed of an item of a kind and has a fact of its own; all else that is noticed leaves a doubt."""


@fact("found_unfit", PHYSICAL, FLAG, "A look failed or something found left a doubt, and nothing was put right since.")
def found_unfit(life: "Lifetime") -> list[Segment]:
    """From a look with result fail or doubtful, or what was noticed in passing, to a pass or a repair."""
    answered = ANSWERED.get(life.item.kind, frozenset())
    bad = [event for event in life.those("inspected") if event.get("result") != "pass"]
    noticed = [event for event in life.those("noticed") if not answered.issuperset(event.get("findings", ()))]
    return switched(life, on=[*bad, *noticed], off=[*passes(life), *life.those("repaired")])


def bars(kind: str) -> dict[str, str]:
    """The facts that keep an item of a kind from use, each with its value where it does."""
    return {"usable": "no", "grounded": "yes", "past_mending": "yes"} | dict.fromkeys(GROUNDS.get(kind, ()), "yes")


@fact("grounded", tuple(GROUNDS), FLAG, "Something that was found or happened keeps it on the ground.")
def grounded(life: "Lifetime") -> list[Segment]:
    """Yes where any of the facts in GROUNDS is known to be."""
    grounds = [life.fact(name) for name in GROUNDS[life.item.kind]]
    turns = sorted({piece.start for ground in grounds for piece in ground.pieces if piece.value or piece.trail})
    triples: list[tuple[int, bool | None, Trail]] = []
    for turn in turns:
        holding = next((p for ground in grounds for p in [ground.piece(turn)] if p.value == "yes"), None)
        triples.append((turn, holding is not None, holding.trail if holding else None))
    return flags(triples).pieces


def why_grounded(life: "Lifetime", instant: int) -> str:
    """The first ground at an instant, in words; "" where there is none."""
    words = GROUNDS.get(life.item.kind, {})
    return next((text for name, text in words.items() if life.fact(name).at(instant) == "yes"), "")


def since_last(events: list[Event], since: int = MIN_INSTANT) -> list[Segment]:
    """Time since the last of some events; NEVER before the first."""
    told = standing(events, since)
    return [Segment(MIN_INSTANT, NEVER), *(Segment(event.at, 0, RISING, (event, None)) for event in told)]


@fact("on_record", PHYSICAL, FLAG, "Something was logged of it.")
def on_record(life: "Lifetime") -> list[Segment]:
    """From its first entry on."""
    first = [(event.at, True, (event, None)) for event in life.entries[:1]]
    return flags([(MIN_INSTANT, False, None), *first]).pieces


@fact("since_mishap", FLOWN, SPAN, "Time since its last mishap; never before the first.")
def since_mishap(life: "Lifetime") -> list[Segment]:
    """Rises from each mishap."""
    return since_last(life.those("mishap"))


@fact("since_flown", ("aircraft", "pack"), SPAN, "Time since its last landing; never before the first.", onward=True)
def since_flown(life: "Lifetime", since: int) -> list[Segment]:
    """Rises from each landing."""
    return since_last(life.those("flown"), since)


@fact("handed_in", PACK, FLAG, "It was brought to a disposal site.")
def handed_in(life: "Lifetime") -> list[Segment]:
    """From handed_in on."""
    return latched(life.those("handed_in"))


@fact("water_open", AIRCRAFT, FLAG, "It was in water, and no look passed since.")
def water_open(life: "Lifetime") -> list[Segment]:
    """From a mishap of severity water to a look that passed."""
    return switched(life, on=[e for e in life.those("mishap") if e.get("severity") == "water"], off=passes(life))


@fact("struck", ("propellers",), FLAG, "They touched something while turning; neither renewed nor passed since.")
def struck(life: "Lifetime") -> list[Segment]:
    """From such a mishap to a look that passed, where the maker's manual is content with one."""
    return switched(life, on=[e for e in life.those("mishap") if e.get("severity") in TOUCHES], off=passes(life))


@fact(
    "used_set_aside",
    PACK,
    FLAG,
    "It was charged or flown though set aside, and neither set aside anew nor passed since.",
    onward=True,
)
def used_set_aside(life: "Lifetime", since: int) -> list[Segment]:
    """From a charge or flight begun after it was set aside or handed in."""
    aside = [(piece.start, end) for piece, end in life.fact("set_aside") if piece.value == "yes"]
    uses = life.those("charged", "flown")
    used = [event for start, end in aside for event in uses if start < counts_from(event) <= end]
    return switched(life, on=used, off=[*life.those("set_aside", "handed_in"), *passes(life)], since=since)


@fact("contact_fault", PACK, FLAG, "A worn latch or a loose, bent or corroded contact was found, not put right since.")
def contact_fault(life: "Lifetime") -> list[Segment]:
    """From such a finding to a repair or a pass without it."""
    found = [e for e in life.those("inspected", "noticed") if CONNECTION & set(e.get("findings", ()))]
    clean = [event for event in passes(life) if event not in found]
    return switched(life, on=found, off=[*clean, *life.those("repaired")])


@fact("noise_open", AIRCRAFT, FLAG, "An odd noise, heat, roughness or drift was noticed, and no look passed since.")
def noise_open(life: "Lifetime") -> list[Segment]:
    """From noticed to a look that passed or a repair."""
    found = [event for event in life.those("noticed") if HUM & set(event.get("findings", ()))]
    return switched(life, on=found, off=[*passes(life), *life.those("repaired")])


@fact("twitch_open", ("gimbal",), FLAG, "It was noticed to twitch, drift or knock, and no look passed since.")
def twitch_open(life: "Lifetime") -> list[Segment]:
    """From anything noticed of it to a look that passed or a repair."""
    return switched(life, on=life.those("noticed"), off=[*passes(life), *life.those("repaired")])


@fact("first_flight_unchecked", ("propellers",), FLAG, "They flew once put on, and were not looked at after it.")
def first_flight_unchecked(life: "Lifetime") -> list[Segment]:
    """From the first landing after fitted or replaced to the next look."""
    fresh = life.start != MIN_INSTANT
    landings = []
    for event in life.those("fitted", "flown"):
        if event.what == "flown" and fresh:
            landings.append(event)
        fresh = event.what == "fitted"
    return switched(life, on=landings, off=life.those("inspected"))


@fact(
    "flight_due_after_mishap", AIRCRAFT, FLAG, "It was passed after a mishap, and flew for no practice or test since."
)
def flight_due_after_mishap(life: "Lifetime") -> list[Segment]:
    """From the look that passed it after a mishap to the next flight that is not for a job."""
    back, mishap = [], False
    for event in life.those("mishap", "inspected"):
        if event.what == "inspected" and event.get("result") == "pass" and mishap:
            back.append(event)
        mishap = event.what == "mishap" or (mishap and event.get("result") != "pass")
    tried = [event for event in life.those("flown") if event.get("purpose") in ("test", "practice")]
    return switched(life, on=back, off=tried)


@fact("mishap_since_calibrated", AIRCRAFT, FLAG, "It landed hard or hit something since it was calibrated.",
      of=("imu", "compass", "gimbal", "sensors"))  # fmt: skip
def mishap_since_calibrated(life: "Lifetime", of: str) -> list[Segment]:
    """From such a mishap to the next calibration."""
    knocks = [event for event in life.those("mishap") if event.get("severity") in MISALIGNS]
    return switched(life, on=knocks, off=_calibrations(life, of))


SHAKEN = ("nothing shook it", "it was shipped", "it flew by airline", "it landed hard", "it hit something")


@fact("shaken_since_calibrated", AIRCRAFT, word(*SHAKEN), "What shook its sensors last since they were calibrated.",
      of=CALIBRATED)  # fmt: skip
def shaken_since_calibrated(life: "Lifetime", of: str) -> list[Segment]:
    """Set by a journey by freight or airline and by a knock, taken back by the next calibration."""
    done = _calibrations(life, of)
    pieces = [Segment(MIN_INSTANT, SHAKEN[0])]
    for event in life.those("mishap", "moved", "received", "calibrated"):
        if event in done:
            pieces.append(Segment(event.at, SHAKEN[0], None, (event, None)))
        elif shaken := _shaken(event):
            pieces.append(Segment(event.at, shaken, None, (event, None)))
    return pieces


def _shaken(event: Event) -> str:
    """The word of SHAKEN for an event; "" where it shakes nothing."""
    if event.get("severity") in MISALIGNS:
        return SHAKEN[3] if event.get("severity") == "hard_landing" else SHAKEN[4]
    return {"freight": SHAKEN[1], "airline": SHAKEN[2]}.get(str(event.get("how")), "")


def _calibrations(life: "Lifetime", of: str) -> list[Event]:
    return [event for event in life.those("calibrated") if event.get("what_of") == of]


COMPASS = word("on change", "each flight", "after a journey")


@fact("compass", AIRCRAFT, COMPASS, "When its compass is calibrated, as the nameplate says.")
def compass(life: "Lifetime") -> list[Segment]:
    """The nameplate's word."""
    return [Segment(MIN_INSTANT, str(life.item.plate["compass"]))]


@fact(
    "changed_since_compass", AIRCRAFT, FLAG, "It was repaired, drifted or warned of its compass since its calibration."
)
def changed_since_compass(life: "Lifetime") -> list[Segment]:
    """From a repair, a noticed drift or a compass warning to the next calibration of the compass."""
    warned = [event for event in life.those("warned") if event.get("of") == "compass"]
    drifted = [event for event in life.those("noticed") if "drift" in event.get("findings", ())]
    return switched(life, on=[*life.those("repaired"), *warned, *drifted], off=_calibrations(life, "compass"))


@fact(
    "flown_since_compass",
    AIRCRAFT,
    FLAG,
    "It has flown since its compass was calibrated, or that never was.",
    onward=True,
)
def flown_since_compass(life: "Lifetime", since: int) -> list[Segment]:
    """From a flight to the next calibration of the compass."""
    return switched(life, on=life.those("flown"), off=_calibrations(life, "compass"), since=since)


@fact("since_updated", AIRCRAFT, SPAN, "Time since its last update; never before the first.")
def since_updated(life: "Lifetime") -> list[Segment]:
    """Rises from each update."""
    return since_last(life.those("updated"))


@fact("remote_id_failed", AIRCRAFT, FLAG, "The last check of its remote identification failed.")
def remote_id_failed(life: "Lifetime") -> list[Segment]:
    """From a confirmed with result fail to one that passed."""
    checks = life.those("confirmed")
    return switched(life, on=[e for e in checks if _failed(e)], off=[e for e in checks if not _failed(e)])


@fact("remote_id_unconfirmed", AIRCRAFT, FLAG, "It was updated or repaired since its remote identification was seen.")
def remote_id_unconfirmed(life: "Lifetime") -> list[Segment]:
    """From updated or repaired to the next confirmation."""
    good = [event for event in life.those("confirmed") if not _failed(event)]
    return switched(life, on=life.those("updated", "repaired"), off=good)


@fact("since_remote_id", AIRCRAFT, SPAN, "Time since its remote identification was seen, or since it came into use.")
def since_remote_id(life: "Lifetime") -> list[Segment]:
    """Rises from each confirmation."""
    return rising(life, [event for event in life.those("confirmed") if not _failed(event)])


def _failed(event: Event) -> bool:
    return event.get("result") == "fail"
