"""Check a document against a JSON Schema: each error a sentence, where it is made.

JSON Schema 2020-12. Our own schemas choose a form by a key or by the type of a value (`dependentSchemas`, `if` and
`then`), so that an error is one of the form that was meant. The alternatives of `oneOf` and `anyOf` are keys, one of
them needed; any others get one sentence on the whole value.

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


class SchemaFault(NamedTuple):
    """A finding before it has a place in a file.

    `at_key`: it is on the key that the path names, not on its value.
    """

    path: Path
    text: str
    at_key: bool = False


def check(document: YamlFile, schema: Schema) -> list[Finding]:
    """Return what a document has that the schema does not allow, in file order."""
    return sorted({document.finding(*fault) for fault in faults(document.data, schema)})


def faults(data: object, schema: Schema, formats: Any = None) -> list[SchemaFault]:
    """Return everything in some data that the schema does not allow.

    The schema must be valid, with references only within itself. `formats`: a FormatChecker, one of dates by default.
    """
    from jsonschema import Draft202012Validator, FormatChecker

    # A validator costs 4 microseconds to make: nothing is gained by keeping it.
    validator = Draft202012Validator(schema, format_checker=formats or FormatChecker(["date"]))
    errors = list(validator.iter_errors(data))
    unknown = defaultdict[Path, list[str]](list)
    for error in errors:
        if error.validator == "additionalProperties":
            unknown[tuple(error.absolute_path)] += _unknown(error)
    found = {fault for error in errors for fault in _faults_of(error, schema, unknown[tuple(error.absolute_path)])}
    return sorted(found, key=lambda fault: ([str(step) for step in fault.path], fault.text))


def _faults_of(error: Any, root: Schema, unknown: list[str]) -> Iterator[SchemaFault]:
    """Yield what one jsonschema error says.

    `unknown`: the keys of the same mapping that no schema knows. A missing key that is only misspelt is reported as
    unknown only.
    """
    path, value = tuple(error.absolute_path), error.instance
    match error.validator:
        case "additionalProperties":
            for key in _unknown(error):
                yield SchemaFault((*path, key), words.unknown_key(key, list(error.schema.get("properties", {}))), True)
        case "required":
            properties = error.schema.get("properties", {})
            meant = _meant(unknown, [*properties, *error.validator_value])
            for name in error.validator_value:
                if name not in value and name not in meant:
                    yield SchemaFault(path, words.missing_key(name, properties.get(name, {})))
        case "dependentRequired":
            for key, names in error.validator_value.items():
                missing = [name for name in names if name not in value and name not in _meant(unknown, names)]
                if key in value and missing:
                    yield SchemaFault((*path, key), words.needs(key, missing), True)
        case "not" if keys := _keys([error.validator_value]):
            yield SchemaFault((*path, keys[1]), words.exclusive(keys), True)
        case "oneOf" | "anyOf" if keys := _keys(error.validator_value):
            yield from _of_keys(path, value, keys, unknown)
        case "uniqueItems":
            yield from _repeated_items(path, value)
        case _:
            # The instance of an error in a key is the key itself, and its path that of the mapping.
            at_key = "propertyNames" in error.relative_schema_path
            yield SchemaFault((*path, value) if at_key else path, words.sentence(error, root), at_key)


def _unknown(error: Any) -> list[str]:
    known, patterns = error.schema.get("properties", {}), error.schema.get("patternProperties", {})
    return [key for key in error.instance if key not in known and not any(re.search(p, key) for p in patterns)]


def _meant(unknown: list[str], known: list[str]) -> set[str | None]:
    """Return the known keys that unknown ones are most like."""
    return {nearest(key, known) for key in unknown}


def _keys(alternatives: list[Schema]) -> list[str]:
    """Return the keys of alternatives that want just a key each; none for others."""
    if any(part.keys() != {"required"} for part in alternatives):
        return []
    return [key for part in alternatives for key in part["required"]]


def _of_keys(path: Path, value: Any, keys: list[str], unknown: list[str]) -> Iterator[SchemaFault]:
    if not isinstance(value, dict):  # its type is wrong, which is reported
        return
    together = [key for key in keys if key in value]
    if len(together) > 1:
        yield SchemaFault((*path, together[1]), words.exclusive(together), True)
    elif not _meant(unknown, keys) - {None}:
        yield SchemaFault(path, f"one of {words.listed(keys, 'or')} is missing")


def _repeated_items(path: Path, items: list[Any]) -> Iterator[SchemaFault]:
    seen = set()
    for index, item in enumerate(items):
        if (written := json.dumps(item, sort_keys=True)) in seen:
            yield SchemaFault((*path, index), f"{words.shown(item)} is in the list twice")
        seen.add(written)
