"""JSON Schema in a person's words: what is there, and what would be right.

A schema may carry two annotations. `x-expects` is the end of the sentence "'24 parsecs' is not ...", for example "a
duration such as '24 h'"; it is preferred to anything made up here. `x-meant` maps what people write to the word of an
`enum` that they mean.
"""

import re
from collections.abc import Iterable
from typing import Any

from scheduler.base.findings import did_you_mean

Schema = dict[str, Any]

_TYPES = {
    "object": "a mapping",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "empty",
}
_MAX_SHOWN = 60


def shown(value: Any) -> str:
    """Return a value as a sentence names it: text quoted and cut, mappings by keys."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return repr(_shortened(value))
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return f"a mapping with {listed(value)}" if value else "an empty mapping"
    return _shortened(str(value))


def _shortened(text: str) -> str:
    return text if len(text) <= _MAX_SHOWN else f"{text[: _MAX_SHOWN - 1]}…"


def listed(names: Iterable[Any], last: str = "and") -> str:
    """Return the first twelve names: 'a', 'b' and 'c'."""
    words = [shown(name) for name in names]
    words = words[:12] + (["more"] if len(words) > 12 else [])
    return f" {last} ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def is_not(value: Any, expected: str) -> str:
    """Return the plain sentence of a refusal."""
    if value is None:
        return f"nothing is given here: {expected} is needed"
    return f"{shown(value)} is not {expected}"


def not_among(value: Any, choices: list[Any], schema: Schema) -> str:
    """Return the sentence on a value that is none of the choices, with the nearest."""
    one_of = "one of " if len(choices) > 1 else ""
    meant = schema.get("x-meant", {}).get(value) if isinstance(value, str) else None
    hint = f", did you mean {meant!r}?" if meant else _hint(value, choices)
    return is_not(value, schema.get("x-expects") or one_of + listed(choices, "or")) + hint


def none_of(value: Any, parts: list[Schema], root: Schema) -> str:
    """Return the sentence on a value that fits none of several alternatives."""
    wanted = dict.fromkeys(expected(part, root) for part in parts)
    return is_not(value, " or ".join(wanted)) + _hint(value, [one for part in parts for one in allowed(part)])


def _hint(value: Any, names: list[Any]) -> str:
    if not isinstance(value, str):
        return ""
    return did_you_mean(value, [name for name in names if isinstance(name, str)])


def unknown_key(key: str, known: list[str]) -> str:
    """Return the sentence on an unknown key, with the nearest known one, else all."""
    hint = did_you_mean(key, known) or (f": known are {listed(sorted(known))}" if known else "")
    return f"{shown(key)} is not a known key here{hint}"


def missing_key(name: str, schema: Schema) -> str:
    """Return the sentence on a missing key, with its choices if the schema has any."""
    schema = schema.get("items", schema)
    choices = f": {schema['x-expects']}" if "enum" in schema and "x-expects" in schema else ""
    return f"{shown(name)} is missing{choices}"


def needs(key: str, names: list[str]) -> str:
    """Return the sentence on a key that needs others beside it."""
    return f"{shown(key)} needs {listed(names)} beside it"


def exclusive(keys: list[str]) -> str:
    """Return the sentence on keys that exclude each other."""
    return f"{listed(keys)} exclude each other: keep one of them"


def resolved(schema: Any, root: Schema) -> Schema:
    """Return the schema, or the target of its `$ref` in `root`; {} for true and false.

    A reference reads "#/$defs/name".
    """
    if not isinstance(schema, dict):
        return {}
    pointer = schema.get("$ref")
    if pointer is None:
        return schema
    target: Any = root
    for step in pointer.split("/")[1:]:
        target = target[step]
    return resolved(target, root) | {name: part for name, part in schema.items() if name != "$ref"}


def allowed(schema: Schema) -> list[Any]:
    """Return the values that `enum` or `const` allows; none if the schema has neither."""
    return [schema["const"]] if "const" in schema else schema.get("enum", [])


def expected(schema: Any, root: Schema) -> str:
    """Return what the schema wants, as the end of "... is not"."""
    schema = resolved(schema, root)
    if "x-expects" in schema:
        return str(schema["x-expects"])
    if choices := allowed(schema):
        return listed(choices, "or")
    if parts := schema.get("oneOf") or schema.get("anyOf"):
        return " or ".join(dict.fromkeys(expected(part, root) for part in parts))
    if names := schema.get("required"):
        return f"a mapping with {listed(names)}"
    if "type" in schema:
        types = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
        return " or ".join(_TYPES[name] for name in types)
    return "what the schema allows here"


def _quotes_advice(value: Any, schema: Schema) -> str:
    any_text = schema["type"] == "string" and not {"x-expects", "pattern"} & schema.keys()
    return ": put quotes around it" if any_text and isinstance(value, bool | int | float) else ""


def _number_meant(value: Any, schema: Schema) -> str:
    """Return the number that "16,5" or "45m" may have been meant for."""
    match = re.fullmatch(r"([0-9]{1,9})(?:[.,]([0-9]{1,9}))?\s*[a-zA-Z°]*", value) if isinstance(value, str) else None
    if match is None or schema["type"] not in ("number", "integer") or value == match[1]:
        return ""
    plain = f"{match[1]}.{match[2]}" if match[2] and schema["type"] == "number" else match[1]
    low, high = schema.get("minimum", 0), schema.get("maximum", float("inf"))
    fits = low <= float(plain) <= high and float(plain) > schema.get("exclusiveMinimum", -1)
    return f", did you mean {plain}?" if fits else ""


def sentence(error: Any, root: Schema) -> str:
    """Return the sentence on a jsonschema error that concerns the value as a whole."""
    schema = error.schema if isinstance(error.schema, dict) else {}
    value, limit, expects = error.instance, error.validator_value, schema.get("x-expects")
    if error.validator in ("enum", "const"):
        return not_among(value, allowed(schema), schema)
    if error.validator == "type":
        return is_not(value, expected(schema, root)) + _quotes_advice(value, schema) + _number_meant(value, schema)
    if expects and not isinstance(value, dict | list):
        return is_not(value, expects)
    if error.validator in ("oneOf", "anyOf") and error.context:
        return none_of(value, [resolved(part, root) for part in error.validator_value], root)
    if error.validator == "pattern" and "description" in schema:
        return f"{shown(value)} does not fit: {schema['description']}"
    if error.validator in _SENTENCES:
        return _SENTENCES[error.validator].format(value=shown(value), limit=limit)
    return f"{shown(value)} is not allowed here" if error.validator is None else _unworded(error)


_SENTENCES = {
    "not": "{value} is not allowed here",
    "oneOf": "{value} fits more than one of the forms allowed here",
    "pattern": "{value} does not fit the pattern {limit}",
    "format": "{value} is not of the format {limit}",
    "minimum": "{value} is too small: at least {limit} is needed",
    "maximum": "{value} is too large: at most {limit} is allowed",
    "exclusiveMinimum": "{value} is too small: more than {limit} is needed",
    "exclusiveMaximum": "{value} is too large: less than {limit} is needed",
    "multipleOf": "{value} is not a multiple of {limit}",
    "minLength": "{value} is too short: the least length is {limit}",
    "maxLength": "{value} is too long: the greatest length is {limit}",
    "minItems": "the list is too short: it needs at least {limit}",
    "maxItems": "the list is too long: it takes at most {limit}",
    "minProperties": "{value} has too few keys: it needs at least {limit}",
    "maxProperties": "{value} has too many keys: it takes at most {limit}",
}


def _unworded(error: Any) -> str:
    rule = f"the schema's {error.validator!r}: {shown(error.validator_value)}"
    return f"{shown(error.instance)} does not fit {rule}"
