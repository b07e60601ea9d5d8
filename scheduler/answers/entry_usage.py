"""How a kind of event is logged, or all kinds."""

from scheduler.events.fields import DAY, INSTANT
from scheduler.events.kinds import COMMON, KINDS, Field, Kind

_EXAMPLES = {
    "charged": "charged A-C", "drained": "drained A 58",
    "measured": "measured A --rest_volts 15.2 --rested_minutes 60", "flown": "flown heron A 17.5 31",
    "moved": "moved heron airline", "noticed": "noticed A swollen,hot",
    "travel_planned": 'travel_planned airline heron,A,B "fri 06:30"', "mishap": "mishap heron hard_landing",
    "reported": "reported heron", "warned": "warned heron battery", "inspected": "inspected heron-props pass",
    "set_aside": "set_aside A swollen", "handed_in": "handed_in A", "repaired": "repaired heron arm",
    "calibrated": "calibrated heron compass", "confirmed": "confirmed heron remote_id",
    "updated": "updated heron 2.4.1", "fitted": "fitted heron-props heron", "removed": "removed heron-props",
    "replaced": "replaced heron-props heron-spare-props", "received": "received A freight",
    "retired": "retired A --note 'worn out'", "counted": "counted heron-spare-props 4",
    "used": "used heron-spare-props 1", "restocked": "restocked heron-spare-props 2",
    "renewed": "renewed insurance --expires 2027-06-30", "booked": 'booked vineyard "sat 09:00" 45',
    "cancelled": "cancelled vineyard", "seen": "seen A pack-left-full",
    "snoozed": 'snoozed A pack-left-full "tomorrow 09:00"', "away": "away fri mon",
    "struck": "struck EVENT-ID",
}  # fmt: skip
TYPED = tuple(f.name for f in COMMON if f.name not in ("what", "recorded_at"))
"""The common fields that can be typed."""


def usage(what: str | None) -> str:
    """How a kind is logged, or all kinds."""
    if what is None or what not in KINDS:
        width = max(map(len, KINDS))
        kinds = "\n".join(f"  {kind.what:<{width}}  {kind.meaning}" for kind in KINDS.values())
        head = "usage: shelfbell log WHAT ITEM ... [--at TIME] [--note TEXT]"
        return f"{head}\n\n{kinds}\n\n`shelfbell log WHAT --help` says more."
    kind = KINDS[what]
    lines = [f"  --{f.name:<20} {_meaning(f)}" for f in (*kind.fields, *_common(kind))]
    example = f"for example: shelfbell log {_EXAMPLES[what]}"
    return "\n".join([short_usage(kind), example, "", f"{kind.what}: {kind.meaning}", *lines])


def short_usage(kind: Kind) -> str:
    """The line that shows which words go where."""
    words = " ".join(f.name.upper() if f.required else f"[{f.name.upper()}]" for f in kind.fields)
    return f"usage: shelfbell log {kind.what} {words}"


def _common(kind: Kind) -> list[Field]:
    own = {f.name for f in kind.fields}
    return [f for f in COMMON if f.name in TYPED and f.name not in own]


def _meaning(found: Field) -> str:
    wanted = _wanted(found)
    told = [found.meaning] if found.meaning else []
    chosen = "one of" in wanted or found.type in (INSTANT, DAY)
    return ": ".join([*told, wanted] if chosen or not told else told)


def _wanted(found: Field) -> str:
    """What may be typed for a field."""
    if found.type is INSTANT:
        return "a time such as 18:40, 'sat 09:00', -2h, 2026-04-01"
    if found.type is DAY:
        return "a date such as 2026-04-01, or 'today'"
    choice = found.type.check([()]) or "" if found.type.schema.get("type") == "array" else found.type.check(()) or ""
    return choice.replace("a list, each one of", "one of, or several by comma:")
