"""The JSON Schema (2020-12) of rule files.

Made from the fact catalogue, the event kinds and the item kinds.
"""

from collections.abc import Mapping

from scheduler.events.kinds import KINDS
from scheduler.facts.declare import ANYTHING, Fact
from scheduler.fleet.plates import PLATES, fields
from scheduler.verdicts.conditions import NAMED, NUMERIC, OPERATORS
from scheduler.verdicts.rule import URGENCIES

_ID = {"type": "string", "pattern": "^[a-z][a-z0-9-]{0,63}$", "x-expects": "an id of small letters, digits and '-'"}
_TEXT = {"type": "string", "minLength": 1, "maxLength": 4000, "x-expects": "a text"}
SPAN = {
    "type": "string",
    "pattern": r"^\d+(\.\d+)? ?(s|min|h|d|weeks?)$",
    "x-expects": "a duration such as '90 min', '24 h' or '10 d'",
}
_VALUE = {
    "type": ["string", "number"],
    "x-expects": "a value with its unit, such as '85 %' or '24 h', or the name of a limit",
}
_LIMITS = {
    "type": "object",
    "propertyNames": {"pattern": "^[a-z][a-z0-9_]*$"},
    "additionalProperties": _VALUE,
}
_INSTANT = {"type": "string", "format": "date-time", "x-expects": "a time with offset such as 2026-04-01T09:00:00Z"}


def rules_schema(catalogue: Mapping[str, Fact]) -> dict[str, object]:
    """Return the schema of a rule file: `rules`, `adjust`, or both."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Rules of maintenance practice",
        "type": "object",
        "additionalProperties": False,
        "properties": {
            "about": {"type": "string", "description": "what this file covers, for the reader"},
            "rules": {"type": "array", "items": {"$ref": "#/$defs/rule"}},
            "adjust": {"type": "object", "additionalProperties": {"$ref": "#/$defs/adjustments"}},
        },
        "$defs": {
            "condition": _condition(catalogue),
            "rule": _rule(),
            "urgency": _urgency(),
            "case": _case(),
            "adjustments": _adjustments(),
            "adjustment": _adjustment(),
        },
    }


def _closed(properties: dict[str, object], required: tuple[str, ...] = ()) -> dict[str, object]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(required),
        "additionalProperties": False,
    }


def _condition(catalogue: Mapping[str, Fact]) -> dict[str, object]:
    here = {"$ref": "#/$defs/condition"}
    many = {"type": "array", "items": here, "minItems": 1}
    variants = sorted({variant for fact in catalogue.values() for variant in fact.of})
    leaf = {
        "fact": {"enum": sorted(catalogue), "description": "a fact of the item", "x-expects": "a fact"},
        "of": {"enum": variants, "description": "which variant of the fact"},
        **dict.fromkeys(NUMERIC, _VALUE),
        **{name: {"type": ["string", "boolean"], "x-expects": "a word, such as yes"} for name in NAMED[:2]},
        "one_of": {"type": "array", "items": {"type": "string"}, "minItems": 1},
        "lasting": {"type": "string", "x-expects": "a duration such as '24 h', or the name of a limit"},
    }
    return {
        **_closed({"all": many, "any": many, "not": here, **leaf}),
        "x-expects": "a condition: all, any, not, or a fact with one comparison",
        "oneOf": [{"required": [key]} for key in ("all", "any", "not", "fact")],
        "dependentRequired": {name: ["fact"] for name in leaf if name != "fact"},
        "dependentSchemas": {"fact": {"oneOf": [{"required": [operator]} for operator in OPERATORS]}},
    }


def _by_type(expects: str, **forms: dict[str, object]) -> dict[str, object]:
    """Return the schema of a value by its type: `string`, `object`, `array`."""
    chosen = [{"if": {"type": name}, "then": form} for name, form in forms.items()]
    return {"type": list(forms), "x-expects": expects, "allOf": chosen}


def _urgency() -> dict[str, object]:
    expects = f"one of {', '.join(URGENCIES)}, or a list such as [{{now: CONDITION}}, today]"
    word: dict[str, object] = {"enum": list(URGENCIES)}
    rung = {
        "type": "object",
        "properties": {name: {"$ref": "#/$defs/condition"} for name in URGENCIES},
        "minProperties": 1,
        "maxProperties": 1,
        "additionalProperties": False,
    }
    step = _by_type("an urgency, or {URGENCY: CONDITION}", string=word, object=rung)
    return _by_type(expects, string=word | {"x-expects": expects}, array={"items": step, "minItems": 1})


def _rule() -> dict[str, object]:
    condition = {"$ref": "#/$defs/condition"}
    return _closed(
        {
            "id": _ID,
            "about": {"enum": list(ANYTHING), "description": "the kind of item the rule is about"},
            "title": _TEXT | {"maxLength": 80},
            "limits": _LIMITS,
            "reasons": {"type": "object", "additionalProperties": _TEXT, "description": "why each limit is what it is"},
            "when": condition,
            "until": condition,
            "urgency": {"$ref": "#/$defs/urgency"},
            "do": _by_type(
                "a text, or {one: TEXT, many: TEXT}",
                string=_TEXT,
                object=_closed({"one": _TEXT, "many": _TEXT}, ("one", "many")),
            ),
            "why": _TEXT,
            "caution": _TEXT,
            "basis": _closed(
                {"kind": {"enum": ["published", "common practice", "maker's manual"]}, "cite": _TEXT}, ("kind",)
            ),
            "log_then": {"type": "string", "description": "the entry that settles it: a kind of event with its fields"},
            "remind": _closed({"again": SPAN}),
            "outlives": {"enum": ["retired"]},
            "grounds": {"const": True, "description": "the item is not flown while a reminder of this rule is open"},
            "cases": {"type": "array", "items": {"$ref": "#/$defs/case"}},
        },
        ("id", "about", "title", "when", "urgency", "do", "why", "basis"),
    )


def _case() -> dict[str, object]:
    named = {"at": _INSTANT, "what": {"enum": list(KINDS)}}
    event = {"type": "object", "required": ["at", "what"], "properties": named}
    plate = {name: plate.schema for kind in PLATES for name, plate in fields(kind).items() if name != "id"}
    return _closed(
        {
            "name": _TEXT,
            "zone": {"type": "string"},
            "item": {"type": "object", "properties": plate, "additionalProperties": False},
            "given": {"type": "array", "items": event},
            "opens": _INSTANT,
            "settles": _INSTANT,
            "quiet": {"const": True},
            "quiet_until": _INSTANT,
            "unknown_at": _INSTANT,
            "urgency": {
                "type": "array",
                "items": _closed({"at": _INSTANT, "is": {"enum": list(URGENCIES)}}, ("at", "is")),
                "description": "how urgent the reminder is at some instants",
            },
        },
        ("given",),
    )


def _adjustment() -> dict[str, object]:
    return _closed(
        {
            "limits": _LIMITS,
            "urgency": {"$ref": "#/$defs/urgency"},
            "remind": _closed({"again": SPAN}),
            "off": {"const": True, "x-expects": "true, the only word for it: without this line the rule is on"},
            "only": {"type": "array", "items": {"type": "string"}, "minItems": 1},
            "because": _TEXT,
        }
    )


def _adjustments() -> dict[str, object]:
    one: dict[str, object] = {"$ref": "#/$defs/adjustment"}
    return _by_type(
        "an adjustment such as {limits: {sit: 48 h}} or {off: true, because: TEXT}, or a list of them",
        object=one,
        array={"items": one, "minItems": 1},
    )
