"""Read typed words as an entry."""

from functools import partial
from itertools import pairwise

from scheduler.answers.entry_usage import TYPED, short_usage
from scheduler.base.findings import Refused, and_then, did_you_mean
from scheduler.base.instants import SECOND, moment_near, parse_rfc3339, rfc3339
from scheduler.base.typed_times import is_recurring, parse_day, parse_time
from scheduler.events.fields import DAY, INSTANT, choices
from scheduler.events.kinds import KINDS, Field, Kind, field
from scheduler.events.log import Log
from scheduler.events.taking import FUTURE_ALLOWED
from scheduler.fleet.id_ranges import expand
from scheduler.home.setup import Setup

_AHEAD = ("starts", "ends", "leaves", "until", "from", "to")
"""The fields whose weekdays and clock times are the coming ones."""
_ENDS = {"ends": "starts", "to": "from"}
"""The fields that end what another begins: a bare clock time or weekday is the next one after it."""


def require_kind(word: str) -> Kind:
    """Return the kind of event of that name. Raises Refused, with the nearest one."""
    if word not in KINDS:
        more = and_then(did_you_mean(word, KINDS), "`shelfbell log --help` lists them")
        raise Refused.because(f"there is no kind of event {word!r}{more}")
    return KINDS[word]


def typed_events(kind: Kind, words: list[str], log: Log, setup: Setup, now: int) -> list[dict[str, object]]:
    """Return the events that typed words mean, one for each item. Raises Refused.

    What replaces an entry of the log has its time unless another is given.
    """
    values = typed_values(kind, words)
    event: dict[str, object] = {"at": rfc3339(_at(values, log, setup, now), setup.hours.zone), "what": kind.what}
    for name, text in values.items():
        if name != "at":
            event[name] = _read(require_field(kind, name), text, setup, now)
    for end, start in _ENDS.items():
        if end in values and start in event and field(kind, end).type is INSTANT:  # type: ignore[union-attr]
            event[end] = _after(str(event[start]), str(event[end]), values[end], setup)
    _require_not_swapped(kind, values, setup, words)
    _require_no_item_astray(kind, values, event, setup)
    _require_last_field(kind, event)
    subjects = event.get("item") if kind.subject == "item" else None
    if isinstance(subjects, str) and field(kind, "item").type.names != "*":  # type: ignore[union-attr]
        return [event | {"item": item} for item in expand(subjects, setup.fleet)]
    return [event]


def _after(start: str, end: str, text: str, setup: Setup) -> str:
    """Return an end; a bare clock time or weekday before its start moves past it."""
    began, zone = parse_rfc3339(start), setup.hours.zone
    if parse_rfc3339(end) > began or not is_recurring(text):
        return end
    return rfc3339(parse_time(text, began, zone, ahead=True), zone)


def _require_not_swapped(kind: Kind, values: dict[str, str], setup: Setup, words: list[str]) -> None:
    """Raise Refused for "flown B heron": two items, each where the other belongs."""
    for first, second in pairwise(kind.fields):
        here, there = values.get(first.name), values.get(second.name)
        if not here or not there or _takes(first, here, setup) or _takes(second, there, setup):
            continue
        if _takes(first, there, setup) and _takes(second, here, setup):
            from shlex import join

            swapped = {here: there, there: here}
            raise Refused.because(f"did you mean: {join([kind.what, *(swapped.get(w, w) for w in words)])}")


def _takes(found: Field, text: str, setup: Setup) -> bool:
    return setup.fleet.kind(text) in found.type.names.split(",") if text in setup.fleet else False


def _require_last_field(kind: Kind, event: dict[str, object]) -> None:
    """Raise Refused where one field is missing, with the example's value for it."""
    missing = [found for found in kind.fields if found.required and found.name not in event]
    if len(missing) != 1 or missing[0].type.names or choices(missing[0].type) or not kind.example:
        return
    from shlex import quote, split

    value = typed_values(kind, split(kind.example)[1:]).get(missing[0].name)
    if value is not None:
        raise Refused.because(f"{kind.what}: {missing[0].name!r} is missing, such as {quote(value)}")


def _require_no_item_astray(kind: Kind, values: dict[str, str], event: dict[str, object], setup: Setup) -> None:
    """Raise Refused for "charged O1 O2": an item where the next field was expected."""
    for name, text in values.items():
        wanted = require_field(kind, name).type
        if not wanted.names and not wanted.fits(event.get(name)) and text in setup.fleet:
            first = next((str(values[f]) for f in ("packs", "item", "carries") if f in values), "")
            right = f"separate several items with commas: {first},{text}" if first else short_usage(kind)
            raise Refused.because(f"{text} came where {name} was expected; {right}")


def typed_values(kind: Kind, words: list[str]) -> dict[str, str]:
    """Return the typed text of each field, by its name. Raises Refused."""
    values: dict[str, str] = {}
    loose: list[str] = []
    rest = iter(words)
    for word in rest:
        if word.startswith("--"):
            name, equals, value = word[2:].partition("=")
            name = name.replace("-", "_")
            require_field(kind, name)
            values[name] = value if equals else _following(rest, kind, name)
        else:
            loose.append(word)
    _require_no_stray_comma(kind, loose)
    free = [f.name for f in kind.fields if f.name not in values]
    if len(loose) > len(free):
        raise Refused.because(f"unexpected word {loose[len(free)]!r}; {short_usage(kind)}")
    return dict(zip(free, loose, strict=False)) | values


def _require_no_stray_comma(kind: Kind, words: list[str]) -> None:
    """Raise Refused for "A, B" and ",A", with the words as they would be right."""
    if not any(word.startswith(",") or word.endswith(",") for word in words):
        return
    joined: list[str] = []
    for word in words:
        if joined and (joined[-1].endswith(",") or word.startswith(",")):
            joined[-1] += word
        else:
            joined.append(word)
    right = [",".join(filter(None, word.split(","))) for word in joined if word.strip(",")]
    if right:
        from shlex import join

        raise Refused.because(f"separate several with commas, without blanks: {join([kind.what, *right])}")


def _following(rest: object, kind: Kind, name: str) -> str:
    try:
        return next(rest)  # type: ignore[call-overload]
    except StopIteration:
        raise Refused.because(f"--{name} needs a value: {short_usage(kind)}") from None


def require_field(kind: Kind, name: str) -> Field:
    """Return a field that can be typed. Raises Refused, with the nearest one."""
    found = field(kind, name)
    known = [*(f.name for f in kind.fields), *TYPED]
    if found is None or name not in known:
        more = and_then(did_you_mean(name, known), short_usage(kind))
        raise Refused.because(f"{kind.what} has no field {name!r}{more}")
    return found


def _at(values: dict[str, str], log: Log, setup: Setup, now: int) -> int:
    if "at" not in values:
        replaced = log.find(values["instead_of"]) if "instead_of" in values else None
        return now if replaced is None else replaced.at
    at, say = parse_time(values["at"], now, setup.hours.zone), partial(moment_near, now=now, zone=setup.hours.zone)
    if at > now + FUTURE_ALLOWED:
        raise Refused.because(f"--at {values['at']!r}: {say(at)} lies in the future; it is {say(now)} now")
    return at // SECOND * SECOND


def _read(found: Field, text: str, setup: Setup, now: int) -> object:
    zone = setup.hours.zone
    if found.type is INSTANT:
        return rfc3339(parse_time(text, now, zone, ahead=found.name in _AHEAD) // SECOND * SECOND, zone)
    if found.type is DAY:
        return parse_day(text, now, zone)
    if isinstance(value := found.type.read(text), list) and found.type.names:
        return [item for part in value for item in expand(str(part), setup.fleet)]
    return value
