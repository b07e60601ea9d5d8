"""Run the cases in a rule's file: events given, openings expected.

They use the same computation as everything else.
"""

from collections.abc import Callable, Iterator, Mapping
from datetime import timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import DAY, MIN_INSTANT, local_date, parse_rfc3339, rfc3339
from scheduler.events.event import Event, concerned
from scheduler.events.kinds import KINDS
from scheduler.events.source import Source
from scheduler.events.validation import problems
from scheduler.facts.declare import Fact
from scheduler.facts.event_cache import Clocks
from scheduler.facts.fact_store import FactStore
from scheduler.facts.intervals import UNKNOWN, WORDS
from scheduler.facts.item_events import item_named
from scheduler.facts.jobs import all_jobs
from scheduler.fleet.fleet import Fleet
from scheduler.fleet.plates import SECTIONS
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.rule import make_rule
from scheduler.verdicts.verdict import Verdict

QUIET_FOR = 30 * DAY
"""`quiet: true` covers so much time after the last event."""
DEFAULT_PLATES: dict[str, dict[str, object]] = {
    "pack": {"chemistry": "lipo", "cells": 4, "capacity": "5000 mAh", "fits": ["aircraft"], "rated_cycles": 300},
    **{part: {"fits": ["aircraft"]} for part in ("propellers", "gimbal", "guards", "filter")},
    "paper": {"valid_for": "24 calendar months"},
    "spares": {"keep": 4},
}
"""The nameplate of a case's item, by kind, under the fields that the case gives. It is in service from a year
before the first event, its id is its kind, and an aircraft and a pack under those ids are in the fleet too."""
BESIDE = ("aircraft", "pack", "charger", "pilot", "spares")
BESIDE_A_JOB = ("propellers", "paper")
"""The other items in the fleet of a case; a pack also has two sisters, pack-2 and pack-3."""


class CaseFailure(NamedTuple):
    """A case that failed: what was expected, what came."""

    expected: str
    came: str


class Cases(Source):
    """A source of events made in memory."""

    def __init__(self, events: list[dict[str, object]], name: str = "given") -> None:
        self.events = sorted(
            Event(parse_rfc3339(str(e["at"])), parse_rfc3339(str(e.get("recorded_at", e["at"]))), f"{name} {seq:02}",
                  seq, str(e["what"]), e)
            for seq, e in enumerate(events, 1)
        )  # fmt: skip
        self._filed = {event.id: concerned(event.fields) for event in self.events}

    def of(self, name: str, what: str | None = None) -> list[Event]:
        """Return the events filed under a name, in order; of kind `what` if given."""
        return [e for e in self.events if name in self._filed[e.id] and what in (None, e.what)]


def given_events(about: str, case: dict) -> list[dict[str, object]]:
    """Return the events of a case; those without a subject get its item."""
    return [_filled(about, dict(event)) for event in case["given"]]


def _filled(about: str, event: dict[str, object]) -> dict[str, object]:
    kind = KINDS.get(str(event.get("what")))
    for field in kind.fields if kind else ():
        wanted = field.type.names.split(",") if field.type.names else []
        if field.name in event or not (field.required and (wanted or field.name == "job")):
            continue
        name = about if about in wanted or "*" in wanted or field.name == "job" else _beside(wanted)
        event[field.name] = [name] if field.name == "packs" else "job" if field.name == "job" else name
    return event


def _beside(wanted: list[str]) -> str:
    return next((kind for kind in ("aircraft", "pack") if kind in wanted), wanted[0])


def verdict_of(raw: dict, case: dict, catalogue: Mapping[str, Fact]) -> Verdict:
    """Return the verdict on the item of a case.

    Raises ValueError if an event is not well formed.
    """
    about = raw["about"]
    events = given_events(about, case)
    for number, event in enumerate(events, 1):
        if wrong := problems(event):
            raise ValueError(f"event {number} of the case: {'; '.join(wrong)}")
    zone = _zone(case)
    store = FactStore(_fleet(about, case, events, zone), Cases(events), Clocks(zone), catalogue)
    name = {"job": "job", "home": "home"}.get(about, case.get("item", {}).get("id", about))
    if about == "job" and name not in all_jobs(store):
        raise ValueError("no event of the case books a job")
    return Verdict(make_rule(raw, catalogue), item_named(store, about, name), store)


def _zone(case: dict) -> ZoneInfo:
    name = case.get("zone", "UTC")
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise ValueError(f"there is no time zone {name!r}: it is a name such as Europe/Lisbon") from None


def _fleet(about: str, case: dict, events: list[dict[str, object]], zone: ZoneInfo) -> Fleet:
    first = min((parse_rfc3339(str(event["at"])) for event in events), default=0)
    day = (local_date(first, zone) - timedelta(days=365)).isoformat()
    section_of = {kind: section for section, kind in SECTIONS.items()}
    fleet: dict[str, list[dict[str, object]]] = {}
    for kind in dict.fromkeys([about, *BESIDE, *(BESIDE_A_JOB if about == "job" else ())]):
        if kind in section_of:
            plate = {"id": kind, "in_service": day} | DEFAULT_PLATES.get(kind, {})
            fleet[section_of[kind]] = [plate | (case.get("item", {}) if kind == about else {})]
    if about == "pack":
        fleet["packs"] += [fleet["packs"][0] | {"id": name} for name in ("pack-2", "pack-3")]
    return Fleet(fleet)


def failures(raw: dict, case: dict, catalogue: Mapping[str, Fact]) -> Iterator[CaseFailure]:
    """Yield what a case expects and does not get."""
    try:
        yield from _unmet(raw, case, catalogue)
    except ValueError as error:
        yield CaseFailure("a case that can be run", str(error))


def _unmet(raw: dict, case: dict, catalogue: Mapping[str, Fact]) -> Iterator[CaseFailure]:
    verdict = verdict_of(raw, case, catalogue)
    instants = [parse_rfc3339(str(event["at"])) for event in given_events(raw["about"], case)]
    start = MIN_INSTANT if "in_service" in case.get("item", {}) or not instants else min(instants)
    found = [episode for episode in verdict.episodes if episode.opened >= start]
    stamp = _stamp(_zone(case))
    if "opens" in case:
        wanted = parse_rfc3339(case["opens"])
        if not found or found[0].opened != wanted:
            yield CaseFailure(
                f"opens {stamp(wanted)}", f"first opens {stamp(found[0].opened)}" if found else "nothing opens"
            )
        elif "settles" in case and found[0].ended != parse_rfc3339(case["settles"]):
            yield CaseFailure(f"settles {stamp(parse_rfc3339(case['settles']))}", _ending(found[0], stamp))
    until = max(instants, default=0) + QUIET_FOR
    if "quiet_until" in case:
        until = parse_rfc3339(case["quiet_until"])
    if ("quiet" in case or "quiet_until" in case) and found and found[0].opened < until:
        yield CaseFailure(f"quiet until {stamp(until)}", f"opens {stamp(found[0].opened)}")
    for expected in case.get("urgency", ()):
        word = verdict.urgency(parse_rfc3339(expected["at"]))
        if word != expected["is"]:
            yield CaseFailure(f"{expected['is']} at {expected['at']}", word)
    if "unknown_at" in case:
        value = verdict.when.at(parse_rfc3339(case["unknown_at"]))
        if value != UNKNOWN:
            yield CaseFailure(f"unknown at {case['unknown_at']}", WORDS[value])


def _stamp(zone: ZoneInfo) -> Callable[[int], str]:
    return lambda instant: rfc3339(instant, None if zone.key == "UTC" else zone)


def _ending(episode: Episode, stamp: Callable[[int], str]) -> str:
    return f"{episode.ending} {stamp(episode.ended)}" if episode.ending else "never settles"


EXPECTATIONS = ("opens", "quiet", "quiet_until", "unknown_at")
HANDLING = ("charged", "drained")
"""Answering with one of these means handling a pack: the rule must ask whether the pack is usable."""


def advice(raw: dict) -> Iterator[str]:
    """Yield what a shipped rule lacks and an own rule should have."""
    cases = raw.get("cases", [])
    if not any("opens" in case for case in cases) or not any({"quiet", "quiet_until"} & set(case) for case in cases):
        yield "has no two cases: one that opens, one that stays quiet"
    if any(not set(EXPECTATIONS) & set(case) for case in cases):
        yield f"has a case that expects nothing: give it {', '.join(EXPECTATIONS)}"
    if raw["about"] == "pack" and raw.get("log_then", "").startswith(HANDLING) and "'usable'" not in str(raw["when"]):
        yield "has a person handle a pack and does not ask whether it is usable"
    if raw["basis"]["kind"] == "published" and "cite" not in raw["basis"]:
        yield "calls its basis published and cites nothing"
