"""The dry run: each condition of a rule with its value, its limit and the entries behind it."""

from collections.abc import Callable
from functools import partial
from operator import attrgetter, itemgetter
from typing import NamedTuple, TypeVar

from scheduler.answers.describe_event import describe
from scheduler.answers.desk import Desk
from scheduler.answers.groups import boards, placing
from scheduler.answers.reasons import (
    adjustment,
    causes,
    change_lines,
    comparison,
    named,
    reversal_lines,
    reversing,
    wanted,
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
from scheduler.verdicts.explain import Node, events_in, explain, missing_of, to_json
from scheduler.verdicts.rule import URGENCIES
from scheduler.verdicts.verdict import Verdict, verdicts

Telling = TypeVar("Telling")


def told(at: Desk, found: list[Verdict] | None, tell: Callable[[Verdict], Telling]) -> list[Telling]:
    """What is told of each of some verdicts; of all there are for None. Raises Refused where there is none."""
    if found is not None:
        return list(map(tell, found))
    place = placing(at)
    tellings = [(place(verdict), tell(verdict)) for board in boards(at) for verdict in board.verdicts]
    if not tellings:
        raise Refused.because("no rule that is on applies to any item")
    return [telling for _, telling in sorted(tellings, key=itemgetter(0))]


def pages(at: Desk, found: list[Verdict] | None, each_whole: bool) -> list[str]:
    """What is open, the most urgent first, whole; what is asked by name and unknown, too; of the rest a line each."""
    if each_whole or found is not None and len(found) == 1:
        return told(at, found, partial(one_text, at))
    shown = told(at, found, partial(_page, at, by_name=found is not None))
    if len(shown) == 1:
        return told(at, found, partial(one_text, at))
    whole = [page.text for page in sorted(shown, key=attrgetter("standing")) if page.standing < _SILENT and page.text]
    silent = [page.text for page in shown if page.standing == _SILENT]
    if found is None:
        return [*whole, _the_rest(len(whole), len(shown) - len(whole) - len(silent), len(silent))]
    return [*whole, "\n".join([_HEAD, *(f"  {line}" for line in silent)])] if silent else whole


class _Page(NamedTuple):
    """What is shown of a verdict, "" for nothing. `standing`: how urgent it is where it is open, else what follows."""

    standing: int
    text: str


_UNKNOWN, _SILENT = len(URGENCIES), len(URGENCIES) + 1


def _page(at: Desk, verdict: Verdict, by_name: bool) -> _Page:
    if verdict.open_at(at.now):
        return _Page(URGENCIES.index(verdict.urgency(at.now)), one_text(at, verdict))
    if verdict.when.at(at.now) == UNKNOWN:
        return _Page(_UNKNOWN, one_text(at, verdict) if by_name else "")
    return _Page(_SILENT, _silent_line(at, verdict) if by_name else "")


_HEAD = "Silent (a rule and an item show one whole, --all each):"


def _the_rest(opened: int, unknown: int, silent: int) -> str:
    head = "" if opened else "Nothing is open. "
    count = f"{unknown} cannot be judged, {silent} silent"
    return f"{head}Of the rest, each rule by each item: {count}. `shelfbell explain ITEM` tells of them, --all of each."


def _silent_line(at: Desk, verdict: Verdict) -> str:
    """One line: what keeps it silent, and until when if the clock alone ends that."""
    way = next((way for way in reversing(verdict, at.now) if way), ())
    change = verdict.next_change(at.now)
    then = "" if change is None else f"; may change {at.say(change)}"
    lacking = f": rings when {' and '.join(map(wanted, way))}" if way else ""
    return f"{verdict.rule.id} {verdict.item.id}{lacking}{then}"


def asked(at: Desk, names: list[str]) -> list[Verdict]:
    """The verdicts that rule and item names ask for. Raises Refused."""
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


def one_json(at: Desk, verdict: Verdict) -> dict[str, object]:
    """One verdict for programs."""
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
        "next_change_because": [] if change is None else causes(at, verdict, change),
        "because": to_json(node, at.stamp),
        "open": None if episode is None else {"opened_at": at.stamp(episode.opened)},
        "urgency": verdict.urgency(at.now),
        "missing": missing_of(node),
        "adjusted": verdict.rule.adjusted,
        "would_quiet" if episode else "would_ring": [list(map(wanted, way)) for way in reversing(verdict, at.now)],
        "messages": message_lines(at, verdict),
    }


def one_text(at: Desk, verdict: Verdict) -> str:
    """One verdict for people."""
    rule, now = verdict.rule, at.now
    node = explain(verdict, rule.when, now)
    lines = [f"{rule.title}: {verdict.item.id} ({rule.id})", f"  {_verdict_line(at, verdict)}"]
    lines += [f"  {line}" for line in tree(at, node)]
    nodes = [node]
    if rule.until is not None and verdict.open_at(now):
        nodes.append(explain(verdict, rule.until, now))
        lines += ["  it is settled when:", *(f"    {line}" for line in tree(at, nodes[-1]))]
    lines += reversal_lines(verdict, now)
    lines += entry_lines(at, nodes, partial(through, verdict.store, verdict.item.id))
    missing = missing_of(node) if node.verdict == WORDS[1] else []
    lines += [f"  to know: {entry}" for entry in missing]
    lines += change_lines(at, verdict)
    lines += [f"  message: {line}" for line in message_lines(at, verdict)]
    lines += [f"  adjusted: {line}" for line in adjustment(at, verdict)]
    lines.append(f"  basis: {rule.basis['kind']}{', ' + rule.basis['cite'] if 'cite' in rule.basis else ''}")
    return "\n".join(lines)


def _verdict_line(at: Desk, verdict: Verdict) -> str:
    value = WORDS[verdict.when.at(at.now)]
    since = verdict.when.since(at.now)
    from_ = "" if since == MIN_INSTANT else f" since {at.say(since)}"
    episode = verdict.open_at(at.now)
    standing = f"open since {at.say(episode.opened)}, {verdict.urgency(at.now)}" if episode else "not open"
    return f"{value}{from_}; the reminder is {standing}"


_CONTRARY = {"yes": "no", "no": "yes", "unknown": "unknown"}


def tree(at: Desk, node: Node, holds: bool = True) -> list[str]:
    """The lines of a condition, or of its contrary: a "not" is told as the contrary of what stands under it."""
    if node.kind == "not":
        return tree(at, node.parts[0], not holds)
    mark = f"[{node.verdict if holds else _CONTRARY[node.verdict]}]"
    if node.leaf is not None:
        return [f"{mark} {leaf_line(at, node, holds)}"]
    head = f"{mark} {'all of' if (node.kind == 'all') == holds else 'any of'}"
    return [head, *(f"  {line}" for part in node.parts for line in tree(at, part, holds))]


def leaf_line(at: Desk, node: Node, holds: bool = True) -> str:
    """One comparison, or its contrary: the value, the limit, how far from it, for how long, since when."""
    leaf = node.leaf
    assert leaf is not None
    line = f"{named(leaf)}: {node.value}; wanted: {_sought(leaf, node.limit, holds)}"
    if node.margin:
        line += f"; {node.margin}"
    if leaf.lasting and node.held_since is not None:
        line += f"; so for {show_span(at.now - node.held_since)}, since {at.say(node.held_since)}"
        line += ", not known before" if node.dark_before else ""
    elif not leaf.lasting and node.since is not None:
        line += f"; since {at.say(node.since)}"
    return line


def _sought(leaf: Leaf, limit: str, holds: bool) -> str:
    """The contrary of what has to last is not that its contrary lasts."""
    return comparison(leaf, limit, holds) if holds or not leaf.lasting else f"not {comparison(leaf, limit)}"


def entry_lines(at: Desk, nodes: list[Node], told: Callable[[Event], str], most: int = 8) -> list[str]:
    """The entries that some trees name, the last ones whole."""
    events = sorted({event.id: event for node in nodes for event in events_in(node)}.values())
    if not events:
        return []
    earlier = [f"    and {len(events) - most} earlier ones (--json names them)"] if len(events) > most else []
    return [
        "  the entries behind it:",
        *earlier,
        *(f"    {entry_line(at, event)}{told(event)}" for event in events[-most:]),
    ]


def entry_line(at: Desk, event: Event) -> str:
    """One entry with its id."""
    told = f", told {at.say(event.recorded_at)}" if event.recorded_at - event.at > 10 * MINUTE else ""
    by = f", by {event.fields['by']}" if "by" in event.fields else ""
    return f"{event.id}  {at.say(event.at)}  {describe(event, at.setup.hours.zone)}{told}{by}"


def through(store: FactStore, item: str, event: Event) -> str:
    """The mark of a mishap of an aircraft that concerns an item without naming it; "" of all else."""
    if event.what != "mishap" or item in concerned(event.fields):
        return ""
    if store.fleet.kind(item) == "pack" and flight_of(store, event) is None:
        return f"  [may concern {item}: it names no pack]"
    inferred = describe_inference(store, event) if store.fleet.kind(item) == "pack" else ""
    how = f", inferred: {inferred}" if inferred else f" through {event.get('item')}"
    return f"  [concerns {item}{how}]"
