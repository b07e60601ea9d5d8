"""The kinds of event, each declared once."""

from collections.abc import Callable
from typing import NamedTuple

from scheduler.events.fields import (
    DAY,
    FLAG,
    INSTANT,
    LIGHTS,
    NAME,
    PERCENT,
    VOLTS_EACH,
    Type,
    choice,
    names,
    number,
    some,
    text,
    whole,
)

FINDINGS = (
    "swollen", "leaking", "smell", "discoloured", "dented", "nicked", "cracked", "bent", "loose", "missing",
    "chafed", "corroded", "hot", "rough", "latch_worn", "noise", "twitch", "drift", "heat", "other",
)  # fmt: skip
MEANT = {
    **dict.fromkeys(("puffy", "puffed", "puffing", "bloated", "bulging", "inflated", "swelling"), "swollen"),
    "chipped": "nicked", "broken": "cracked", "scratched": "nicked", "stain": "discoloured", "wobbly": "loose",
    "warm": "hot", "rust": "corroded", "rusty": "corroded", "worn": "chafed", "lost": "missing",
}  # fmt: skip
"""What people write for a finding, and the finding that they mean."""
SEVERITIES = (
    "hard_landing", "strike", "tip_over", "collision", "crash", "water", "fly_away", "part_lost", "dropped"
)  # fmt: skip
MODES = ("carried", "driven", "airline", "freight")
AWAITED = (
    "charged", "drained", "measured", "flown", "moved", "inspected", "repaired", "calibrated", "received", "counted",
    "restocked", "renewed",
)  # fmt: skip
"""What a snooze can wait for."""
LONGEST_FLIGHT = 1440
"""Minutes: a day."""
PARTS = "propellers,gimbal,guards,filter"
THINGS = f"aircraft,pack,controller,charger,place,{PARTS}"


class Field(NamedTuple):
    """A field of a kind: its name, its type, whether it is required, its meaning."""

    name: str
    type: Type
    required: bool = False
    meaning: str = ""


class Kind(NamedTuple):
    """A kind of event.

    `subject`: the field that names what it concerns ("item", "aircraft", "job", "event", "" for none). `about`: the
    item kinds it may concern. `fields`: besides the common ones, in the order in which `log` takes them by position.
    `example`: what may be typed after `log`. `one_of`: at least one of these fields is required; `not_both`: fields
    that exclude each other. `contradiction` says what is wrong where fields must be compared, which lies beyond JSON
    Schema.
    """

    what: str
    meaning: str
    subject: str
    about: str
    fields: tuple[Field, ...] = ()
    example: str = ""
    one_of: tuple[str, ...] = ()
    not_both: tuple[str, ...] = ()
    contradiction: Callable[[dict[str, object]], str | None] | None = None


COMMON = (
    Field("at", INSTANT, True, "when it happened"),
    Field("recorded_at", INSTANT, False, "when it was recorded; set by the store when absent"),
    Field("what", NAME, True, "the kind"),
    Field("id", NAME, False, "unique; made by the store when absent"),
    Field("instead_of", NAME, False, "the id of the event whose place this one takes"),
    Field("note", text(20_000), False, "free text"),
    Field("by", NAME, False, "who logged it"),
    Field("via", NAME, False, "how it came, set by the way in: page anna, table charges.csv:12"),
    Field("in_reply_to", NAME, False, "the reference of the message that it answers, set by the way in"),
)


def _no_flight(event: dict[str, object]) -> str | None:
    if event["minutes"] > LONGEST_FLIGHT and "flights" not in event:  # type: ignore[operator]
        return f"a flight of {event['minutes']} minutes: a line that sums up several says so in flights"
    start, end = event.get("percent_from"), event.get("percent_to")
    if start is not None and end is not None and end > start:  # type: ignore[operator]
        return f"percent_to {end} is above percent_from {start}: a flight only empties a pack"
    return None


def _in_order(first: str, second: str) -> Callable[[dict[str, object]], str | None]:
    def contradiction(event: dict[str, object]) -> str | None:
        from scheduler.base.instants import parse_rfc3339

        start, end = event.get(first), event.get(second)
        if isinstance(start, str) and isinstance(end, str) and parse_rfc3339(end) <= parse_rfc3339(start):
            return f"{second} {end} is not after {first} {start}"
        return None

    return contradiction


def _item(kinds: str) -> Field:
    return Field("item", names(kinds), True, "the item concerned")


_FOUND = some(choice(*FINDINGS, meant=MEANT))
_REASON = Field("reason", text(500), False, "why")
_COUNT = Field("count", whole(0), True, "how many")
_HOW = Field("how", choice(*MODES), True, "the way it travelled")

_DECLARED = (
    Kind("charged", "a charge finished", "item", "pack,controller", (
        Field("percent", PERCENT, False, "what it was charged to, 100 when absent"),
        Field("charger", names("charger")),
        Field("temperature_c", number(-60, 150), False, "of the pack while it was charged, degrees Celsius"),
    ), example="charged A-C"),
    Kind("drained", "discharged on the ground by the charger's storage function or a load", "item", "pack", (
        Field("percent", PERCENT, True, "what it was discharged to"),
    ), example="drained A 58"),
    Kind("measured", "a reading; nothing was done", "item", "pack,aircraft,controller", (
        Field("percent", PERCENT, False, "charge shown"),
        Field("lights", LIGHTS, False, "charge lights lit"),
        Field("rest_volts", number(above=0, high=100), False, "of the whole pack at rest, volts"),
        Field("cell_volts", VOLTS_EACH, False, "of each cell at rest, volts"),
        Field("rested_minutes", number(0), False, "since the last load or charge"),
        Field("resistance_mohm", number(above=0), False, "of the whole pack, milliohm"),
        Field("capacity_mah", number(above=0), False, "found by a full charge and discharge, mAh"),
        Field("temperature_c", number(-60, 150), False, "of the pack, degrees Celsius"),
        Field("airtime_total", number(0), False, "minutes in the air, as the aircraft or pack shows it"),
        Field("cycles_total", number(0), False, "cycles, as the pack shows them"),
    ), example="measured A --rest_volts 15.2 --rested_minutes 60", one_of=(
        "percent", "lights", "rest_volts", "cell_volts", "resistance_mohm", "capacity_mah", "temperature_c",
        "airtime_total", "cycles_total",
    )),
    Kind("flown", "a flight; `at` is the landing", "aircraft", "aircraft", (
        Field("aircraft", names("aircraft"), True),
        Field("packs", some(names("pack")), True, "those that flew together"),
        Field("minutes", number(above=0, high=100_000), True, "in the air"),
        Field("percent_to", PERCENT, False, "charge left at landing"),
        Field("percent_from", PERCENT, False, "charge at take-off, the value before when absent"),
        Field("used_mah", number(0), False, "taken out in flight, mAh"),
        Field("lowest_volts", number(above=0, high=100), False, "lowest pack voltage under load"),
        Field("pilot", names("pilot")),
        Field("purpose", choice("job", "practice", "test")),
        Field("looked_before", FLAG, False, "the look before take-off was done"),
        Field("flights", whole(1), False, "this line sums up so many flights: it counts for wear only"),
    ), example="flown heron A 17.5 31", contradiction=_no_flight),
    Kind("moved", "the item travelled", "item", f"aircraft,pack,controller,charger,{PARTS}", (
        _HOW,
        Field("to", text(200), False, "where to"),
    ), example="moved heron airline"),
    Kind("travel_planned", "a journey ahead", "", "", (
        _HOW,
        Field("carries", some(names(f"aircraft,pack,controller,charger,{PARTS}")), True, "what travels"),
        Field("leaves", INSTANT, True, "when it leaves"),
    ), example='travel_planned airline heron,A,B "fri 06:30"'),
    Kind("mishap", "an aircraft's mishap, or a dropped pack", "item", "aircraft,pack", (
        Field("severity", choice(*SEVERITIES), True),
        Field("packs", some(names("pack")), False, "the packs concerned, when they are not those of the flight"),
        Field("injury", choice("none", "minor", "unconscious", "serious", "fatal")),
        Field("others_repair_cost", number(0), False, "to put right what belongs to others, in the law's currency"),
        Field("others_value", number(0), False, "what that was worth, in the law's currency"),
    ), example="mishap heron hard_landing"),
    Kind("reported", "a mishap was reported to the authority, or its cause found and put right", "item", "aircraft", (
        Field("what_of", choice("report", "analysis"), False, "report when absent"),
        Field("to", text(200), False, "to whom"),
    ), example="reported heron"),
    Kind("noticed", "something seen, heard or felt", "item", THINGS, (
        Field("findings", _FOUND, True),
    ), example="noticed A swollen,hot"),
    Kind("warned", "a warning shown in flight or on the ground", "item", "aircraft,pack", (
        Field("of", choice("battery", "motor", "compass", "gimbal", "vibration", "link"), True),
    ), example="warned heron battery"),
    Kind("inspected", "a thorough look", "item", THINGS, (
        Field("result", choice("pass", "doubtful", "fail"), True, "doubtful grounds like fail"),
        Field("findings", _FOUND),
    ), example="inspected heron-props pass"),
    Kind("set_aside", "out of use and kept apart", "item", "pack", (_REASON,), example="set_aside A swollen"),
    Kind("handed_in", "brought to a disposal site", "item", "pack", (_REASON,), example="handed_in A"),
    Kind("repaired", "put right; a test flight is due", "item", THINGS, (
        Field("what_of", text(80), False, "the part that was repaired"),
    ), example="repaired heron arm"),
    Kind("calibrated", "of an aircraft", "item", "aircraft", (
        Field("what_of", choice("imu", "compass", "gimbal", "sensors"), True),
    ), example="calibrated heron compass"),
    Kind("confirmed", "seen to work", "item", "aircraft", (
        Field("what_of", choice("remote_id"), True),
        Field("result", choice("pass", "fail"), False, "pass when absent"),
    ), example="confirmed heron remote_id"),
    Kind("updated", "firmware", "item", "aircraft,controller,pack,gimbal", (Field("version", text(80), True),),
         example="updated heron 2.4.1"),
    Kind("fitted", "a part put on", "item", PARTS, (Field("aircraft", names("aircraft"), True),),
         example="fitted heron-props heron"),
    Kind("removed", "a part taken off", "item", PARTS, (Field("aircraft", names("aircraft")),),
         example="removed heron-props"),
    Kind("replaced", "a new part of the same kind under the same id", "item", THINGS, (
        Field("from_spares", names("spares"), False, "the spares it came from"),
    ), example="replaced heron-props heron-spare-props"),
    Kind("received", "a new or returned item arrived", "item", THINGS, (
        Field("how", choice(*MODES), False, "the way it travelled"),
    ), example="received A freight"),
    Kind("retired", "out of service for good", "item", f"pilot,paper,spares,{THINGS}", (_REASON,),
         example="retired A --note 'worn out'"),
    Kind("counted", "spares counted", "item", "spares", (_COUNT,), example="counted heron-spare-props 4"),
    Kind("used", "spares taken", "item", "spares", (_COUNT,), example="used heron-spare-props 1"),
    Kind("restocked", "spares added", "item", "spares", (_COUNT,), example="restocked heron-spare-props 2"),
    Kind("renewed", "a paper: certificate, registration, insurance, waiver", "item", "paper", (
        Field("expires", DAY, False, "its last good day"),
        Field("issued", DAY, False, "the day it was issued or passed"),
    ), example="renewed insurance --expires 2027-06-30", not_both=("expires", "issued")),
    Kind("booked", "a job; the same name again replaces it", "job", "job", (
        Field("job", NAME, True),
        Field("starts", INSTANT, True),
        Field("airtime_minutes", number(above=0), False, "expected in the air"),
        Field("ends", INSTANT),
        Field("aircraft", names("aircraft")),
        Field("near_people", FLAG),
    ), example='booked vineyard "sat 09:00" 45', contradiction=_in_order("starts", "ends")),
    Kind("cancelled", "a job taken back", "job", "job", (Field("job", NAME, True),), example="cancelled vineyard"),
    Kind("seen", "the operator has seen the reminder", "item", "*", (
        Field("rule", NAME, True),
        Field("until", INSTANT, False, "when repeats go on; never when absent"),
    ), example="seen A pack-left-full"),
    Kind("snoozed", "quiet until then", "item", "*", (
        Field("rule", NAME, True),
        Field("until", INSTANT, False, "24 h from `at` when absent"),
        Field("until_next", choice(*AWAITED), False, "or until the next of that kind on the item"),
    ), example='snoozed A pack-left-full "tomorrow 09:00"'),
    Kind("away", "only `now` rings; a summary on return", "", "", (
        Field("from", INSTANT, True),
        Field("to", INSTANT, True),
    ), example="away fri mon", contradiction=_in_order("from", "to")),
    Kind("struck", "an event taken back for all time", "event", "", (
        Field("event", NAME, True, "the id of the event taken back"),
    ), example="struck EVENT-ID", not_both=("event", "instead_of")),
)  # fmt: skip


def _with_item(kind: Kind) -> Kind:
    return kind._replace(fields=(_item(kind.about), *kind.fields)) if kind.subject == "item" else kind


KINDS: dict[str, Kind] = {kind.what: _with_item(kind) for kind in _DECLARED}


def field(kind: Kind, name: str) -> Field | None:
    """Return the field of that name, common ones included."""
    return next((found for found in (*kind.fields, *COMMON) if found.name == name), None)
