"""What a wake has to look at: the items whose instant has come, and those about which something was logged."""

import gc
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import NamedTuple

from scheduler.base.instants import SECOND
from scheduler.base.progress import Progress, nobody
from scheduler.daemon.spread import spread
from scheduler.events.event import HOME
from scheduler.events.log import LogReader
from scheduler.facts.fact_store import FactStore, HomeSummary, ItemSummary
from scheduler.facts.home_facts import first_in_service
from scheduler.facts.item_events import prefetch_items
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import Home
from scheduler.home.item_states import CacheKey, ItemStates, new_entries
from scheduler.home.setup import Setup, make_setup
from scheduler.messages.outbox import Outbox
from scheduler.reminders.board import Board
from scheduler.reminders.decide import decide
from scheduler.reminders.item_state import (
    ItemState,
    done_with,
    home_asked_since,
    home_can_wait,
    item_states,
    solve,
    together,
)

_WOBBLE = SECOND
"""By so much the clock may stand before the last look without anything having changed. Common practice, no source."""

AT_ONCE = 500
"""So many items are looked at together; more are taken in parts, so that the entries of a few are held at once."""
_AT_A_TIME = 250
"""About so many items are folded before their folds are handed over: the processes take turns, and parts are much
alike."""
_TOO_MANY = 10_000
"""From so many new entries on all items are folded anew."""


class WorkList(NamedTuple):
    """The items that a wake looks at. `was`: what the kept folds hold for; `base`: what those it makes will.

    `home_by`: when the home has to be looked at for what was logged of its items; None where it need not.
    """

    was: CacheKey
    base: CacheKey
    items: frozenset[str]
    home_by: int | None = None

    def widened(self, more: Iterable[str]) -> "WorkList":
        """The same with more items, and with the home where it would have to be looked at later."""
        home = frozenset() if self.home_by is None else frozenset([HOME])
        return self._replace(items=self.items | frozenset(more) | home, home_by=None)


class StatesToKeep(NamedTuple):
    """What a look leaves to be kept."""

    work_list: WorkList
    states: list[ItemState]


@contextmanager
def uncollected() -> Iterator[None]:
    """Without the garbage collector: it finds nothing where books are closed as they are done with, and takes a third
    of the time."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def ensure_item_states(home: Home, setup: Setup, outbox: Outbox, now: int, progress: Progress = nobody) -> None:
    """Make the folds of all items where there are none that hold for this set-up, or the clock was put back since."""
    if holding(home, setup, outbox, now) is not None:
        return
    kept = ItemStates(home.log)
    base = CacheKey(setup.fingerprint, home.log.place())
    with uncollected():
        made = list(fold_all(home, setup, now, progress))
    in_service = first_in_service(FactStore(setup.fleet, LogReader(home.log), setup.clocks))
    with outbox.writing() as transaction:
        kept.renew(transaction, base, in_service, made)


def holding(home: Home, setup: Setup, outbox: Outbox, now: int) -> CacheKey | None:
    """What the folds that are kept hold for; None where they do not hold for this set-up, or so much was logged or the
    clock put back since that all are to be made anew."""
    kept = ItemStates(home.log)
    was = kept.base()
    if was is None or was.fingerprint != setup.fingerprint or home.log.place() - was.seq >= _TOO_MANY:
        return None
    return was if (outbox.state("woke_at") or now) - now < _WOBBLE else None


def fold_all(home: Home, setup: Setup, now: int, progress: Progress = nobody) -> Iterator[ItemState]:
    """The folds of all items, made group by group: never are the entries of all held at once. Those of many items are
    made in several processes."""
    folder = _Folder(home, setup, now)
    groups = [[name for name in group if name != HOME] for group in together(setup.fleet, ItemStates(home.log).jobs())]
    known = {name for group in groups for name in group}
    told = {key.item for key in Outbox(home.log).ledger().announced_keys()}
    groups.append(sorted(told - known - {HOME}))
    groups.reverse()  # what belongs to no aircraft takes longest: no process is left alone with it at the end
    parts = list(_dealt_out(groups))
    made: Iterator[list[ItemState]]
    if len(known) > AT_ONCE:
        made = spread(_folder, (str(home.path), setup.data(), setup.fingerprint, now), parts)
    else:
        made = map(folder, parts)
    evidence: dict[str, ItemSummary] = {}
    done, total = 0, len(known | told)
    for part, folds_of_part in zip(parts, made, strict=True):
        evidence |= {state.item: state.evidence for state in folds_of_part if state.evidence is not None}
        yield from folds_of_part
        done += sum(map(len, part))
        progress(done, total)
    yield from folder.states([HOME], HomeSummary(None, evidence, frozenset(setup.fleet.ids()) - evidence.keys()))


def _dealt_out(groups: Iterable[list[str]]) -> Iterator[list[list[str]]]:
    """Groups of items in parts of about as many items."""
    part: list[list[str]] = []
    for group in groups:
        part.append(group)
        if sum(map(len, part)) >= _AT_A_TIME:
            yield part
            part = []
    if part:
        yield part


def _folder(path: str, checked: dict[str, object], fingerprint: str, now: int) -> "_Folder":
    """A folder in a process of its own, which ends when it is done."""
    gc.disable()
    return _Folder(Home(Path(path)), make_setup(checked, fingerprint), now)


class _Folder:
    """Makes the folds of some groups of items, each of which rests on the same entries."""

    def __init__(self, home: Home, setup: Setup, now: int) -> None:
        self._home = home
        self._setup = setup
        self._now = now

    def __call__(self, groups: list[list[str]]) -> list[ItemState]:
        return [state for group in groups for state in self.states(group)]

    def states(self, group: list[str], known: HomeSummary | None = None) -> list[ItemState]:
        """The folds of one group. `known`: what is known of others, for a look at the home."""
        setup, now = self._setup, self._now
        ledger = Outbox(self._home.log).ledger(group)
        lately = min(now, now if ledger.digest_at is None else ledger.digest_at)
        since = home_asked_since(setup.rules, ledger, now)
        store = FactStore(
            setup.fleet, LogReader(self._home.log), setup.clocks, tracking=True, summary=known, starting_at=since
        )
        prefetch_items(store, group)
        alone = (name for name in group if name not in setup.fleet and name != HOME)
        unsettled = {key.item for key, _ in ledger.unsettled()}
        over = [state for name in alone if (state := done_with(store, setup.rules, unsettled, name, lately))]
        gone = {state.item for state in over}
        left = [name for name in group if name not in gone]
        board = Board(store, setup.rules, left, since=partial(ledger.relevant_since, now=now))
        solved = solve(board, now)
        made = item_states(board, solved, ledger, setup.hours, decide(board, ledger, setup.hours, now), left)
        over += made
        store.close()
        return over


def work_list_of(home: Home, setup: Setup, outbox: Outbox, now: int) -> WorkList | None:
    """What a wake has to look at, by the folds that are kept; None where none hold, so that it is all."""
    was = holding(home, setup, outbox, now)
    if was is None:
        return None
    kept = ItemStates(home.log)
    base = CacheKey(was.fingerprint, home.log.place())
    items = kept.waiting(now)
    if base.seq == was.seq:
        return WorkList(was, base, frozenset(items))
    fresh = new_entries(home.log, was.seq, base.seq)
    items |= kept.touched(fresh)
    at_once = fresh.correct or HOME in fresh.names or not home_can_wait(setup.rules)
    by = now if at_once else setup.hours.next_digest(fresh.first_at)
    return WorkList(was, base, frozenset(items | {HOME} if by <= now else items), None if by <= now else by)


def in_parts(fleet: Fleet, items: frozenset[str]) -> list[list[str]]:
    """Some items in parts that rest on the same entries, each small enough to be held at once; one part at least."""
    jobs = dict[str, str | None].fromkeys(name for name in sorted(items) if name not in fleet and name != HOME)
    parts: list[list[str]] = [[]]
    for group in together(fleet, jobs) if len(items) > AT_ONCE else [sorted(items)]:
        if len(parts[-1]) >= AT_ONCE:
            parts.append([])
        parts[-1] += [name for name in group if name in items]
    return parts
