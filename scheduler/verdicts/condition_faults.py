"""Find what is wrong in a condition that its schema accepts."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from scheduler.base.findings import did_you_mean
from scheduler.facts.declare import Fact
from scheduler.verdicts.conditions import NAMED, NUMERIC, lasting_of, leaf_of, operator_of


class ConditionFault(NamedTuple):
    """A fault in a condition and its place."""

    path: tuple[str | int, ...]
    text: str


def faults(
    raw: dict, limits: dict[str, object], about: str, catalogue: Mapping[str, Fact], path: tuple[str | int, ...] = ()
) -> Iterator[ConditionFault]:
    """Yield every fault in a condition that its schema accepts."""
    for name in ("all", "any"):
        for index, part in enumerate(raw.get(name, ())):
            yield from faults(part, limits, about, catalogue, (*path, name, index))
    if "not" in raw:
        yield from faults(raw["not"], limits, about, catalogue, (*path, "not"))
    if "fact" not in raw:
        return
    declared = catalogue[raw["fact"]]
    if about not in declared.about:
        yield ConditionFault((*path, "fact"), _wrong_kind(declared, about, catalogue))
        return
    if "of" in raw and raw["of"] not in declared.of:
        yield ConditionFault((*path, "of"), f"{declared.name} asks of {', '.join(declared.of) or 'nothing'}")
    for key in (operator_of(raw), "lasting"):
        if key in raw and (text := _wrong_value(raw, key, limits, declared)):
            yield ConditionFault((*path, key), text)


def _wrong_kind(declared: Fact, about: str, catalogue: Mapping[str, Fact]) -> str:
    known = ", ".join(sorted(name for name, fact in catalogue.items() if about in fact.about))
    return f"{declared.name} is a fact of {', '.join(declared.about)}, not of {about}, which has {known}"


def _wrong_value(raw: dict, key: str, limits: dict[str, object], declared: Fact) -> str | None:
    named = declared.unit.kind in ("flag", "word")
    if key in NUMERIC and named or key in NAMED and not named:
        right = "is, is_not or one_of" if named else "at_least, more_than, at_most or less_than"
        return f"{declared.name} is compared with {right}"
    try:
        if key == "lasting":
            lasting_of(raw, limits)
        else:
            leaf_of({"fact": declared.name, key: raw[key]}, limits, declared.about[0], {declared.name: declared})
    except ValueError as error:
        return _value_fault(error, raw[key], limits)
    return None


def _value_fault(error: ValueError, written: object, limits: dict[str, object]) -> str:
    """Describe a wrong value: of a limit of the rule, or no name of a limit."""
    if not isinstance(written, str) or not limits:
        return str(error)
    if written in limits:
        return f"the limit {written}: {error}"
    return f"{error}{did_you_mean(written, limits) or ', nor a limit of the rule'}"
