"""Read and check a home's files: schema, references, and for `check` the cases."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple, Protocol
from zoneinfo import ZoneInfo, available_timezones

from scheduler.base.addresses import concealed
from scheduler.base.findings import Finding, Refused, did_you_mean
from scheduler.base.instants import local_date
from scheduler.base.schema_check import check
from scheduler.base.shipped import folder
from scheduler.base.strict_yaml import YamlFile, read
from scheduler.base.text import clean
from scheduler.events.event import RESERVED
from scheduler.facts.catalogue import CATALOGUE
from scheduler.fleet.plates import SECTIONS
from scheduler.fleet.plates import json_schema as fleet_schema
from scheduler.verdicts.reading import RuleFile, check_references
from scheduler.verdicts.rule import URGENCIES, Ruleset
from scheduler.verdicts.schema import SPAN, rules_schema

if TYPE_CHECKING:
    from pathlib import Path


_CLOCK = {"type": "string", "pattern": r"^([01]?\d|2[0-3]):[0-5]\d$", "x-expects": "a time of day such as 07:00"}


def settings_schema() -> dict[str, object]:
    """Return the JSON Schema (2020-12) of shelfbell.yaml."""
    channel = {
        "type": "object",
        "additionalProperties": False,
        "required": ["url"],
        "properties": {
            "url": {"type": "string", "minLength": 1, "description": "an Apprise address, or $NAME of one"},
            "urgency": {"type": "array", "items": {"enum": list(URGENCIES)}, "minItems": 1},
            "after": SPAN
            | {"description": "a further channel: only for `now` that was rung so long ago and is not seen"},
        },
    }
    heartbeat = {
        "type": "object",
        "additionalProperties": False,
        "required": ["url"],
        "properties": {"url": {"type": "string", "minLength": 1, "description": "an http address, or $NAME of one"}},
        "description": "pinged on each healthy hour, so that somebody else notices silence",
    }
    quiet = {"type": "object", "additionalProperties": False, "required": ["from", "to"],
             "properties": {"from": _CLOCK, "to": _CLOCK}}  # fmt: skip
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Settings of a home",
        "type": "object",
        "additionalProperties": False,
        "required": ["zone"],
        "properties": {
            "zone": {"type": "string", "description": "the operator's time zone, such as Europe/Lisbon"},
            "practice": {"type": "array", "items": {"type": "string"}, "description": "shipped rule files that are on"},
            "channels": {"type": ["object", "null"], "additionalProperties": channel},
            "heartbeat": heartbeat,
            "quiet": quiet,
            "digest": _CLOCK | {"description": "when the digest comes"},
            "eve": _CLOCK | {"description": "when the evening before a job begins"},
        },
    }


class HomeFiles(Protocol):
    """What checking needs: files with names for findings, and items with entries."""

    def files(self) -> "list[tuple[str, Path]]": ...

    def logged_items(self) -> list[str]: ...


class Read(NamedTuple):
    """The readable content of a home's files, shipped rules first, and all findings."""

    settings: YamlFile | None
    fleet: YamlFile | None
    rules: list[RuleFile]
    findings: list[Finding]


def read_home(home: HomeFiles) -> dict:
    """Return the data of every file, checked; the rules' cases are not tried.

    Raises Refused with all findings.
    """
    read = read_files(home)
    if read.findings or read.settings is None or read.fleet is None:
        raise Refused(read.findings)
    rules, adjust = _rules_of(read)
    return {
        "settings": read.settings.data,
        "fleet": read.fleet.data or {},
        "rules": [{name: part for name, part in rule.items() if name != "cases"} for rule in rules],
        "cases": {rule["id"]: rule["cases"] for rule in rules if "cases" in rule},
        "adjust": adjust,
        "facts": CATALOGUE.places(),
    }


def _rules_of(read: Read) -> tuple[list[dict], dict[str, list[dict]]]:
    """Return the rules of all files, and the adjustments of each rule."""
    adjust: dict[str, list[dict]] = {}
    for file in read.rules:
        for rule, changes in file.adjust.items():
            adjust.setdefault(rule, []).extend(changes)
    return [rule for file in read.rules for rule in file.rules], adjust


def read_settings(home: HomeFiles) -> dict:
    """Return the data of shelfbell.yaml, checked as far as that needs no other file.

    Raises Refused.
    """
    settings, found = _document(*home.files()[0])
    if settings:
        found += _settings_faults(settings)
    if found or settings is None:
        raise Refused(map(_without_address, found))
    return settings.data


def file_advice(read: Read, now: int) -> list[Finding]:
    """Return what looks like a mistake in a home's files, if nothing is wrong."""
    from scheduler.home.advice import advice

    if read.findings or read.settings is None or read.fleet is None:
        return []
    rules = Ruleset(*_rules_of(read), CATALOGUE)
    today = local_date(now, ZoneInfo(read.settings.data["zone"]))
    return sorted(advice(read.settings, read.fleet, rules, today))


def read_files(home: HomeFiles) -> Read:
    """Read every file of a home, without trying the rules' cases."""
    documents, found = _documents(home)
    settings, fleet = documents["shelfbell.yaml"], documents["fleet.yaml"]
    files = [RuleFile(d, False) for name, d in documents.items() if d and name.startswith("rules/")]
    if settings:
        found += _settings_faults(settings)
        shipped, missing = _practice(settings)
        files, found = shipped + files, found + missing
    schema = rules_schema(CATALOGUE)
    wrong = [finding for file in files for finding in check(file.document, schema)]
    fleet_wrong = fleet_findings(fleet) if fleet else []
    found += wrong + fleet_wrong
    if fleet and not fleet_wrong:
        items = {entry["id"] for entries in (fleet.data or {}).values() for entry in entries or ()}
        found += [] if wrong else check_references(files, CATALOGUE, items)
        found += [
            fleet.finding((), _GONE.format(item=clean(item))) for item in home.logged_items() if item not in items
        ]
    return Read(settings, fleet, files, sorted({_without_address(finding) for finding in found}))


_GONE = "{item} has entries in the log but is missing here: put it back, and `shelfbell log retired {item}`"


def _without_address(finding: Finding) -> Finding:
    return finding._replace(text=concealed(finding.text)) if finding.file == "shelfbell.yaml" else finding


def _documents(home: HomeFiles) -> tuple[dict[str, YamlFile | None], list[Finding]]:
    documents: dict[str, YamlFile | None] = {}
    found: list[Finding] = []
    for name, path in home.files():
        documents[name], wrong = _document(name, path)
        found += wrong
    return documents, found


def _document(name: str, path: "Path") -> tuple[YamlFile | None, list[Finding]]:
    try:
        return read(path.read_bytes(), name), []
    except FileNotFoundError:
        return None, [Finding(name, 0, 0, "is missing: `shelfbell init` writes one")]
    except OSError as error:
        return None, [Finding(name, 0, 0, f"cannot be read: {error.strerror}")]
    except Refused as refused:
        return None, refused.findings


def _settings_faults(settings: YamlFile) -> list[Finding]:
    found = check(settings, settings_schema())
    found += [] if found else list(_reach_faults(settings))
    zone = settings.data.get("zone") if isinstance(settings.data, dict) else None
    if isinstance(zone, str) and zone not in available_timezones():
        near = did_you_mean(zone, available_timezones()) or ": it is a name such as Europe/Lisbon"
        found.append(settings.finding(("zone",), f"there is no time zone {zone!r}{near}"))
    return found


def _reach_faults(settings: YamlFile) -> Iterator[Finding]:
    """Yield settings that fit the schema but would reach nobody."""
    channels = settings.data.get("channels") or {}
    for name, channel in channels.items():
        if "after" in channel and "urgency" in channel:
            yield settings.finding(
                ("channels", name, "urgency"), "a channel with `after` gets only `now`: leave this out"
            )
    if channels and all("after" in channel for channel in channels.values()):
        yield settings.finding(("channels",), "every channel has `after`: one without it has to ring first")
    url = settings.data.get("heartbeat", {}).get("url", "$")
    if not url.startswith(("$", "http://", "https://")):
        yield settings.finding(
            ("heartbeat", "url"), "it is pinged over http: an http or https address, or $NAME of one"
        )


def _practice(settings: YamlFile) -> tuple[list[RuleFile], list[Finding]]:
    """Return the shipped rule files that are on, and findings on unknown names."""
    known = {path.stem: path for path in sorted(folder("rules").glob("*.yaml"))}
    files, found = [], []
    named = settings.data.get("practice") if isinstance(settings.data, dict) else None
    for index, name in enumerate(named if isinstance(named, list) else ()):
        if name in known:
            files.append(RuleFile(read(known[name].read_bytes(), f"{name}.yaml"), True))
        else:
            text = (
                f"there is no shipped rule file {name!r}; there are {', '.join(known)}{did_you_mean(str(name), known)}"
            )
            found.append(settings.finding(("practice", index), text))
    return files, found


def fleet_findings(fleet: YamlFile) -> list[Finding]:
    """Return what is wrong in fleet.yaml."""
    return check(fleet, fleet_schema()) or list(fleet_faults(fleet.data or {}, fleet.finding))


def fleet_faults(fleet: dict, place: object) -> Iterator[Finding]:
    """Yield what a fleet lists twice, or refers to in vain."""
    kinds = {entry["id"]: SECTIONS[section] for section, entries in fleet.items() for entry in entries or ()}
    seen: set[str] = set()
    for section, entries in fleet.items():
        for index, entry in enumerate(entries or ()):
            path = (section, index)
            if entry["id"] in seen or entry["id"] in RESERVED:
                text = (
                    f"there is an item {entry['id']!r} already"
                    if entry["id"] in seen
                    else f"{entry['id']!r} is a reserved word"
                )
                yield place((*path, "id"), text)  # type: ignore[operator]
            seen.add(entry["id"])
            for at, craft in enumerate(entry.get("fits", ())):
                if kinds.get(craft) != "aircraft":
                    near = did_you_mean(craft, [item for item, kind in kinds.items() if kind == "aircraft"])
                    yield place((*path, "fits", at), f"there is no aircraft {craft!r}{near}")  # type: ignore[operator]
            if "of" in entry and kinds.get(entry["of"]) not in ("pilot", "aircraft"):
                near = did_you_mean(entry["of"], [i for i, kind in kinds.items() if kind in ("pilot", "aircraft")])
                yield place((*path, "of"), f"there is no pilot or aircraft {entry['of']!r}{near}")  # type: ignore[operator]
