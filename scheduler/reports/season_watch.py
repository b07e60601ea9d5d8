"""Gather an audit's data by groups of items, so that entries leave the memory."""

from functools import partial
from operator import itemgetter
from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.answers.groups import boards, placing
from scheduler.base.progress import Progress, nobody
from scheduler.facts.fact_store import FactStore
from scheduler.facts.intervals import UNKNOWN
from scheduler.facts.service import retired_at
from scheduler.fleet.fleet import Item
from scheduler.reminders.board import Reminder, urgency_order
from scheduler.reminders.message_text import take_snapshot
from scheduler.reminders.superseded import superseded_by
from scheduler.reminders.unjudged import Unknown, unknown_at
from scheduler.reports.coverage import LAST
from scheduler.reports.fleet_tables import COUNTS
from scheduler.reports.pack_report import history_of_pack
from scheduler.reports.season import Opened, State, Watched
from scheduler.verdicts.verdict import Verdict

_FACTS = (*COUNTS, *LAST, "usable", "days_to_expiry")


class SeasonReview(NamedTuple):
    """The contributions of all items to a season."""

    watched: list[Watched]
    reminders: list[Opened]
    still_open: list[Reminder]
    states: dict[str, State]


def look(at: Desk, start: int, end: int, tell: Progress = nobody) -> SeasonReview:
    """Gather the contributions of all items to [start, end), from all known now."""
    fleet, place = at.setup.fleet, placing(at)
    watched: list[tuple[object, Watched]] = []
    reminders: list[Opened] = []
    still_open: list[Reminder] = []
    states: dict[str, State] = {}
    for board in boards(at, as_recorded=False):
        unknown = {each.key: each for each in unknown_at(board, end)}
        watched += [(place(v), _watched(v, start, end, unknown.get(v.key))) for v in board.verdicts]
        reminders += [_opened(r) for r in board.reminders if r.episode.opened < end and r.episode.ended > start]
        still_open += [take_snapshot(reminder, end) for reminder in board.open_at(end)]
        states |= {name: _state(board.store, fleet[name], end) for name in board.items or () if name in fleet}
        tell(len(states), len(fleet.ids()))
    return SeasonReview(
        [each for _, each in sorted(watched, key=itemgetter(0))],
        sorted(reminders, key=lambda each: (each.episode.opened, each.key)),
        sorted(still_open, key=partial(urgency_order, end)),
        states,
    )


def _watched(verdict: Verdict, start: int, end: int, unknown: Unknown | None) -> Watched:
    undecided = verdict.when.clipped(start, end, outside=UNKNOWN).values == [UNKNOWN]
    return Watched(verdict.key, verdict.rule.title, undecided, _never_logged(verdict, start, end), unknown)


def _never_logged(verdict: Verdict, start: int, end: int) -> list[str]:
    """Return what its facts need and no entry gave in [start, end)."""
    asked = [(verdict.store.catalogue[leaf.fact], leaf) for leaf in verdict.asked]
    return [
        fact.unknown
        for fact, leaf in asked
        if fact.record
        and all(segment.value is None for segment in verdict.ask(leaf.fact, leaf.of).clipped(start, end))
    ]  # fmt: skip


def _opened(reminder: Reminder) -> Opened:
    verdict, episode = reminder
    urgent = any(word == "now" for _, word in verdict.rises(episode))
    return Opened(reminder.key, verdict.rule.title, episode, urgent, superseded_by(reminder) is not None)


def _state(store: FactStore, item: Item, end: int) -> State:
    facts = {name: store.fact(item, name).at(end) for name in _FACTS if item.kind in store.catalogue[name].about}
    history = history_of_pack(store, item, end) if item.kind == "pack" else None
    return State(facts, retired_at(store, item) <= end, history)
