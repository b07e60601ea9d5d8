"""Explain verdicts: each condition with its value, its limit and its entries."""

from collections.abc import Callable
from functools import partial
from operator import attrgetter, itemgetter
from typing import NamedTuple, TypeVar

from scheduler.answers.describe_event import describe
from scheduler.answers.desk import Desk
from scheduler.answers.groups import boards, placing
from scheduler.answers.reasons import (
    adjustment_lines,
    change_causes,
    change_lines,
    change_text,
    comparison,
    fact_name,
    reversal_lines,
    reversals,
)
from scheduler.answers.sent_messages import message_lines
from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import MIN_INSTANT, MINUTE
from scheduler.base.units import show_span
from scheduler.events.event import Event, concerned
from scheduler.facts.fact_store import FactStore
from scheduler.facts.intervals import UNKNOWN, WORDS
from scheduler.facts.item_events import flight_of
from scheduler.facts.jobs import all_jobs
from scheduler.facts.pack import describe_inference
from scheduler.home.items_without_rules import lines_on_items_without_rules
from scheduler.verdicts.conditions import Leaf
from scheduler.verdicts.explain import Node, events_in, explain, missing_of
from scheduler.verdicts.explain import to_json as node_json
from scheduler.verdicts.rule import URGENCIES
from scheduler.verdicts.verdict import Verdict, verdicts

Described = TypeVar("Described")


def to_json(at: Desk, names: list[str]) -> list[dict[str, object]]:
    """Explain the named verdicts (or all) for programs. Raises Refused."""
    return _describe_each(at, verdicts_named(at, names) if names else None, partial(verdict_json, at))


def to_text(at: Desk, names: list[str], each_whole: bool = False) -> str:
    """Explain them for people; `each_whole`: silent ones whole too. Raises Refused."""
    return "\n\n".join(_texts(at, verdicts_named(at, names) if names else None, each_whole))


def _describe_each(
    at: Desk, found: list[Verdict] | None, describe_verdict: Callable[[Verdict], Described]
) -> list[Described]:
    """Apply `describe_verdict` to each given verdict, or to all.

    Raises Refused without any.
    """
    if found is not None:
        return list(map(describe_verdict, found))
    place = placing(at)
    described = [(place(verdict), describe_verdict(verdict)) for board in boards(at) for verdict in board.verdicts]
    if not described:
        raise Refused.because("no rule that is on applies to any item")
    return [each for _, each in sorted(described, key=itemgetter(0))]


def _texts(at: Desk, found: list[Verdict] | None, each_whole: bool) -> list[str]:
    """Return open and named unknown verdicts in full, urgent first; a line for others."""
    if each_whole or found is not None and len(found) == 1:
        return _describe_each(at, found, partial(verdict_text, at))
    shown = _describe_each(at, found, partial(_page, at, by_name=found is not None))
    if len(shown) == 1:
        return _describe_each(at, found, partial(verdict_text, at))
    whole = [page.text for page in sorted(shown, key=attrgetter("rank")) if page.rank < _SILENT and page.text]
    silent = [page.text for page in shown if page.rank == _SILENT]
    if found is None:
        return [*whole, _the_rest(len(whole), len(shown) - len(whole) - len(silent), len(silent))]
    return [*whole, "\n".join([_HEAD, *(f"  {line}" for line in silent)])] if silent else whole


class _Page(NamedTuple):
    """The text on a verdict, "" for none. `rank`: open by urgency, unknown, silent."""

    rank: int
    text: str


_UNKNOWN, _SILENT = len(URGENCIES), len(URGENCIES) + 1


def _page(at: Desk, verdict: Verdict, by_name: bool) -> _Page:
    if verdict.open_at(at.now):
        return _Page(URGENCIES.index(verdict.urgency(at.now)), verdict_text(at, verdict))
    if verdict.when.at(at.now) == UNKNOWN:
        return _Page(_UNKNOWN, verdict_text(at, verdict) if by_name else "")
    return _Page(_SILENT, _silent_line(at, verdict) if by_name else "")


_HEAD = "Silent (a rule and an item show one whole, --all each):"


def _the_rest(opened: int, unknown: int, silent: int) -> str:
    head = "" if opened else "Nothing is open. "
    count = f"{unknown} cannot be judged, {silent} silent"
    ways = "`shelfbell explain ITEM` shows them, --all each one whole"
    return f"{head}Of the rest, each rule by each item: {count}. {ways}."


def _silent_line(at: Desk, verdict: Verdict) -> str:
    """Say what keeps it silent, and until when if the clock alone ends that."""
    way = next((way for way in reversals(verdict, at.now) if way), ())
    change = verdict.next_change(at.now)
    then = "" if change is None else f"; may change {at.say(change)}"
    lacking = f": rings when {' and '.join(map(change_text, way))}" if way else ""
    return f"{verdict.rule.id} {verdict.item.id}{lacking}{then}"


def verdicts_named(at: Desk, names: list[str]) -> list[Verdict]:
    """Return the verdicts that rule and item names ask for. Raises Refused."""
    store, rules = at.store(), at.setup.rules
    if len(names) > 2:
        raise Refused.because("explain takes a rule, an item, or both")
    wanted_rules = [name for name in names if name in rules]
    others = [name for name in names if name not in wanted_rules]
    for name in others:
        if name not in at.setup.fleet and name not in (*all_jobs(store), "home"):
            near = did_you_mean(name, [*rules, *at.setup.fleet.ids(), *all_jobs(store)])
            raise Refused.because(f"there is no rule or item {name!r}{near}")
    found = verdicts(store, rules, others or None, wanted_rules or None)
    if not found:
        unseen = [] if wanted_rules else lines_on_items_without_rules(at.setup, others)
        raise Refused.because("; ".join(unseen) or f"{' and '.join(names)}: no rule that is on applies")
    return found


def verdict_json(at: Desk, verdict: Verdict) -> dict[str, object]:
    """Explain one verdict for programs."""
    node = explain(verdict, verdict.rule.when, at.now)
    episode = verdict.open_at(at.now)
    since = verdict.when.since(at.now)
    change = verdict.next_change(at.now)
    return {
        "rule": verdict.rule.id,
        "item": verdict.item.id,
        "verdict": WORDS[verdict.when.at(at.now)],
        "since": None if since == MIN_INSTANT else at.stamp(since),
        "next_change": None if change is None else at.stamp(change),
        "next_change_because": [] if change is None else change_causes(at, verdict, change),
        "because": node_json(node, at.stamp),
        "open": None if episode is None else {"opened_at": at.stamp(episode.opened)},
        "urgency": verdict.urgency(at.now),
        "missing": missing_of(node),
        "adjusted": verdict.rule.adjusted,
        "would_quiet" if episode else "would_ring": [list(map(change_text, way)) for way in reversals(verdict, at.now)],
        "messages": message_lines(at, verdict),
    }


def verdict_text(at: Desk, verdict: Verdict) -> str:
    """Explain one verdict for people."""
    rule, now = verdict.rule, at.now
    node = explain(verdict, rule.when, now)
    lines = [f"{rule.title}: {verdict.item.id} ({rule.id})", f"  {_verdict_line(at, verdict)}"]
    lines += [f"  {line}" for line in tree(at, node)]
    nodes = [node]
    if rule.until is not None and verdict.open_at(now):
        nodes.append(explain(verdict, rule.until, now))
        lines += ["  it is settled when:", *(f"    {line}" for line in tree(at, nodes[-1]))]
    lines += reversal_lines(verdict, now)
    lines += entry_lines(at, nodes, partial(mishap_mark, verdict.store, verdict.item.id))
    missing = missing_of(node) if node.verdict == WORDS[1] else []
    lines += [f"  to know: {entry}" for entry in missing]
    lines += change_lines(at, verdict)
    lines += [f"  message: {line}" for line in message_lines(at, verdict)]
    lines += [f"  adjusted: {line}" for line in adjustment_lines(at, verdict)]
    lines.append(f"  basis: {rule.basis['kind']}{', ' + rule.basis['cite'] if 'cite' in rule.basis else ''}")
    return "\n".join(lines)


def _verdict_line(at: Desk, verdict: Verdict) -> str:
    value = WORDS[verdict.when.at(at.now)]
    since = verdict.when.since(at.now)
    from_ = "" if since == MIN_INSTANT else f" since {at.say(since)}"
    episode = verdict.open_at(at.now)
    state = f"open since {at.say(episode.opened)}, {verdict.urgency(at.now)}" if episode else "not open"
    return f"{value}{from_}; the reminder is {state}"


_CONTRARY = {"yes": "no", "no": "yes", "unknown": "unknown"}


def tree(at: Desk, node: Node, holds: bool = True) -> list[str]:
    """Return the lines of a condition, or (`holds` False) of its contrary.

    A "not" is written as the contrary of what it denies.
    """
    if node.kind == "not":
        return tree(at, node.parts[0], not holds)
    mark = f"[{node.verdict if holds else _CONTRARY[node.verdict]}]"
    if node.leaf is not None:
        return [f"{mark} {leaf_line(at, node, holds)}"]
    head = f"{mark} {'all of' if (node.kind == 'all') == holds else 'any of'}"
    return [head, *(f"  {line}" for part in node.parts for line in tree(at, part, holds))]


def leaf_line(at: Desk, node: Node, holds: bool = True) -> str:
    """Write a comparison or its contrary: value, limit, distance, duration, start."""
    leaf = node.leaf
    assert leaf is not None
    sought = _sought(leaf, node.limit, holds)
    wanted = ", as wanted" if sought == f"is {node.value}" else f"; wanted: {sought}"
    line = f"{fact_name(leaf)}: {node.value}{wanted}"
    if node.margin:
        line += f"; {node.margin}"
    if leaf.lasting and node.held_since is not None:
        line += f"; so for {show_span(at.now - node.held_since)}, since {at.say(node.held_since)}"
        line += ", not known before" if node.dark_before else ""
    elif not leaf.lasting and node.since is not None:
        line += f"; since {at.say(node.since)}"
    return line


def _sought(leaf: Leaf, limit: str, holds: bool) -> str:
    # The contrary of "at least 85 % for 24 h" is not "below 85 % for 24 h".
    return comparison(leaf, limit, holds) if holds or not leaf.lasting else f"not {comparison(leaf, limit)}"


def entry_lines(at: Desk, nodes: list[Node], mark: Callable[[Event], str], most: int = 8) -> list[str]:
    """Say the entries that some trees name: the last ones whole, each with its `mark`."""
    events = sorted({event.id: event for node in nodes for event in events_in(node)}.values())
    if not events:
        return []
    earlier = [f"    and {len(events) - most} earlier ones (--json names them)"] if len(events) > most else []
    return [
        "  the entries behind it:",
        *earlier,
        *(f"    {entry_line(at, event)}{mark(event)}" for event in events[-most:]),
    ]


def entry_line(at: Desk, event: Event) -> str:
    """Return one entry with its id."""
    logged = f", logged {at.say(event.recorded_at)}" if event.recorded_at - event.at > 10 * MINUTE else ""
    by = f", by {event.fields['by']}" if "by" in event.fields else ""
    return f"{event.id}  {at.say(event.at)}  {describe(event, at.setup.hours.zone)}{logged}{by}"


def mishap_mark(store: FactStore, item: str, event: Event) -> str:
    """Mark an aircraft mishap that concerns an item without naming it; "" for others."""
    if event.what != "mishap" or item in concerned(event.fields):
        return ""
    if store.fleet.kind(item) == "pack" and flight_of(store, event) is None:
        return f"  [may concern {item}: it names no pack]"
    inferred = describe_inference(store, event) if store.fleet.kind(item) == "pack" else ""
    how = f", inferred: {inferred}" if inferred else f" through {event.get('item')}"
    return f"  [concerns {item}{how}]"
