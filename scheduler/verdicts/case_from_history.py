"""Make a case of a rule from real history: the entries behind its verdict."""

from collections.abc import Iterator
from typing import Any, NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, rfc3339
from scheduler.events.event import JOBS, Event
from scheduler.events.kinds import KINDS
from scheduler.facts.intervals import UNKNOWN
from scheduler.fleet.fleet import Fleet
from scheduler.verdicts.cases import failures, given_events
from scheduler.verdicts.conditions import Condition
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.explain import events_in, explain
from scheduler.verdicts.verdict import Verdict

_LEFT_OUT = ("recorded_at", "id", "note", "by", "via", "in_reply_to", "instead_of")
_PLATE_LEFT_OUT = ("id", "note", "price", "fits", "of")
Case = dict[str, object]


class Subject(NamedTuple):
    """What a case is made of: rule as written, verdict, fleet and nameplate."""

    raw: dict[str, Any]
    verdict: Verdict
    fleet: Fleet
    plate: dict[str, object]


def case_of(subject: Subject, now: int) -> Case | None:
    """Return a passing case that reproduces the verdict at `now`, or None."""
    episode = subject.verdict.open_at(now)
    expected = _expected(subject.verdict, episode, now)
    for events in _choices(subject.verdict, episode, now):
        given = [as_given(subject, event) for event in events]
        for around in _surroundings(subject):
            case = around | {"given": given} | expected
            if given and passes(subject, case):
                return case
    return None


def passes(subject: Subject, case: Case) -> bool:
    """Return True if the case gets what it expects."""
    return not list(failures(subject.raw, case, subject.verdict.store.catalogue))


def _expected(verdict: Verdict, episode: Episode | None, now: int) -> Case:
    zone = verdict.store.clocks.zone
    if episode is not None:
        expected: Case = {"opens": rfc3339(episode.opened, zone)}
        return expected | {"settles": rfc3339(episode.ended, zone)} if episode.ended < MAX_INSTANT else expected
    if verdict.when.at(now) == UNKNOWN:
        return {"unknown_at": rfc3339(now, zone)}
    return {"quiet_until": rfc3339(now, zone)}


def _choices(verdict: Verdict, episode: Episode | None, now: int) -> Iterator[list[Event]]:
    """Yield sets of entries to try, the smallest first.

    First those that explanations name, then all since it was last open.
    """
    named = _named(verdict, episode, now)
    yield named
    last = episode.ended if episode is not None and episode.ended < MAX_INSTANT else now
    events = sorted({event.id: event for event in (*verdict.events, *verdict.store.filed(JOBS))}.values())
    before = [event for event in events if event.at <= last]
    yield named or before[-1:]
    ended = max(
        (s.ended for s in verdict.episodes if s.ended <= (episode.opened if episode else now)), default=MIN_INSTANT
    )
    yield [event for event in before if event.at >= ended or event in named]
    yield before


def _named(verdict: Verdict, episode: Episode | None, now: int) -> list[Event]:
    """Return the entries that explain its opening and its end."""
    rule = verdict.rule
    asked: list[tuple[Condition, int]] = [(rule.when, now if episode is None else episode.opened)]
    if episode is not None and episode.ended < MAX_INSTANT:
        asked.append((rule.when if rule.until is None else rule.until, episode.ended))
    found = {event.id: event for condition, at in asked for event in events_in(explain(verdict, condition, at))}
    turns = [at for _, at in asked]
    return sorted({**found, **{event.id: event for event in verdict.events if event.at in turns}}.values())


def _surroundings(subject: Subject) -> Iterator[Case]:
    """Yield zones and nameplates to try, the plainest first."""
    plate = {name: value for name, value in subject.plate.items() if name not in _PLATE_LEFT_OUT}
    bare = {name: value for name, value in plate.items() if name != "in_service"}
    zone = {"zone": subject.verdict.store.clocks.zone.key}
    for item in ({}, bare, plate):
        for place in ({}, zone):
            yield place | ({"item": item} if item else {})


def as_given(subject: Subject, event: Event) -> dict[str, object]:
    """Write an event for a case: items by kind, left out where the case fills in."""
    about, item = subject.verdict.item.kind, subject.verdict.item.id
    given = {"at": event.fields["at"], "what": event.what}
    given |= {name: value for name, value in event.fields.items() if name not in (*given, *_LEFT_OUT)}
    for field in KINDS[event.what].fields:
        if field.type.names and field.name in given:
            given[field.name] = _renamed(subject.fleet, given[field.name])
    if about == "job" and given.get("job") == item:
        given["job"] = "job"
    return _shortened(about, given)


def _renamed(fleet: Fleet, value: object) -> object:
    if isinstance(value, list):
        return list(dict.fromkeys(fleet.kind(name) or name for name in value))
    return fleet.kind(str(value)) or value


def _shortened(about: str, given: dict[str, object]) -> dict[str, object]:
    """Return the event without the fields that a case fills in."""
    whole = given_events(about, {"given": [given]})
    for name in given.keys() - {"at", "what"}:
        less = {key: value for key, value in given.items() if key != name}
        if given_events(about, {"given": [less]}) == whole:
            given = less
    return given
