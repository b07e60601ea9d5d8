"""A rule as a page to read, made from its file."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from scheduler.facts.declare import Fact
from scheduler.verdicts.conditions import OPERATORS

SAID = {
    "at_least": ("at least", "below"),
    "more_than": ("more than", "at most"),
    "at_most": ("at most", "above"),
    "less_than": ("less than", "at least"),
    "is": ("is", "is not"),
    "is_not": ("is not", "is"),
    "one_of": ("is one of", "is none of"),
}
"""Each comparison as people read it, and its opposite."""


def leaf_words(raw: dict[str, Any], limits: dict[str, object]) -> str:
    """Write one comparison: "charge at least 85 % (full), for 24 h (sit)"."""
    operator = next(name for name in OPERATORS if name in raw)
    value = raw[operator]
    shown = ", ".join(map(str, value)) if isinstance(value, list) else _value(value, limits)
    of = f" of {raw['of']}" if "of" in raw else ""
    lasting = f", for {_value(raw['lasting'], limits)}" if "lasting" in raw else ""
    return f"{raw['fact']}{of} {SAID[operator][0]} {shown}{lasting}"


def _value(written: object, limits: dict[str, object]) -> str:
    if isinstance(written, bool):
        return "yes" if written else "no"
    return f"{limits[written]} ({written})" if written in limits else str(written)


def condition_lines(raw: dict[str, Any], limits: dict[str, object], depth: int = 0) -> Iterator[str]:
    """Yield a condition as a nested list."""
    indent = "  " * depth
    for key, head in (("all", "all of"), ("any", "any of")):
        if key in raw:
            yield f"{indent}- {head}"
            for part in raw[key]:
                yield from condition_lines(part, limits, depth + 1)
    if "not" in raw:
        inner = list(condition_lines(raw["not"], limits, depth))
        yield inner[0].replace("- ", "- not: ", 1)
        yield from inner[1:]
    if "fact" in raw:
        yield f"{indent}- {leaf_words(raw, limits)}"


def urgency_words(written: object, limits: dict[str, object]) -> str:
    """Write how urgent: "now while next_job_in at most 24 h (near); else today"."""
    if isinstance(written, str):
        return written.replace("_", " ")
    rungs = []
    for rung in written:  # type: ignore[attr-defined]
        if isinstance(rung, str):
            rungs.append(rung.replace("_", " "))
            continue
        ((word, part),) = rung.items()
        rungs.append(f"{word.replace('_', ' ')} while {_flat(part, limits)}")
    return "; else ".join(rungs)


def _flat(raw: dict[str, Any], limits: dict[str, object]) -> str:
    for key, joint in (("all", " and "), ("any", " or ")):
        if key in raw:
            return joint.join(f"({part})" if " and " in part or " or " in part else part
                              for part in (_flat(each, limits) for each in raw[key]))  # fmt: skip
    return f"not {_flat(raw['not'], limits)}" if "not" in raw else leaf_words(raw, limits)


def basis_words(basis: dict[str, str]) -> str:
    """Write the basis of the rule, with its citation."""
    return f"{basis['kind']}: {basis['cite']}" if "cite" in basis else f"{basis['kind']}, no source"


def page(rule: dict[str, Any], adjusted: Sequence[dict[str, Any]] = (), level: int = 3) -> str:
    """Return the whole page of a rule in Markdown."""
    limits = rule.get("limits", {})
    do = rule["do"]
    blocks = [f"{'#' * level} {rule['id']}: {rule['title'].strip()}", "\n".join(_facts_of(rule, limits))]
    blocks.append("\n".join(["Opens when", *condition_lines(rule["when"], limits)]))
    if "until" in rule:
        blocks.append("\n".join(["and stays open until", *condition_lines(rule["until"], limits)]))
    if limits:
        blocks.append("\n".join(["Limits", *_limit_lines(rule, limits)]))
    blocks.append(f"Do: {_one_line(do if isinstance(do, str) else do['one'])}")
    blocks.append(f"Why: {_one_line(rule['why'])}")
    if "caution" in rule:
        blocks.append(f"Caution: {_one_line(rule['caution'])}")
    blocks.append(f"Basis: {_one_line(basis_words(rule['basis']))}")
    blocks += [f"Adjusted: {adjustment_words(change)}" for change in adjusted]
    return "\n\n".join(blocks)


def _facts_of(rule: dict[str, Any], limits: dict[str, object]) -> Iterator[str]:
    yield f"- about: {rule['about']}{', also after it is retired' if rule.get('outlives') else ''}"
    yield f"- urgency: {urgency_words(rule['urgency'], limits)}"
    if rule.get("grounds"):
        yield "- grounds: the item is not flown while it is open"
    if "remind" in rule:
        yield f"- repeats: {_pace(rule['remind']['again'], rule['urgency'])}"
    if "log_then" in rule:
        yield f"- entry that answers it: `{rule['log_then']}`"
    yield f"- cases: {len(rule.get('cases', ()))}"


def _pace(again: str, urgency: object) -> str:
    """Write how often it repeats: at `now` the pace stays the same."""
    rungs: list[Any] = urgency if isinstance(urgency, list) else [urgency]
    words = {each if isinstance(each, str) else next(iter(each)) for each in rungs}
    slower = f"{again} after the first time, then less and less often"
    if "now" not in words:
        return slower
    return f"every {again}" if words == {"now"} else f"every {again} while now; else {slower}"


def _limit_lines(rule: dict[str, Any], limits: dict[str, object]) -> Iterator[str]:
    reasons = rule.get("reasons", {})
    for name, value in limits.items():
        yield f"- {name}: {value}" + (f" ({_one_line(reasons[name])})" if name in reasons else "")


def adjustment_words(change: dict[str, Any]) -> str:
    """Write what an operator changed: "sit 48 h, for E and F, because: small packs"."""
    parts = ["off"] if change.get("off") else []
    parts += [f"{name} {value}" for name, value in change.get("limits", {}).items()]
    if "urgency" in change:
        parts.append(f"urgency {urgency_words(change['urgency'], change.get('limits', {}))}")
    if "remind" in change:
        parts.append(f"repeats after {change['remind']['again']}")
    if "only" in change:
        parts.append(f"for {', '.join(change['only'])} only")
    return ", ".join(parts) + (f"; because: {_one_line(change['because'])}" if "because" in change else "")


def facts_table(catalogue: Mapping[str, Fact]) -> str:
    """Return a table of the facts, with their kinds and meaning, in Markdown."""
    rows = [f"| `{fact.name}` | {', '.join(fact.about)} | {fact.meaning} |" for fact in sorted(catalogue.values())]
    return "\n".join(["| fact | of | meaning |", "| --- | --- | --- |", *rows])


def _one_line(text: str) -> str:
    return " ".join(text.split())
