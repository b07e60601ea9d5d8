"""The work list of a wake: items due by the clock, and those new entries touch."""

import gc
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cached_property, partial
from pathlib import Path
from typing import NamedTuple

from scheduler.base.instants import SECOND
from scheduler.base.progress import Progress, nobody
from scheduler.events.event import HOME
from scheduler.events.log import LogReader
from scheduler.facts.fact_store import FactStore, HomeSummary, ItemSummary
from scheduler.facts.home_facts import first_in_service
from scheduler.facts.item_events import prefetch_items
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import Home
from scheduler.home.item_states import CacheKey, ItemStates, new_entries
from scheduler.home.process_pool import map_in_processes
from scheduler.home.setup import Setup, make_setup
from scheduler.messages.outbox import Outbox
from scheduler.reminders.board import Board
from scheduler.reminders.decide import Ledger, decide
from scheduler.reminders.item_state import (
    ItemState,
    finished_job,
    group_items,
    home_asked_since,
    home_can_wait,
    item_states,
    solve,
)

_CLOCK_JITTER = SECOND
"""How far the clock may stand before the last wake and count as unchanged. Common practice, no source."""

ITEMS_PER_WAKE_GROUP = 500
"""Items that a wake examines together; it divides more into groups, so that memory holds the entries of a few."""
_PER_CALL = 250
"""About how many items a worker process is given at a time: enough to be worth a call, few enough to share evenly."""
_REBUILD_FROM_ENTRIES = 10_000
"""From this many new entries on, rebuilding all item states is quicker."""


class WorkList(NamedTuple):
    """The items that a wake looks at.

    `was`: what the kept states are valid for; `key`: what the new ones will be. `home_by`: when to look at the home
    because of entries about its items; None where that is not needed, or the home is on the list.
    """

    was: CacheKey
    key: CacheKey
    items: frozenset[str]
    home_by: int | None = None

    def widened(self, more: Iterable[str]) -> "WorkList":
        """Return the list with more items, and with the home if it is due later."""
        home = frozenset() if self.home_by is None else frozenset([HOME])
        return self._replace(items=self.items | frozenset(more) | home, home_by=None)


class StatesToKeep(NamedTuple):
    """The item states that a wake computed, and for which work list."""

    work_list: WorkList
    states: list[ItemState]


@contextmanager
def uncollected() -> Iterator[None]:
    """Suspend the garbage collector.

    It would take a third of the time and find nothing, as stores are closed.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def ensure_item_states(home: Home, setup: Setup, outbox: Outbox, now: int, progress: Progress = nobody) -> None:
    """Rebuild the states of all items unless the kept ones can be used."""
    if usable_key(home, setup, outbox, now) is not None:
        return
    key = CacheKey(setup.fingerprint, home.log.place())
    with uncollected():
        states = list(rebuild_states(home, setup, now, progress))
    in_service = first_in_service(FactStore(setup.fleet, LogReader(home.log), setup.clocks))
    with outbox.writing() as transaction:
        ItemStates(home.log).replace(transaction, key, in_service, states)


def usable_key(home: Home, setup: Setup, outbox: Outbox, now: int) -> CacheKey | None:
    """Return what the kept states are valid for, if a wake can start from them.

    None where they belong to another set-up or program, too much was logged since, or the clock was put back.
    """
    key = ItemStates(home.log).key()
    if key is None or key.fingerprint != setup.fingerprint or home.log.place() - key.seq >= _REBUILD_FROM_ENTRIES:
        return None
    return key if (outbox.state("woke_at") or now) - now < _CLOCK_JITTER else None


def rebuild_states(home: Home, setup: Setup, now: int, progress: Progress = nobody) -> Iterator[ItemState]:
    """Compute the states of all items, group by group; many in several processes."""
    builder = _Builder(home, setup, now)
    groups = [
        [name for name in group if name != HOME] for group in group_items(setup.fleet, ItemStates(home.log).jobs())
    ]
    known = {name for group in groups for name in group}
    spoken_of = {key.item for key in Outbox(home.log).ledger().announced_keys()}
    groups.append(sorted(spoken_of - known - {HOME}))
    groups.reverse()  # the items without an aircraft take longest: no process is left alone with them at the end
    shares = list(_shares(groups))
    computed: Iterator[list[ItemState]]
    if len(known) > ITEMS_PER_WAKE_GROUP:
        elsewhere = _BuilderElsewhere(str(home.path), setup.data(), setup.fingerprint, now)
        computed = map_in_processes(elsewhere, shares)
    else:
        computed = map(builder, shares)
    summaries: dict[str, ItemSummary] = {}
    done, total = 0, len(known | spoken_of)
    for share, states in zip(shares, computed, strict=True):
        summaries |= {state.item: state.summary for state in states if state.summary is not None}
        yield from states
        done += sum(map(len, share))
        progress(done, total)
    yield from builder.states([HOME], HomeSummary(None, summaries, frozenset(setup.fleet.ids()) - summaries.keys()))


def _shares(groups: Iterable[list[str]]) -> Iterator[list[list[str]]]:
    """Collect groups into shares of about `_PER_CALL` items."""
    share: list[list[str]] = []
    for group in groups:
        share.append(group)
        if sum(map(len, share)) >= _PER_CALL:
            yield share
            share = []
    if share:
        yield share


class _BuilderElsewhere:
    """Runs a builder in another process, which makes its own at the first call."""

    def __init__(self, path: str, checked: dict[str, object], fingerprint: str, now: int) -> None:
        self._given = (path, checked, fingerprint, now)

    @cached_property
    def _builder(self) -> "_Builder":
        path, checked, fingerprint, now = self._given
        gc.disable()  # the process ends when the work is done
        return _Builder(Home(Path(path)), make_setup(checked, fingerprint), now)

    def __call__(self, groups: list[list[str]]) -> list[ItemState]:
        return self._builder(groups)


class _Builder:
    """Computes item states, one group of items after another."""

    def __init__(self, home: Home, setup: Setup, now: int) -> None:
        self._home = home
        self._setup = setup
        self._now = now

    def __call__(self, groups: list[list[str]]) -> list[ItemState]:
        return [state for group in groups for state in self.states(group)]

    def states(self, group: list[str], summary: HomeSummary | None = None) -> list[ItemState]:
        """Return the states of one group. `summary`: of the items, if the home is in it."""
        setup, now = self._setup, self._now
        ledger = Outbox(self._home.log).ledger(group)
        begins = home_asked_since(setup.rules, ledger, now)
        store = FactStore(
            setup.fleet, LogReader(self._home.log), setup.clocks, tracking=True, summary=summary, starting_at=begins
        )
        prefetch_items(store, group)
        finished = self._finished_jobs(group, store, ledger)
        rest = [name for name in group if name not in finished]
        board = Board(store, setup.rules, rest, since=partial(ledger.relevant_since, now=now))
        solved = solve(board, now)
        decision = decide(board, ledger, setup.hours, now)
        states = [*finished.values(), *item_states(board, solved, ledger, setup.hours, decision, rest)]
        store.close()
        return states

    def _finished_jobs(self, group: list[str], store: FactStore, ledger: Ledger) -> dict[str, ItemState]:
        """Return the states of jobs that need not be solved, by name."""
        rules, now = self._setup.rules, self._now
        digest_at = now if ledger.digest_at is None else min(now, ledger.digest_at)
        unsettled = {key.item for key, _ in ledger.unsettled()}
        only_jobs = (name for name in group if name not in self._setup.fleet and name != HOME)
        states = (finished_job(store, rules, unsettled, name, digest_at) for name in only_jobs)
        return {state.item: state for state in states if state is not None}


def work_list_of(home: Home, setup: Setup, outbox: Outbox, now: int) -> WorkList | None:
    """Return what a wake must look at, by the kept states; None: everything."""
    was = usable_key(home, setup, outbox, now)
    if was is None:
        return None
    states = ItemStates(home.log)
    key = CacheKey(was.fingerprint, home.log.place())
    items = states.waiting(now)
    if key.seq == was.seq:
        return WorkList(was, key, frozenset(items))
    new = new_entries(home.log, was.seq, key.seq)
    items |= states.touched(new)
    at_once = new.correct or HOME in new.names or not home_can_wait(setup.rules)
    by = now if at_once else setup.hours.next_digest(new.first_at)
    return WorkList(was, key, frozenset(items | {HOME} if by <= now else items), None if by <= now else by)


def in_groups(fleet: Fleet, items: frozenset[str]) -> list[list[str]]:
    """Divide items into at least one group, by shared dependencies and for memory."""
    if len(items) <= ITEMS_PER_WAKE_GROUP:
        return [sorted(items)]
    jobs = dict[str, str | None].fromkeys(name for name in sorted(items) if name not in fleet and name != HOME)
    groups: list[list[str]] = [[]]
    for group in group_items(fleet, jobs):
        if len(groups[-1]) >= ITEMS_PER_WAKE_GROUP:
            groups.append([])
        groups[-1] += [name for name in group if name in items]
    return groups
