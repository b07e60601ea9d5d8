"""Is this one well-formed event? A quick check says so, the JSON Schema why not.

Both are made from the declaration of the kinds. The schema is published.
"""

from functools import cache

from scheduler.events.kinds import COMMON, KINDS, Kind

_COMMON_CHECKS = {field.name: field.type.fits for field in COMMON} | {"what": lambda _: True}
_CHECKS = {what: _COMMON_CHECKS | {f.name: f.type.fits for f in kind.fields} for what, kind in KINDS.items()}
_REQUIRED = {
    what: frozenset(["at", "what", *(f.name for f in kind.fields if f.required)]) for what, kind in KINDS.items()
}


def problems(event: object) -> list[str]:
    """Return what is wrong with one event by itself, a sentence each, or []."""
    if isinstance(event, dict) and _fits(event):
        contradiction = KINDS[event["what"]].contradiction
        text = contradiction(event) if contradiction else None
        return [text] if text else []
    return _reasons(event)


def _fits(event: dict[str, object]) -> bool:
    what = event.get("what")
    if not isinstance(what, str) or what not in _CHECKS:
        return False
    checks = _CHECKS[what]
    for name, value in event.items():
        check = checks.get(name)
        if check is None or not check(value):
            return False
    kind = KINDS[what]
    if not event.keys() >= _REQUIRED[what] or kind.one_of and event.keys().isdisjoint(kind.one_of):
        return False
    return not kind.not_both or not event.keys() >= set(kind.not_both)


def _reasons(event: object) -> list[str]:
    """Return what the schema says against an event that does not fit."""
    from scheduler.base.schema_check import faults

    what = event.get("what") if isinstance(event, dict) else None
    kind = KINDS.get(what) if isinstance(what, str) else None
    found = faults(event, json_schema() if kind is None else _branch(kind), _formats())
    subject = "an event" if kind is None else kind.what
    texts = [f"{subject}: {text}" if not path or at_key else f"{path[0]}: {text}" for path, text, at_key in found]
    return list(dict.fromkeys(texts)) or [f"{subject}: a value that is no number of JSON"]


@cache
def _formats() -> object:
    from jsonschema import FormatChecker

    from scheduler.base.instants import parse_date, parse_rfc3339

    formats = FormatChecker([])
    for name, parse in (("date-time", parse_rfc3339), ("date", parse_date)):
        formats.checks(name, raises=ValueError)(lambda value, parse=parse: not isinstance(value, str) or parse(value))
    return formats


@cache
def json_schema() -> dict[str, object]:
    """Return the JSON Schema (2020-12) of an event line, one branch a kind, by `what`.

    What compares two fields (percent_to with percent_from, ends with starts) lies beyond JSON Schema.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "One event of the shelfbell log",
        "type": "object",
        "x-expects": "an object in braces",
        "required": ["at", "what"],
        "properties": {"what": {"enum": list(KINDS), "x-expects": "a kind of event"}},
        "allOf": [{"if": _is_of(kind), "then": _branch(kind)} for kind in KINDS.values()],
    }


def _is_of(kind: Kind) -> dict[str, object]:
    return {"type": "object", "properties": {"what": {"const": kind.what}}, "required": ["what"]}


def _branch(kind: Kind) -> dict[str, object]:
    fields = (*COMMON, *kind.fields)
    branch: dict[str, object] = {
        "description": kind.meaning,
        "properties": {f.name: f.type.schema | ({"description": f.meaning} if f.meaning else {}) for f in fields},
        "required": sorted(_REQUIRED[kind.what]),
        "additionalProperties": False,
    }
    if kind.one_of:
        branch["anyOf"] = [{"required": [name]} for name in kind.one_of]
    if kind.not_both:
        branch["not"] = {"required": list(kind.not_both)}
    return branch
