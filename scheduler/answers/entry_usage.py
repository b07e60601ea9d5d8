"""Show how to log a kind of event, or all kinds."""

from scheduler.events.fields import DAY, INSTANT, choices
from scheduler.events.kinds import COMMON, KINDS, Field, Kind

TYPED = tuple(f.name for f in COMMON if f.name not in ("what", "recorded_at", "via", "in_reply_to"))
"""The common fields that can be typed."""


def usage(what: str | None) -> str:
    """Return how to log a kind, or all kinds."""
    if what is None or what not in KINDS:
        width = max(map(len, KINDS))
        kinds = "\n".join(f"  {kind.what:<{width}}  {kind.meaning}" for kind in KINDS.values())
        head = "usage: shelfbell log WHAT ITEM ... [--at TIME] [--note TEXT]"
        return f"{head}\n\n{kinds}\n\n`shelfbell log WHAT --help` says more."
    kind = KINDS[what]
    lines = [f"  --{f.name:<20} {_meaning(f)}" for f in (*kind.fields, *_common(kind))]
    example = [f"for example: shelfbell log {kind.example}"] if kind.example else []
    return "\n".join([short_usage(kind), *example, "", f"{kind.what}: {kind.meaning}", *lines])


def short_usage(kind: Kind) -> str:
    """Return the line that shows which words go where."""
    words = " ".join(f.name.upper() if f.required else f"[{f.name.upper()}]" for f in kind.fields)
    return f"usage: shelfbell log {kind.what} {words}"


def _common(kind: Kind) -> list[Field]:
    own = {f.name for f in kind.fields}
    return [f for f in COMMON if f.name in TYPED and f.name not in own]


def _meaning(found: Field) -> str:
    wanted = _wanted(found)
    meaning = [found.meaning] if found.meaning else []
    chosen = "one of" in wanted or found.type in (INSTANT, DAY)
    return ": ".join([*meaning, wanted] if chosen or not meaning else meaning)


def _wanted(found: Field) -> str:
    """Return what may be typed for a field."""
    if found.type is INSTANT:
        return "a time such as 18:40, 'sat 09:00', -2h, 2026-04-01"
    if found.type is DAY:
        return "a date such as 2026-04-01, or 'today'"
    schema: dict = found.type.schema
    if choices(found.type):
        several = "one of, or several by comma:" if "items" in schema else "one of"
        return f"{several} {', '.join(choices(found.type))}"
    return "a list of at least one" if "items" in schema else str(schema.get("x-expects", "true or false"))
