"""A document against a JSON Schema (2020-12): every error as one sentence, at the place where it is made.

Source of the keywords: https://json-schema.org/draft/2020-12/json-schema-validation.
"""

import json
import re
from collections import defaultdict
from collections.abc import Iterator
from typing import Any, NamedTuple

from scheduler.base import schema_messages as words
from scheduler.base.findings import Finding, nearest
from scheduler.base.schema_messages import Schema
from scheduler.base.strict_yaml import Path, YamlFile


class _SchemaFault(NamedTuple):
    """A finding before it has a place; `keyword` is the one of the schema that it breaks."""

    path: Path
    text: str
    keyword: str
    at_key: bool = False


def check(document: YamlFile, schema: Schema) -> list[Finding]:
    """Everything in the document that the schema does not allow, in the order of the file; [] if all is well.

    Of the alternatives of `oneOf` and `anyOf`, the one that was most likely meant is spoken of. The schema is
    taken to be valid, with references only within itself.
    """
    from jsonschema import Draft202012Validator, FormatChecker

    # A validator costs 4 microseconds to make: nothing is gained by keeping it.
    errors = Draft202012Validator(schema, format_checker=FormatChecker(["date"])).iter_errors(document.data)
    wrongs = {wrong for error in errors for wrong in _wrongs(error, schema)}
    return sorted({document.finding(wrong.path, wrong.text, wrong.at_key) for wrong in wrongs})


def _wrongs(error: Any, root: Schema) -> list[_SchemaFault]:
    """What one jsonschema error says, as one or more findings."""
    if error.validator in ("oneOf", "anyOf") and error.context:
        return _of_alternatives(error, root)
    by_key = _BY_KEYWORD.get(error.validator)
    found = list(by_key(error, root)) if by_key else []
    return found or [_whole(error, root)]


def _whole(error: Any, root: Schema) -> _SchemaFault:
    path, text = tuple(error.absolute_path), words.sentence(error, root)
    if "propertyNames" in error.relative_schema_path:
        # The instance of such an error is the key itself, and its path that of the mapping.
        return _SchemaFault((*path, error.instance), text, error.validator, at_key=True)
    return _SchemaFault(path, text, str(error.validator))


def _unknown_keys(error: Any, root: Schema) -> Iterator[_SchemaFault]:
    allowed = set(_named_keys(error.schema, root))
    patterns = error.schema.get("patternProperties", {})
    for key in error.instance:
        if key not in allowed and not any(re.search(pattern, key) for pattern in patterns):
            yield _unknown(error, key, root)


def _unknown(error: Any, key: str, root: Schema) -> _SchemaFault:
    known = _known_keys(error, root)
    text = words.unknown_key(key, known)
    if key in known:  # by another alternative
        text = words.misplaced_key(key, error.instance, error.schema.get("properties", {}))
    return _SchemaFault((*error.absolute_path, key), text, "additionalProperties", at_key=True)


def _missing_keys(error: Any, root: Schema) -> Iterator[_SchemaFault]:
    """The missing keys; one that is only misspelt is told just as `additionalProperties` tells it."""
    known = _known_keys(error, root)
    misspelt = {nearest(key, known): key for key in error.instance if key not in known}
    for name in error.validator_value:
        if name in error.instance:
            continue
        if name in misspelt:
            yield _unknown(error, misspelt[name], root)
        else:
            yield _SchemaFault(tuple(error.absolute_path), f"{words.shown(name)} is missing", "required")


def _repeated_items(error: Any, _: Schema) -> Iterator[_SchemaFault]:
    seen = set()
    for index, item in enumerate(error.instance):
        if (written := json.dumps(item, sort_keys=True)) in seen:
            text = f"{words.shown(item)} is in the list twice"
            yield _SchemaFault((*error.absolute_path, index), text, "uniqueItems")
        seen.add(written)


def _missing_companions(error: Any, _: Schema) -> Iterator[_SchemaFault]:
    for key, companions in error.validator_value.items():
        missing = [name for name in companions if name not in error.instance]
        if key in error.instance and missing:
            text = f"{words.shown(key)} needs {words.listed(missing)} beside it"
            yield _SchemaFault((*error.absolute_path, key), text, "dependentRequired", at_key=True)


def _several_alternatives(error: Any, root: Schema) -> Iterator[_SchemaFault]:
    """Keys of which a `oneOf` wants just one, where several stand together."""
    keys = [key for part in error.validator_value for key in words.resolved(part, root).get("required", ())]
    together = [key for key in dict.fromkeys(keys) if key in error.instance]
    if len(together) > 1:
        text = f"{words.listed(together)} stand together: keep one of them"
        yield _SchemaFault((*error.absolute_path, together[1]), text, "oneOf", at_key=True)


_BY_KEYWORD = {
    "additionalProperties": _unknown_keys,
    "unevaluatedProperties": _unknown_keys,
    "required": _missing_keys,
    "uniqueItems": _repeated_items,
    "dependentRequired": _missing_companions,
    "oneOf": _several_alternatives,
}


def _known_keys(error: Any, root: Schema) -> list[str]:
    """The keys the schema of the error names, and those of the schemas around it for the same mapping."""
    names: dict[str, None] = {}
    around = error
    while around is not None and around.absolute_path == error.absolute_path:
        names |= dict.fromkeys(_named_keys(around.schema, root))
        around = around.parent
    return list(names)


def _named_keys(schema: Any, root: Schema) -> Iterator[str]:
    schema = words.resolved(schema, root)
    yield from schema.get("properties", {})
    parts = [part for keyword in ("allOf", "anyOf", "oneOf") for part in schema.get(keyword, ())]
    parts += [schema[keyword] for keyword in ("if", "then", "else") if keyword in schema]
    for part in parts:
        yield from _named_keys(part, root)


def _of_alternatives(error: Any, root: Schema) -> list[_SchemaFault]:
    """What is wrong with a value that fits none of the alternatives of a `oneOf` or `anyOf`."""
    schema, value, path = error.schema, error.instance, tuple(error.absolute_path)
    if "x-expects" in schema and not isinstance(value, dict | list):
        choices = [c for part in error.validator_value for c in words.allowed(words.resolved(part, root))]
        return [_SchemaFault(path, words.not_among(value, choices, schema["x-expects"]), error.validator)]
    branches: dict[int, list[Any]] = defaultdict(list)
    for part in error.context:
        branches[part.relative_schema_path[0]].append(part)
    return _same_choice(list(branches.values())) or _best(error, branches, root)


def _same_choice(branches: list[list[Any]]) -> list[_SchemaFault]:
    """One finding for a value that each alternative wants to be another: `kind: flowm` among the kinds."""
    choices = [{tuple(e.absolute_path): e for e in b if e.validator in ("const", "enum")} for b in branches]
    shared = set(choices[0]).intersection(*choices[1:])
    if not shared:
        return []
    errors = [choice[min(shared)] for choice in choices]
    allowed = [value for e in errors for value in words.allowed(e.schema)]
    return [_SchemaFault(min(shared), words.not_among(errors[0].instance, allowed), "enum")]


def _best(error: Any, branches: dict[int, list[Any]], root: Schema) -> list[_SchemaFault]:
    """The findings of the alternative that is nearest; of several equally near ones, what they share."""
    depth = len(error.absolute_path)
    wrongs = {i: {wrong for e in errors for wrong in _wrongs(e, root)} for i, errors in branches.items()}
    costs = {i: sum(_cost(wrong, depth) for wrong in found) for i, found in wrongs.items()}
    near = [i for i in wrongs if costs[i] == min(costs.values())]
    if shared := set.intersection(*(wrongs[i] for i in near)):
        return list(shared)
    first = wrongs[near[0]]
    if all(wrong.keyword == "additionalProperties" for wrong in first):
        return list(first)
    parts = [words.resolved(error.validator_value[i], root) for i in near]
    text = words.none_of(error.instance, parts, root)
    return [_SchemaFault(tuple(error.absolute_path), text, min(first).keyword)]


# How little an alternative can have been meant if it is broken so, by keyword and depth below the value: an
# estimate. The order counts, not the size: a wrong type rules it out, a wrong telling value (`kind: ...`)
# nearly so, a word out of a list (it may be misspelt) less, and a misspelt key tells less against it than a
# missing one.
_COSTS = {("type", 0): 100, ("const", 1): 10, ("enum", 1): 5, ("additionalProperties", 0): 3}


def _cost(wrong: _SchemaFault, root_depth: int) -> int:
    depth = len(wrong.path) - root_depth - wrong.at_key
    return _COSTS.get((wrong.keyword, depth), 4 if depth == 0 else 1)
