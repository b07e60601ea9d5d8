"""Explanations: the events they name are the reason, and no others are."""

from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.instants import HOUR, rfc3339
from scheduler.base.strict_yaml import read
from scheduler.facts.intervals import WORDS
from scheduler.verdicts.conditions import leaves
from scheduler.verdicts.explain import Node, events_in, explain, missing_of, to_json
from scheduler.verdicts.verdict import Verdict, verdicts
from tests.homes import FLEET, ruleset
from tests.support import Entries, Fields, book_of, event, moment, rfc

RULES = ruleset()
START = moment("2026-03-01")
PLATES = read(FLEET, "fleet.yaml").data


def verdict_on(rule: str, item: str, entries: Entries, fleet: dict[str, Entries] = PLATES) -> Verdict:
    """A rule on an item of the small home, with these events."""
    (found,) = verdicts(book_of(fleet, *entries), RULES, [item], [rule])
    return found


class Told(NamedTuple):
    """What a rule says of an item: its verdict, and the exact value of each fact it looks at."""

    verdict: str
    values: tuple[object, ...]


def told(verdict: Verdict, now: int) -> Told:
    """The verdict at an instant with the values it rests on."""
    values = tuple(verdict.ask(leaf.fact, leaf.of).at(now) for leaf in leaves(verdict.rule.when))
    return Told(WORDS[verdict.when.at(now)], values)


def named_by(verdict: Verdict, now: int) -> set[str]:
    """The ids of the events that the explanation names."""
    return {named.id for named in events_in(explain(verdict, verdict.rule.when, now))}


def at(hours: int) -> str:
    return rfc3339(START + hours * HOUR)


@st.composite
def lifetimes(draw: st.DrawFn) -> Entries:
    """A life of pack A and its aircraft: charges, drains, readings, flights and looks, no two alike and each telling
    something new: a look has a flight before it."""
    hours = sorted(draw(st.sets(st.integers(0, 100), min_size=2, max_size=9)))
    percents = draw(st.lists(st.integers(60, 99), min_size=len(hours), max_size=len(hours), unique=True))
    flown, made = False, []
    for number, (hour, percent) in enumerate(zip(hours, percents, strict=True)):
        kinds = sorted(_KINDS) if flown else sorted(_KINDS.keys() - {"inspected"})
        what = draw(st.sampled_from(kinds))
        flown = what == "flown" or flown and what != "inspected"
        made.append(_made(what, 4 * hour, percent) | {"id": f"e{number}"})
    return made


_KINDS: dict[str, dict[str, object]] = {
    "charged": {"item": "A"},
    "drained": {"item": "A"},
    "measured": {"item": "A"},
    "flown": {"aircraft": "heron", "packs": ["A"], "percent_from": 100},
    "inspected": {"item": "heron-props", "result": "pass"},
}


def _made(what: str, hour: int, percent: int) -> Fields:
    fields = dict(_KINDS[what])
    if what == "flown":
        fields |= {"percent_to": percent, "minutes": 30 + percent / 2}
    elif what != "inspected":
        fields["percent"] = percent
    return event(at(hour), what, **fields)


asked = st.sampled_from([("left-full", "A"), ("left-full", "A"), ("unread", "A"), ("look-due", "heron-props")])
instants = st.one_of(st.integers(0, 450), st.integers(0, 3000)).map(lambda hours: START + hours * HOUR)
many = settings(max_examples=300, deadline=None)


@many
@given(asked, lifetimes(), instants)
def test_the_events_it_names_are_enough(subject: tuple[str, str], entries: Entries, now: int) -> None:
    """Without all the others the verdict and every value are the same."""
    verdict = verdict_on(*subject, entries)
    named = named_by(verdict, now)

    alone = verdict_on(*subject, [fields for fields in entries if fields["id"] in named])

    assert told(alone, now) == told(verdict, now)


@many
@given(asked, lifetimes(), instants, st.data())
def test_taking_away_an_event_that_it_does_not_name_changes_nothing(
    subject: tuple[str, str], entries: Entries, now: int, data: st.DataObject
) -> None:
    verdict = verdict_on(*subject, entries)
    others = [fields["id"] for fields in entries if fields["id"] not in named_by(verdict, now)]
    gone = data.draw(st.sets(st.sampled_from(others))) if others else set()

    without = verdict_on(*subject, [fields for fields in entries if fields["id"] not in gone])

    assert told(without, now) == told(verdict, now)


@settings(deadline=None)
@given(asked, lifetimes(), instants)
def test_taking_away_the_events_that_it_names_changes_the_verdict_or_a_value(
    subject: tuple[str, str], entries: Entries, now: int
) -> None:
    verdict = verdict_on(*subject, entries)
    named = named_by(verdict, now)

    without = verdict_on(*subject, [fields for fields in entries if fields["id"] not in named])

    assert not named or told(without, now) != told(verdict, now)


@settings(deadline=None)
@given(lifetimes(), instants)
def test_events_to_come_are_never_a_reason(entries: Entries, now: int) -> None:
    """But for a flight under way, whose landing tells what its take-off began."""
    for rule, item in (("left-full", "A"), ("unread", "A"), ("look-due", "heron-props")):
        named = events_in(explain(verdict_on(rule, item, entries), RULES.get(rule, item).when, now))  # type: ignore[union-attr]
        assert all(one.at <= now or one.what == "flown" and one.at <= now + 80 * HOUR // 60 for one in named)


RICH: Entries = [
    event("2026-03-01 09:00", "charged", item="A", percent=60, id="old"),
    event("2026-03-02 09:00", "charged", item="A", percent=95, id="full"),
    event("2026-03-02 20:00", "measured", item="A", percent=94, id="read"),
    event("2026-03-03 08:00", "booked", job="vineyard", starts="2026-03-10 08:00", id="job"),
    event("2026-03-03 09:00", "mishap", item="A", severity="dropped", id="fall"),
    event("2026-03-05 09:00", "inspected", item="A", result="pass", id="pass"),
]
REASONS: dict[str, tuple[str, str, str, str, set[str]]] = {
    "too short: what filled it, and what it held before": ("left-full", "A", "2026-03-02 12:00", "no", {"old", "full"}),
    "full for a day, and dropped": ("left-full", "A", "2026-03-03 10:00", "no", {"full", "read", "job", "fall"}),
    "full for a day, looked at and passed": ("left-full", "A", "2026-03-06 09:00", "yes", {"read", "job"}),
    "a job tomorrow": ("left-full", "A", "2026-03-09 09:00", "no", {"read", "job"}),
    "nothing known yet": ("left-full", "A", "2026-02-20 09:00", "unknown", set()),
    "counting from its first day": ("unread", "B", "2026-02-20 09:00", "no", set()),
    "read not long ago": ("unread", "A", "2026-03-20 09:00", "no", {"read"}),
}  # fmt: skip


@pytest.mark.parametrize("case", REASONS)
def test_it_names(case: str) -> None:
    rule, item, now, word, named = REASONS[case]
    verdict = verdict_on(rule, item, RICH)

    assert WORDS[verdict.when.at(moment(now))] == word
    assert named_by(verdict, moment(now)) == named


def nodes(node: Node) -> list[Node]:
    """A node and all below it."""
    return [node, *(below for part in node.parts for below in nodes(part))]


@settings(deadline=None)
@given(asked, lifetimes(), instants)
def test_each_node_tells_the_stretch_over_which_it_stays(subject: tuple[str, str], entries: Entries, now: int) -> None:
    verdict = verdict_on(*subject, entries)
    tree = explain(verdict, verdict.rule.when, now)

    for node in nodes(tree):
        assert node.since is None or node.since <= now
        assert node.until is None or node.until > now
    assert tree.verdict == WORDS[verdict.when.at(now)]
    edges = [edge for edge in (tree.since, tree.until) if edge is not None]
    assert all(verdict.when.at(edge - 1) != verdict.when.at(edge) for edge in edges)


def test_the_tree_for_programs_has_the_value_the_limit_and_the_events() -> None:
    verdict = verdict_on("left-full", "A", RICH)
    tree = to_json(explain(verdict, verdict.rule.when, moment("2026-03-06 09:00")), rfc3339)

    charge = tree["all"][0]  # type: ignore[index]
    assert {name: charge[name] for name in ("fact", "comparison", "limit", "limit_name", "lasting", "verdict")} == {
        "fact": "charge", "comparison": "at_least", "limit": "85 %", "limit_name": "full", "lasting": 86_400,
        "verdict": "yes",
    }  # fmt: skip
    assert charge["value"] == "94 %"
    assert charge["held_since"] == rfc("2026-03-02 09:00")
    assert charge["events"] == [{"id": "read", "at": rfc("2026-03-02 20:00"), "what": "measured"}]
    assert tree["all"][2]["not"]["fact"] == "next_job_in"  # type: ignore[index]
    assert (tree["verdict"], tree["since"]) == ("yes", rfc("2026-03-05 09:00"))
    assert tree["next_change"] == rfc("2026-03-09 08:00")


def test_what_is_missing_is_the_entry_that_would_tell() -> None:
    verdict = verdict_on("left-full", "B", RICH)
    tree = explain(verdict, verdict.rule.when, moment("2026-02-20 09:00"))

    assert missing_of(tree) == ["shelfbell log measured B PERCENT"]


def test_every_rule_can_be_explained_on_every_item_without_any_event() -> None:
    asked_of = {
        (v.rule.id, v.item.kind, explain(v, v.rule.when, START).verdict) for v in verdicts(book_of(PLATES), RULES)
    }

    assert asked_of == {
        ("left-full", "pack", "unknown"),
        ("swollen", "pack", "no"),
        ("unread", "pack", "no"),
        ("look-due", "propellers", "no"),
        ("paper-due", "paper", "unknown"),
    }
