"""Facts of condition: what keeps an item on the ground, and what was not yet looked at, confirmed or flown."""

from typing import TYPE_CHECKING

from scheduler.base.instants import MIN_INSTANT
from scheduler.base.units import FLAG, SPAN, word
from scheduler.events.event import Event
from scheduler.events.kinds import FINDINGS
from scheduler.facts.aircraft import AIRCRAFT, BLADE_FAULTS, CALIBRATED
from scheduler.facts.declare import FLOWN, PHYSICAL, fact
from scheduler.facts.event_times import begins_at
from scheduler.facts.pack import PACK, STOP_SIGNS
from scheduler.facts.shapes import flags, latched, passes, rising, since_last, switched
from scheduler.facts.timeline import Segment, Trail

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
def found_unfit(lifetime: "Lifetime") -> list[Segment]:
    """From a look with result fail or doubtful, or what was noticed in passing, to a pass or a repair."""
    answered = ANSWERED.get(lifetime.item.kind, frozenset())
    bad = [event for event in lifetime.of_kind("inspected") if event.get("result") != "pass"]
    noticed = [event for event in lifetime.of_kind("noticed") if not answered.issuperset(event.get("findings", ()))]
    return switched(lifetime, on=[*bad, *noticed], off=[*passes(lifetime), *lifetime.of_kind("repaired")])


def bars(kind: str) -> dict[str, str]:
    """The facts that keep an item of a kind from use, each with its value where it does."""
    return {"usable": "no", "grounded": "yes", "past_mending": "yes"} | dict.fromkeys(GROUNDS.get(kind, ()), "yes")


@fact("grounded", tuple(GROUNDS), FLAG, "Something that was found or happened keeps it on the ground.")
def grounded(lifetime: "Lifetime") -> list[Segment]:
    """Yes where any of the facts in GROUNDS is known to be."""
    grounds = [lifetime.fact(name) for name in GROUNDS[lifetime.item.kind]]
    turns = sorted(
        {segment.start for ground in grounds for segment in ground.segments if segment.value or segment.trail}
    )
    triples: list[tuple[int, bool | None, Trail]] = []
    for turn in turns:
        holding = next((p for ground in grounds for p in [ground.segment(turn)] if p.value == "yes"), None)
        triples.append((turn, holding is not None, holding.trail if holding else None))
    return flags(triples).segments


def why_grounded(lifetime: "Lifetime", instant: int) -> str:
    """The first ground at an instant, in words; "" where there is none."""
    words = GROUNDS.get(lifetime.item.kind, {})
    return next((text for name, text in words.items() if lifetime.fact(name).at(instant) == "yes"), "")


@fact("on_record", PHYSICAL, FLAG, "Something was logged of it.")
def on_record(lifetime: "Lifetime") -> list[Segment]:
    """From its first entry on."""
    first = [(event.at, True, (event, None)) for event in lifetime.all_events[:1]]
    return flags([(MIN_INSTANT, False, None), *first]).segments


@fact("since_mishap", FLOWN, SPAN, "Time since its last mishap; never before the first.")
def since_mishap(lifetime: "Lifetime") -> list[Segment]:
    """Rises from each mishap."""
    return since_last(lifetime.of_kind("mishap"))


@fact("since_flown", ("aircraft", "pack"), SPAN, "Time since its last landing; never before the first.", partial=True)
def since_flown(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """Rises from each landing."""
    return since_last(lifetime.of_kind("flown"), starting_at)


@fact("handed_in", PACK, FLAG, "It was brought to a disposal site.")
def handed_in(lifetime: "Lifetime") -> list[Segment]:
    """From handed_in on."""
    return latched(lifetime.of_kind("handed_in"))


@fact("water_open", AIRCRAFT, FLAG, "It was in water, and no look passed since.")
def water_open(lifetime: "Lifetime") -> list[Segment]:
    """From a mishap of severity water to a look that passed."""
    return switched(
        lifetime, on=[e for e in lifetime.of_kind("mishap") if e.get("severity") == "water"], off=passes(lifetime)
    )


@fact("struck", ("propellers",), FLAG, "They touched something while turning; neither renewed nor passed since.")
def struck(lifetime: "Lifetime") -> list[Segment]:
    """From such a mishap to a look that passed, where the maker's manual is content with one."""
    return switched(
        lifetime, on=[e for e in lifetime.of_kind("mishap") if e.get("severity") in TOUCHES], off=passes(lifetime)
    )


@fact(
    "used_set_aside",
    PACK,
    FLAG,
    "It was charged or flown though set aside, and neither set aside anew nor passed since.",
    partial=True,
)
def used_set_aside(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """From a charge or flight begun after it was set aside or handed in."""
    aside = [(segment.start, end) for segment, end in lifetime.fact("set_aside") if segment.value == "yes"]
    uses = lifetime.of_kind("charged", "flown")
    used = [event for start, end in aside for event in uses if start < begins_at(event) <= end]
    return switched(
        lifetime, on=used, off=[*lifetime.of_kind("set_aside", "handed_in"), *passes(lifetime)], starting_at=starting_at
    )


@fact("contact_fault", PACK, FLAG, "A worn latch or a loose, bent or corroded contact was found, not put right since.")
def contact_fault(lifetime: "Lifetime") -> list[Segment]:
    """From such a finding to a repair or a pass without it."""
    found = [e for e in lifetime.of_kind("inspected", "noticed") if CONNECTION & set(e.get("findings", ()))]
    clean = [event for event in passes(lifetime) if event not in found]
    return switched(lifetime, on=found, off=[*clean, *lifetime.of_kind("repaired")])


@fact("noise_open", AIRCRAFT, FLAG, "An odd noise, heat, roughness or drift was noticed, and no look passed since.")
def noise_open(lifetime: "Lifetime") -> list[Segment]:
    """From noticed to a look that passed or a repair."""
    found = [event for event in lifetime.of_kind("noticed") if HUM & set(event.get("findings", ()))]
    return switched(lifetime, on=found, off=[*passes(lifetime), *lifetime.of_kind("repaired")])


@fact("twitch_open", ("gimbal",), FLAG, "It was noticed to twitch, drift or knock, and no look passed since.")
def twitch_open(lifetime: "Lifetime") -> list[Segment]:
    """From anything noticed of it to a look that passed or a repair."""
    return switched(lifetime, on=lifetime.of_kind("noticed"), off=[*passes(lifetime), *lifetime.of_kind("repaired")])


@fact("first_flight_unchecked", ("propellers",), FLAG, "They flew once put on, and were not looked at after it.")
def first_flight_unchecked(lifetime: "Lifetime") -> list[Segment]:
    """From the first landing after fitted or replaced to the next look."""
    fresh = lifetime.start != MIN_INSTANT
    landings = []
    for event in lifetime.of_kind("fitted", "flown"):
        if event.what == "flown" and fresh:
            landings.append(event)
        fresh = event.what == "fitted"
    return switched(lifetime, on=landings, off=lifetime.of_kind("inspected"))


@fact(
    "flight_due_after_mishap", AIRCRAFT, FLAG, "It was passed after a mishap, and flew for no practice or test since."
)
def flight_due_after_mishap(lifetime: "Lifetime") -> list[Segment]:
    """From the look that passed it after a mishap to the next flight that is not for a job."""
    back, mishap = [], False
    for event in lifetime.of_kind("mishap", "inspected"):
        if event.what == "inspected" and event.get("result") == "pass" and mishap:
            back.append(event)
        mishap = event.what == "mishap" or (mishap and event.get("result") != "pass")
    tried = [event for event in lifetime.of_kind("flown") if event.get("purpose") in ("test", "practice")]
    return switched(lifetime, on=back, off=tried)


@fact("mishap_since_calibrated", AIRCRAFT, FLAG, "It landed hard or hit something since it was calibrated.",
      of=("imu", "compass", "gimbal", "sensors"))  # fmt: skip
def mishap_since_calibrated(lifetime: "Lifetime", of: str) -> list[Segment]:
    """From such a mishap to the next calibration."""
    knocks = [event for event in lifetime.of_kind("mishap") if event.get("severity") in MISALIGNS]
    return switched(lifetime, on=knocks, off=_calibrations(lifetime, of))


SHAKEN = ("nothing shook it", "it was shipped", "it flew by airline", "it landed hard", "it hit something")


@fact("shaken_since_calibrated", AIRCRAFT, word(*SHAKEN), "What shook its sensors last since they were calibrated.",
      of=CALIBRATED)  # fmt: skip
def shaken_since_calibrated(lifetime: "Lifetime", of: str) -> list[Segment]:
    """Set by a journey by freight or airline and by a knock, taken back by the next calibration."""
    done = _calibrations(lifetime, of)
    segments = [Segment(MIN_INSTANT, SHAKEN[0])]
    for event in lifetime.of_kind("mishap", "moved", "received", "calibrated"):
        if event in done:
            segments.append(Segment(event.at, SHAKEN[0], None, (event, None)))
        elif shaken := _shaken(event):
            segments.append(Segment(event.at, shaken, None, (event, None)))
    return segments


def _shaken(event: Event) -> str:
    """The word of SHAKEN for an event; "" where it shakes nothing."""
    if event.get("severity") in MISALIGNS:
        return SHAKEN[3] if event.get("severity") == "hard_landing" else SHAKEN[4]
    return {"freight": SHAKEN[1], "airline": SHAKEN[2]}.get(str(event.get("how")), "")


def _calibrations(lifetime: "Lifetime", of: str) -> list[Event]:
    return [event for event in lifetime.of_kind("calibrated") if event.get("what_of") == of]


COMPASS = word("on change", "each flight", "after a journey")


@fact("compass", AIRCRAFT, COMPASS, "When its compass is calibrated, as the nameplate says.")
def compass(lifetime: "Lifetime") -> list[Segment]:
    """The nameplate's word."""
    return [Segment(MIN_INSTANT, str(lifetime.item.plate["compass"]))]


@fact(
    "changed_since_compass", AIRCRAFT, FLAG, "It was repaired, drifted or warned of its compass since its calibration."
)
def changed_since_compass(lifetime: "Lifetime") -> list[Segment]:
    """From a repair, a noticed drift or a compass warning to the next calibration of the compass."""
    warned = [event for event in lifetime.of_kind("warned") if event.get("of") == "compass"]
    drifted = [event for event in lifetime.of_kind("noticed") if "drift" in event.get("findings", ())]
    return switched(
        lifetime, on=[*lifetime.of_kind("repaired"), *warned, *drifted], off=_calibrations(lifetime, "compass")
    )


@fact(
    "flown_since_compass",
    AIRCRAFT,
    FLAG,
    "It has flown since its compass was calibrated, or that never was.",
    partial=True,
)
def flown_since_compass(lifetime: "Lifetime", starting_at: int) -> list[Segment]:
    """From a flight to the next calibration of the compass."""
    return switched(
        lifetime, on=lifetime.of_kind("flown"), off=_calibrations(lifetime, "compass"), starting_at=starting_at
    )


@fact("since_updated", AIRCRAFT, SPAN, "Time since its last update; never before the first.")
def since_updated(lifetime: "Lifetime") -> list[Segment]:
    """Rises from each update."""
    return since_last(lifetime.of_kind("updated"))


@fact("remote_id_failed", AIRCRAFT, FLAG, "The last check of its remote identification failed.")
def remote_id_failed(lifetime: "Lifetime") -> list[Segment]:
    """From a confirmed with result fail to one that passed."""
    checks = lifetime.of_kind("confirmed")
    return switched(lifetime, on=[e for e in checks if _failed(e)], off=[e for e in checks if not _failed(e)])


@fact("remote_id_unconfirmed", AIRCRAFT, FLAG, "It was updated or repaired since its remote identification was seen.")
def remote_id_unconfirmed(lifetime: "Lifetime") -> list[Segment]:
    """From updated or repaired to the next confirmation."""
    good = [event for event in lifetime.of_kind("confirmed") if not _failed(event)]
    return switched(lifetime, on=lifetime.of_kind("updated", "repaired"), off=good)


@fact("since_remote_id", AIRCRAFT, SPAN, "Time since its remote identification was seen, or since it came into use.")
def since_remote_id(lifetime: "Lifetime") -> list[Segment]:
    """Rises from each confirmation."""
    return rising(lifetime, [event for event in lifetime.of_kind("confirmed") if not _failed(event)])


def _failed(event: Event) -> bool:
    return event.get("result") == "fail"
