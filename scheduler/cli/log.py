"""`shelfbell log WHAT ITEM ...`: one event in one line, and an answer."""

from scheduler.cli.answer import answer
from scheduler.cli.common import clock
from scheduler.events.fields import DAY, INSTANT
from scheduler.events.kinds import COMMON, KINDS, Field, Kind, field
from scheduler.events.taking import take, to_line
from scheduler.findings import Refused, did_you_mean
from scheduler.home import Home, Setup
from scheduler.instants import local_date, rfc3339
from scheduler.items import expand
from scheduler.spoken import parse_time

_TYPED = tuple(f.name for f in COMMON if f.name not in ("what", "recorded_at"))
_AHEAD = ("starts", "ends", "leaves", "until", "to")


def run_words(home: Home, words: list[str]) -> int:
    """Log what the words say and print what follows from it."""
    if not words or words[0] in ("-h", "--help"):
        print(usage(words[1] if len(words) > 1 else None))
        return 0
    kind = _kind(words[0])
    if words[1:2] in (["--help"], ["-h"]):
        print(usage(kind.what))
        return 0
    setup, now = home.setup(), clock()
    events = typed_events(kind, words[1:], setup, now)
    if kind.what in ("seen", "snoozed"):
        _require_open(home, setup, events, now)
    lines = [(0, to_line(event)) for event in events]
    taken = take(home.log, lines, setup.fleet, now)
    _poke(home)
    if not taken.ids:
        print("That is logged already.")
        return 0
    print(answer(home, setup, taken.ids, now))
    return 0


def _require_open(home: Home, setup: Setup, events: list[dict[str, object]], now: int) -> None:
    from scheduler.cli.common import Desk
    from scheduler.cli.seen import require_open

    for event in events:
        require_open(Desk(home, setup, now), str(event.get("rule")), str(event.get("item")))


def _kind(word: str) -> Kind:
    if word not in KINDS:
        raise Refused.because(f"there is no kind of event {word!r}{did_you_mean(word, KINDS)}; `shelfbell log --help` lists them")
    return KINDS[word]


def typed_events(kind: Kind, words: list[str], setup: Setup, now: int) -> list[dict[str, object]]:
    """The events that typed words mean: one for each item where several are given. Raises Refused."""
    values = _typed_values(kind, words)
    event: dict[str, object] = {"at": rfc3339(_at(values, setup, now), setup.hours.zone), "what": kind.what}
    for name, text in values.items():
        if name != "at":
            event[name] = _read(_field(kind, name), text, setup, now)
    subjects = event.get("item") if kind.subject == "item" else None
    if isinstance(subjects, str) and field(kind, "item").type.names != "*":  # type: ignore[union-attr]
        return [event | {"item": item} for item in expand(subjects, setup.fleet)]
    return [event]


def _typed_values(kind: Kind, words: list[str]) -> dict[str, str]:
    values: dict[str, str] = {}
    loose: list[str] = []
    rest = iter(words)
    for word in rest:
        if word.startswith("--"):
            name, equals, value = word[2:].partition("=")
            name = name.replace("-", "_")
            _field(kind, name)
            values[name] = value if equals else _following(rest, kind, name)
        else:
            loose.append(word)
    free = [f.name for f in kind.fields if f.name not in values]
    if len(loose) > len(free):
        raise Refused.because(f"{loose[len(free)]!r} is one word too many: {usage(kind.what)}")
    return dict(zip(free, loose, strict=False)) | values


def _following(rest: object, kind: Kind, name: str) -> str:
    try:
        return next(rest)  # type: ignore[call-overload]
    except StopIteration:
        raise Refused.because(f"--{name} needs a value: {usage(kind.what)}") from None


def _field(kind: Kind, name: str) -> Field:
    found = field(kind, name)
    if found is None or name in ("what", "recorded_at"):
        known = [f.name for f in kind.fields] + list(_TYPED)
        raise Refused.because(f"{kind.what} has no field {name!r}{did_you_mean(name, known)}; {usage(kind.what)}")
    return found


def _at(values: dict[str, str], setup: Setup, now: int) -> int:
    return parse_time(values["at"], now, setup.hours.zone) if "at" in values else now


def _read(found: Field, text: str, setup: Setup, now: int) -> object:
    zone = setup.hours.zone
    if found.type is INSTANT:
        return rfc3339(parse_time(text, now, zone, ahead=found.name in _AHEAD), zone)
    if found.type is DAY and text in ("today", "yesterday"):
        return local_date(parse_time(text, now, zone), zone).isoformat()
    if isinstance(value := found.type.read(text), list) and found.type.names:
        return [item for part in value for item in expand(str(part), setup.fleet)]
    return value


def _poke(home: Home) -> None:
    from scheduler.messages.poke import poke

    poke(home.path)


def usage(what: str | None) -> str:
    """How a kind is logged, or all kinds."""
    if what is None or what not in KINDS:
        width = max(map(len, KINDS))
        kinds = "\n".join(f"  {kind.what:<{width}}  {kind.meaning}" for kind in KINDS.values())
        return f"usage: shelfbell log WHAT ITEM ... [--at TIME] [--note TEXT]\n\n{kinds}\n\n`shelfbell log WHAT --help` says more."
    kind = KINDS[what]
    words = " ".join(f.name.upper() if f.required else f"[{f.name.upper()}]" for f in kind.fields)
    lines = [f"  --{f.name:<20} {f.meaning or f.type.check(None)}" for f in (*kind.fields, *COMMON) if f.name in _allowed(kind)]
    return "\n".join([f"usage: shelfbell log {what} {words}", "", f"{kind.what}: {kind.meaning}", *lines])


def _allowed(kind: Kind) -> set[str]:
    return {f.name for f in kind.fields} | set(_TYPED)
