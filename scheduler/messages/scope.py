"""What a wake has to look at: the items whose instant has come, and those about which something was logged."""

import gc
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import NamedTuple

from scheduler.events.log import HOME, Reader
from scheduler.facts.book import Book
from scheduler.facts.quiet import Evidence, Known, first_in_service
from scheduler.fleet.fleet import Fleet
from scheduler.home import Home, Setup
from scheduler.instants import SECOND
from scheduler.messages.folds import Base, Folds, fresh_entries
from scheduler.messages.outbox import Outbox
from scheduler.messages.progress import Progress, nobody
from scheduler.reminders.board import Board
from scheduler.reminders.decide import Ledger, decide
from scheduler.reminders.fold import Fold, done_with, folds, home_can_wait, solve, together

_WOBBLE = SECOND
"""By so much the clock may stand before the last look without anything having changed. Common practice, no source."""

AT_ONCE = 500
"""So many items are looked at together; more are taken in parts, so that the entries of a few are held at once."""
_TOO_MANY = 10_000
"""From so many new entries on all items are folded anew."""


class Scope(NamedTuple):
    """The items that a wake looks at. `was`: what the kept folds hold for; `base`: what those it makes will.

    `home_by`: when the home has to be looked at for what was logged of its items; None where it need not.
    """

    was: Base
    base: Base
    items: frozenset[str]
    home_by: int | None = None

    def widened(self, more: Iterable[str]) -> "Scope":
        """The same with more items, and with the home where it would have to be looked at later."""
        home = frozenset() if self.home_by is None else frozenset([HOME])
        return self._replace(items=self.items | frozenset(more) | home, home_by=None)


class Look(NamedTuple):
    """What a look leaves to be kept."""

    scope: Scope
    folds: list[Fold]


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


def ensure_folds(home: Home, setup: Setup, outbox: Outbox, now: int, progress: Progress = nobody) -> None:
    """Make the folds of all items where there are none that hold for this set-up, or the clock was put back since."""
    if holding(home, setup, outbox, now) is not None:
        return
    kept = Folds(home.log)
    base = Base(setup.fingerprint, kept.place())
    with uncollected():
        made = list(fold_all(home, setup, outbox.ledger(), now, progress))
    in_service = first_in_service(Book(setup.fleet, Reader(home.log), setup.clocks))
    with outbox.writing() as transaction:
        kept.renew(transaction, base, in_service, made)


def holding(home: Home, setup: Setup, outbox: Outbox, now: int) -> Base | None:
    """What the folds that are kept hold for; None where they do not hold for this set-up, or so much was logged or the
    clock put back since that all are to be made anew."""
    kept = Folds(home.log)
    was = kept.base()
    if was is None or was.fingerprint != setup.fingerprint or kept.place() - was.seq >= _TOO_MANY:
        return None
    return was if (outbox.state("woke_at") or now) - now < _WOBBLE else None


def fold_all(home: Home, setup: Setup, ledger: Ledger, now: int, progress: Progress = nobody) -> Iterator[Fold]:
    """The folds of all items, made group by group: never are the entries of all held at once."""
    jobs = Folds(home.log).jobs()
    alone = {name for name in jobs if name not in setup.fleet and name != HOME}
    groups = list(together(setup.fleet, jobs))
    known = {name for group in groups for name in group}
    told = {key.item for key in ledger.spoken_of()}
    groups += [sorted(told - known)] if told - known else []
    evidence: dict[str, Evidence] = {}
    done, lately = 0, min(now, now if ledger.digest_at is None else ledger.digest_at)
    for group in groups:
        known_now = Known(None, evidence, frozenset(setup.fleet.ids()) - evidence.keys()) if HOME in group else None
        book = Book(setup.fleet, Reader(home.log), setup.clocks, listening=True, known=known_now)
        book.look_up(group)
        over = [f for name in group if name in alone and (f := done_with(book, setup.rules, ledger, name, lately))]
        yield from over
        left = [name for name in group if name not in {fold.item for fold in over}]
        board = Board(book, setup.rules, left, since=partial(ledger.since, now=now))
        solved = solve(board, now)
        for fold in folds(board, solved, ledger, setup.hours, decide(board, ledger, setup.hours, now), left):
            if fold.evidence is not None:
                evidence[fold.item] = fold.evidence
            yield fold
        book.close()
        done += len(group)
        progress(done, len(known))


def scope_of(home: Home, setup: Setup, outbox: Outbox, now: int) -> Scope | None:
    """What a wake has to look at, by the folds that are kept; None where none hold, so that it is all."""
    was = holding(home, setup, outbox, now)
    if was is None:
        return None
    kept = Folds(home.log)
    base = Base(was.fingerprint, kept.place())
    items = kept.waiting(now)
    if base.seq == was.seq:
        return Scope(was, base, frozenset(items))
    fresh = fresh_entries(home.log, was.seq, base.seq)
    items |= kept.touched(fresh)
    at_once = fresh.correct or HOME in fresh.names or not home_can_wait(setup.rules)
    by = now if at_once else setup.hours.next_digest(fresh.first_at)
    return Scope(was, base, frozenset(items | {HOME} if by <= now else items), None if by <= now else by)


def in_parts(fleet: Fleet, items: frozenset[str]) -> list[list[str]]:
    """Some items in parts that rest on the same entries, each small enough to be held at once; one part at least."""
    jobs = dict[str, str | None].fromkeys(name for name in sorted(items) if name not in fleet and name != HOME)
    parts: list[list[str]] = [[]]
    for group in together(fleet, jobs) if len(items) > AT_ONCE else [sorted(items)]:
        if len(parts[-1]) >= AT_ONCE:
            parts.append([])
        parts[-1] += [name for name in group if name in items]
    return parts
