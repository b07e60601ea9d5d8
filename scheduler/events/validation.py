"""Is this one well-formed event? The same declaration answers here and in the published JSON Schema."""

import re
from collections.abc import Callable

from scheduler.base.findings import did_you_mean
from scheduler.events.fields import choices
from scheduler.events.kinds import COMMON, KINDS, MEANT, Kind, field

_COMMON_CHECKS = {field.name: field.type.check for field in COMMON} | {"what": lambda _: None}
_CHECKS = {what: _COMMON_CHECKS | {f.name: f.type.check for f in kind.fields} for what, kind in KINDS.items()}
_REQUIRED = {
    what: frozenset(["at", "what", *(f.name for f in kind.fields if f.required)]) for what, kind in KINDS.items()
}


def problems(event: object) -> list[str]:
    """What is wrong with the shape of one event; empty when nothing is."""
    if not isinstance(event, dict):
        return ["an event is an object in braces"]
    what = event.get("what")
    if not isinstance(what, str) or what not in _CHECKS:
        return [_no_kind(what)]
    checks = _CHECKS[what]
    found = []
    for name, value in event.items():
        check = checks.get(name)
        if check is None or check(value) is not None:
            found.append(_wrong_field(KINDS[what], name, value, checks))
    if not event.keys() >= _REQUIRED[what]:
        found += [_missing(KINDS[what], name) for name in sorted(_REQUIRED[what] - event.keys())]
    if not found and (contradiction := KINDS[what].contradiction) and (text := contradiction(event)):
        found.append(text)
    return found


def _no_kind(what: object) -> str:
    if what is None:
        return "an event needs what: the kind of event"
    return f"there is no kind of event {what!r}{did_you_mean(str(what), KINDS)}"


def _missing(kind: Kind, name: str) -> str:
    words = choices(field(kind, name).type)  # type: ignore[union-attr]
    return f"{kind.what} needs {name}" + (f": one of {', '.join(words)}" if words else "")


def _wrong_field(kind: Kind, name: str, value: object, checks: dict) -> str:
    if name not in checks:
        return f"{kind.what} has no field {name!r}{did_you_mean(name, checks)}"
    wanted = checks[name](value)
    if isinstance(value, list) and wanted.startswith("a list, each one of "):
        words = wanted.removeprefix("a list, each one of ").split(", ")
        return "; ".join(f"{name} has {_unlike(word, words)}" for word in value if word not in words)
    wrong = f"{name} is {repr(value)[:80]}, not {wanted}"
    if isinstance(value, str) and wanted.startswith("one of "):
        wrong += did_you_mean(value, wanted.removeprefix("one of ").split(", "))
    return wrong + _as_number(value, checks[name])


def _unlike(word: object, words: list[str]) -> str:
    text = str(word)
    near = f", did you mean {MEANT[text]!r}?" if text in MEANT else did_you_mean(text, words)
    return f"{repr(word)[:80]}, which is not one of {', '.join(words)}{near}"


def _as_number(value: object, check: Callable[[object], str | None]) -> str:
    """The number that "16,5" or "45m" may have been meant for."""
    match = re.fullmatch(r"([0-9]{1,9})(?:[.,]([0-9]{1,9}))?\s*[a-zA-Z°]*", value) if isinstance(value, str) else None
    if match is None or value == match[1]:
        return ""
    plain = f"{match[1]}.{match[2]}" if match[2] else match[1]
    return f", did you mean {plain}?" if check(float(plain)) is None else ""


def json_schema() -> dict[str, object]:
    """The JSON Schema (2020-12) of one event line, one branch a kind, chosen by `what`.

    What compares two fields (percent_to with percent_from, ends with starts) lies beyond JSON Schema.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "One event of the shelfbell log",
        "type": "object",
        "required": ["at", "what"],
        "properties": {"what": {"enum": list(KINDS)}},
        "allOf": [
            {"if": {"properties": {"what": {"const": kind.what}}, "required": ["what"]}, "then": _branch(kind)}
            for kind in KINDS.values()
        ],
    }


def _branch(kind: Kind) -> dict[str, object]:
    fields = (*COMMON, *kind.fields)
    branch: dict[str, object] = {
        "description": kind.meaning,
        "properties": {f.name: f.type.schema | ({"description": f.meaning} if f.meaning else {}) for f in fields},
        "required": sorted(_REQUIRED[kind.what]),
        "additionalProperties": False,
    }
    if kind.what == "measured":
        readings = [f.name for f in kind.fields if f.name not in ("item", "rested_minutes")]
        branch["anyOf"] = [{"required": [name]} for name in readings]
    if kind.what == "renewed":
        branch["not"] = {"required": ["expires", "issued"]}
    if kind.what == "struck":
        branch["not"] = {"required": ["instead_of"]}
    return branch
