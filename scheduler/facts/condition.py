"""Facts of condition: what grounds an item, and which checks it still lacks."""

from scheduler.base.instants import MIN_INSTANT
from scheduler.base.units import FLAG, SPAN, word
from scheduler.events.event import Event
from scheduler.events.kinds import FINDINGS
from scheduler.facts.aircraft import BLADE_FAULTS, CALIBRATED
from scheduler.facts.declare import AIRCRAFT, FLOWN, PACK, PHYSICAL, fact
from scheduler.facts.event_times import begins_at
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.pack import STOP_SIGNS
from scheduler.facts.shapes import Turns, flags, latched, passed_looks, rising, since_last, stepped, switched
from scheduler.facts.timeline import Segment

TOUCHES = ("strike", "collision", "crash", "tip_over", "part_lost")
"""Mishaps in which a turning blade is assumed to have touched something."""
MISALIGNS = ("hard_landing", *TOUCHES)
"""Mishaps after which sensors are not trusted to find level. Common practice, no source."""
HUM = frozenset(("noise", "rough", "heat", "hot", "drift"))
"""The first signs of a failing motor or bearing."""
CONNECTION = frozenset(("latch_worn", "loose", "corroded", "bent"))
"""Faults of a latch or a contact that can part a pack from the aircraft in flight."""
GROUNDING_FACTS: dict[str, dict[str, str]] = {
    "aircraft": {
        "mishap_since_inspected": "not looked at since its mishap",
        "water_open": "was in water",
        "found_unfit": "found unfit and not put right",
        "warning_open": "gave a warning and has not been looked at since",
        "noise_open": "ran oddly and has not been looked at since",
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
        "too_deep": "was below its damage voltage",
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
"""The facts that ground an item of a kind, each with its reason in words (14 CFR 107.15: no flight in a condition that
is known to be unsafe)."""

COVERED_FINDINGS: dict[str, frozenset[str]] = {
    "aircraft": HUM,
    "pack": STOP_SIGNS | CONNECTION | {"dented"},
    "propellers": BLADE_FAULTS,
    "gimbal": frozenset(FINDINGS),
}
"""Findings that have a fact of their own, by kind of item. Any other finding makes the item unfit."""


@fact("found_unfit", PHYSICAL, FLAG,
      "It failed a look, or a finding left a doubt, and it has not passed a look or been repaired since.")  # fmt: skip
def found_unfit(lifetime: Lifetime) -> list[Segment]:
    """Return yes from a failed or doubtful look, or a finding, to a pass or a repair."""
    covered = COVERED_FINDINGS.get(lifetime.item.kind, frozenset())
    bad = [event for event in lifetime.of_kind("inspected") if event.get("result") != "pass"]
    noticed = [event for event in lifetime.of_kind("noticed") if not covered.issuperset(event.get("findings", ()))]
    return switched(lifetime, on=[*bad, *noticed], off=[*passed_looks(lifetime), *lifetime.of_kind("repaired")])


def facts_barring_use(kind: str) -> dict[str, str]:
    """Return the facts that can bar a kind of item from use, and the values that do."""
    return {"usable": "no", "grounded": "yes", "past_mending": "yes"} | dict.fromkeys(
        GROUNDING_FACTS.get(kind, ()), "yes"
    )


@fact("grounded", tuple(GROUNDING_FACTS), FLAG, "Something that was found or that happened grounds it.")
def grounded(lifetime: Lifetime) -> list[Segment]:
    """Return yes where any of GROUNDING_FACTS is yes; take the evidence of the first."""
    grounding = [lifetime.fact(name) for name in GROUNDING_FACTS[lifetime.item.kind]]
    turns = sorted({s.start for timeline in grounding for s in timeline.segments if s.value or s.evidence})
    result: Turns = []
    for turn in turns:
        first = next((s for timeline in grounding for s in [timeline.segment(turn)] if s.value == "yes"), None)
        result.append((turn, first is not None, first.evidence if first else None))
    return flags(result)


def reason_grounded(lifetime: Lifetime, instant: int) -> str:
    """Return the first reason why an item is grounded, in words; "" if it is not."""
    reasons = GROUNDING_FACTS.get(lifetime.item.kind, {})
    return next((text for name, text in reasons.items() if lifetime.fact(name).at(instant) == "yes"), "")


@fact("on_record", PHYSICAL, FLAG, "At least one event of it has been logged.")
def on_record(lifetime: Lifetime) -> list[Segment]:
    """Return yes from its first event on."""
    return latched(lifetime.all_events)


@fact("since_mishap", FLOWN, SPAN, "Time since its last mishap; never before the first.")
def since_mishap(lifetime: Lifetime) -> list[Segment]:
    """Rise from each mishap."""
    return since_last(lifetime.of_kind("mishap"))


@fact("since_flown", ("aircraft", "pack"), SPAN, "Time since its last landing; never before the first.", partial=True)
def since_flown(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Rise from each landing."""
    return since_last(lifetime.of_kind("flown"), starting_at)


@fact("handed_in", PACK, FLAG, "It has been brought to a disposal site.")
def handed_in(lifetime: Lifetime) -> list[Segment]:
    """Return yes from handed_in on."""
    return latched(lifetime.of_kind("handed_in"))


@fact("water_open", AIRCRAFT, FLAG, "It was in water and has not passed a look since.")
def water_open(lifetime: Lifetime) -> list[Segment]:
    """Return yes from a mishap of severity water to a look that passed."""
    in_water = [event for event in lifetime.of_kind("mishap") if event.get("severity") == "water"]
    return switched(lifetime, on=in_water, off=passed_looks(lifetime))


@fact("struck", ("propellers",), FLAG,
      "The blades touched something while turning and have not been replaced or passed a look since.")  # fmt: skip
def struck(lifetime: Lifetime) -> list[Segment]:
    """Return yes from a mishap in TOUCHES to a pass, where the manual allows that."""
    touched = [event for event in lifetime.of_kind("mishap") if event.get("severity") in TOUCHES]
    return switched(lifetime, on=touched, off=passed_looks(lifetime))


@fact("used_set_aside", PACK, FLAG,
      "It was charged or flown although set aside, and has not been set aside again or passed a look since.",
      partial=True)  # fmt: skip
def used_set_aside(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes from a charge or flight that began after set_aside or handed_in."""
    aside = [(segment.start, end) for segment, end in lifetime.fact("set_aside") if segment.value == "yes"]
    uses = lifetime.of_kind("charged", "flown")
    wrong = [event for start, end in aside for event in uses if start < begins_at(event) <= end]
    off = [*lifetime.of_kind("set_aside", "handed_in"), *passed_looks(lifetime)]
    return switched(lifetime, on=wrong, off=off, starting_at=starting_at)


@fact("contact_fault", PACK, FLAG,
      "A worn latch or a loose, bent or corroded contact was found and has not been put right since.")  # fmt: skip
def contact_fault(lifetime: Lifetime) -> list[Segment]:
    """Return yes from such a finding to a repair or a pass without one."""
    faults = [e for e in lifetime.of_kind("inspected", "noticed") if CONNECTION & set(e.get("findings", ()))]
    clean = [event for event in passed_looks(lifetime) if event not in faults]
    return switched(lifetime, on=faults, off=[*clean, *lifetime.of_kind("repaired")])


@fact("noise_open", AIRCRAFT, FLAG,
      "Noise, heat, roughness or drift was noticed; it has not passed a look or been repaired since.")  # fmt: skip
def noise_open(lifetime: Lifetime) -> list[Segment]:
    """Return yes from noticed to a look that passed or a repair."""
    noticed = [event for event in lifetime.of_kind("noticed") if HUM & set(event.get("findings", ()))]
    return switched(lifetime, on=noticed, off=[*passed_looks(lifetime), *lifetime.of_kind("repaired")])


@fact("twitch_open", ("gimbal",), FLAG,
      "It was noticed to twitch, drift or knock; it has not passed a look or been repaired since.")  # fmt: skip
def twitch_open(lifetime: Lifetime) -> list[Segment]:
    """Return yes from any finding noticed to a look that passed or a repair."""
    off = [*passed_looks(lifetime), *lifetime.of_kind("repaired")]
    return switched(lifetime, on=lifetime.of_kind("noticed"), off=off)


@fact("first_flight_unchecked", ("propellers",), FLAG,
      "They have flown for the first time since they were put on, and have not been inspected after it.")  # fmt: skip
def first_flight_unchecked(lifetime: Lifetime) -> list[Segment]:
    """Return yes from the first landing after fitted or replaced to the next look."""
    new = lifetime.start != MIN_INSTANT
    landings = []
    for event in lifetime.of_kind("fitted", "flown"):
        if event.what == "flown" and new:
            landings.append(event)
        new = event.what == "fitted"
    return switched(lifetime, on=landings, off=lifetime.of_kind("inspected"))


@fact("flight_due_after_mishap", AIRCRAFT, FLAG,
      "It passed a look after a mishap and has made no practice or test flight since.")  # fmt: skip
def flight_due_after_mishap(lifetime: Lifetime) -> list[Segment]:
    """Return yes from the pass after a mishap to the next flight not for a job."""
    passed, mishap = [], False
    for event in lifetime.of_kind("mishap", "inspected"):
        if event.what == "inspected" and event.get("result") == "pass" and mishap:
            passed.append(event)
        mishap = event.what == "mishap" or (mishap and event.get("result") != "pass")
    tried = [event for event in lifetime.of_kind("flown") if event.get("purpose") in ("test", "practice")]
    return switched(lifetime, on=passed, off=tried)


@fact("mishap_since_calibrated", AIRCRAFT, FLAG, "It landed hard or hit something and has not been calibrated since.",
      of=("imu", "compass", "gimbal", "sensors"))  # fmt: skip
def mishap_since_calibrated(lifetime: Lifetime, of: str) -> list[Segment]:
    """Return yes from such a mishap to the next calibration."""
    knocks = [event for event in lifetime.of_kind("mishap") if event.get("severity") in MISALIGNS]
    return switched(lifetime, on=knocks, off=_calibrations(lifetime, of))


SHAKEN = ("nothing shook it", "it was shipped", "it flew by airline", "it landed hard", "it hit something")


@fact("shaken_since_calibrated", AIRCRAFT, word(*SHAKEN), "What last shook its sensors since they were calibrated.",
      of=CALIBRATED)  # fmt: skip
def shaken_since_calibrated(lifetime: Lifetime, of: str) -> list[Segment]:
    """Return yes from a freight or airline journey, or a knock, to a calibration."""
    done = _calibrations(lifetime, of)
    events = lifetime.of_kind("mishap", "moved", "received", "calibrated")
    shaken = stepped((e, SHAKEN[0] if e in done else _shaken(e)) for e in events if e in done or _shaken(e))
    return [Segment(MIN_INSTANT, SHAKEN[0]), *shaken]


def _shaken(event: Event) -> str:
    """Return the word of SHAKEN for an event; "" if it shakes nothing."""
    if event.get("severity") in MISALIGNS:
        return SHAKEN[3] if event.get("severity") == "hard_landing" else SHAKEN[4]
    return {"freight": SHAKEN[1], "airline": SHAKEN[2]}.get(str(event.get("how")), "")


def _calibrations(lifetime: Lifetime, of: str) -> list[Event]:
    return [event for event in lifetime.of_kind("calibrated") if event.get("what_of") == of]


COMPASS = word("on change", "each flight", "after a journey")


@fact("compass", AIRCRAFT, COMPASS, "When its nameplate asks for a compass calibration.")
def compass(lifetime: Lifetime) -> list[Segment]:
    """Read the nameplate."""
    return [Segment(MIN_INSTANT, str(lifetime.item.plate["compass"]))]


@fact("changed_since_compass", AIRCRAFT, FLAG,
      "It was repaired, drifted or warned of its compass, and the compass has not been calibrated since.")  # fmt: skip
def changed_since_compass(lifetime: Lifetime) -> list[Segment]:
    """Return yes from a repair, drift or compass warning to a compass calibration."""
    warned = [event for event in lifetime.of_kind("warned") if event.get("of") == "compass"]
    drifted = [event for event in lifetime.of_kind("noticed") if "drift" in event.get("findings", ())]
    changes = [*lifetime.of_kind("repaired"), *warned, *drifted]
    return switched(lifetime, on=changes, off=_calibrations(lifetime, "compass"))


@fact("flown_since_compass", AIRCRAFT, FLAG, "It has flown, and its compass has not been calibrated since.",
      partial=True)  # fmt: skip
def flown_since_compass(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes from a flight to the next calibration of the compass."""
    done = _calibrations(lifetime, "compass")
    return switched(lifetime, on=lifetime.of_kind("flown"), off=done, starting_at=starting_at)


@fact("since_updated", AIRCRAFT, SPAN, "Time since its last firmware update; never before the first.")
def since_updated(lifetime: Lifetime) -> list[Segment]:
    """Rise from each update."""
    return since_last(lifetime.of_kind("updated"))


@fact("remote_id_failed", AIRCRAFT, FLAG, "The last check of its remote identification failed.")
def remote_id_failed(lifetime: Lifetime) -> list[Segment]:
    """Return yes from a confirmed with result fail to one that passed."""
    checks = lifetime.of_kind("confirmed")
    return switched(lifetime, on=[e for e in checks if _failed(e)], off=[e for e in checks if not _failed(e)])


@fact("remote_id_unconfirmed", AIRCRAFT, FLAG,
      "It was updated or repaired, and its remote identification has not been confirmed since.")  # fmt: skip
def remote_id_unconfirmed(lifetime: Lifetime) -> list[Segment]:
    """Return yes from updated or repaired to the next confirmation."""
    good = [event for event in lifetime.of_kind("confirmed") if not _failed(event)]
    return switched(lifetime, on=lifetime.of_kind("updated", "repaired"), off=good)


@fact("since_remote_id", AIRCRAFT, SPAN,
      "Time since its remote identification was last confirmed, or since it came into use.")  # fmt: skip
def since_remote_id(lifetime: Lifetime) -> list[Segment]:
    """Rise from each confirmation that passed."""
    return rising(lifetime, [event for event in lifetime.of_kind("confirmed") if not _failed(event)])


def _failed(event: Event) -> bool:
    return event.get("result") == "fail"
