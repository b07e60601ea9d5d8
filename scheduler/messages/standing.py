"""The board without solving what has not changed: from the outlines that were kept, and anew for the rest."""

from typing import NamedTuple

from scheduler.events.event import HOME
from scheduler.events.log import LogReader
from scheduler.facts.fact_store import FactStore
from scheduler.home.folder import Home
from scheduler.home.item_states import CacheKey, ItemStates, new_entries
from scheduler.home.setup import Setup
from scheduler.messages.outbox import Outbox
from scheduler.reminders.board import Board
from scheduler.reminders.outline import Outline, Shelf


class Standing(NamedTuple):
    """What the outlines tell of the items that they still hold for, and the items to be looked at anew."""

    outlines: list[Outline]
    anew: frozenset[str]


def standing(home: Home, setup: Setup, now: int) -> Standing | None:
    """What is kept of the board at `now`; None where nothing is, so that all is to be looked at."""
    if not home.log.exists():
        return None
    with home.log.reading():
        return _standing(home, setup, now)


def _standing(home: Home, setup: Setup, now: int) -> Standing | None:
    folds = ItemStates(home.log)
    was, place = folds.base(), home.log.place()
    woke_at = Outbox(home.log).state("woke_at")
    if was is None or woke_at is None or now < woke_at or was.fingerprint != setup.fingerprint:
        return None
    if place - was.seq > _TOO_MANY:
        return None
    anew = folds.waiting(now) | _touched(home, folds, was, place)
    there = [(item, text) for item, text in folds.outlines(now) if item not in anew]
    anew |= {item for item, text in there if text is None}
    outlines = Shelf(setup.rules, setup.hours.zone).read({item: text for item, text in there if text is not None})
    return Standing(outlines, frozenset(anew))


_TOO_MANY = 1_000
"""From so many entries that no wake has seen it is as quick to look at all anew."""


def _touched(home: Home, folds: ItemStates, was: CacheKey, place: int) -> set[str]:
    return folds.touched(new_entries(home.log, was.seq, place)) | {HOME} if place > was.seq else set()


def board_of(home: Home, setup: Setup, now: int, items: frozenset[str]) -> Board:
    """The board of some items at `now`, to be asked about no other instant."""
    from scheduler.facts.home_facts import SUMMARISED
    from scheduler.reminders.item_state import home_since

    since, others = home_since(setup.rules, now), items - {HOME}
    known = ItemStates(home.log).known(others, since) if HOME in items else None
    asked = known is not None and (known.by_item or any(setup.fleet.kind(item) in SUMMARISED for item in others))
    if asked:  # since when, is asked over all time
        known = ItemStates(home.log).known(others)
    store = FactStore(setup.fleet, LogReader(home.log), setup.clocks, summary=known, starting_at=since)
    return Board(store, setup.rules, sorted(items), since=lambda _key: now)
