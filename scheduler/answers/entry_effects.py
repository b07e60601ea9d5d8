"""Find what new entries change: reminders opened and ended, and the next ring."""

from itertools import chain, takewhile
from typing import NamedTuple

from scheduler.answers.desk import Desk, Without
from scheduler.base.instants import HOUR, MAX_INSTANT, MINUTE
from scheduler.events.event import JOB, JOBS, Event, concerned, corrects
from scheduler.facts.event_times import begins_at
from scheduler.facts.fact_store import FactStore
from scheduler.facts.fitting import CARRIED, packs_for, parts_of
from scheduler.facts.jobs import all_jobs, find_job
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import Home
from scheduler.home.setup import Setup
from scheduler.reminders.announcements import next_announcement
from scheduler.reminders.board import Board, Reminder

_CHANGES_FITNESS = ("mishap", "inspected", "repaired", "noticed", "set_aside", "handed_in", "warned", "retired",
                    "replaced", "fitted", "removed", "confirmed", "renewed")  # fmt: skip
"""The kinds that can take an item from a job, or give it back: they concern the jobs ahead too."""


class NextRing(NamedTuple):
    """When the bell next rings if nothing is logged before, and for which reminders."""

    at: int
    reminders: list[Reminder]


class Effects(NamedTuple):
    """The changes that some entries made on the items they concern.

    `opened`: includes those that the entries made more urgent. `still_open`: of the items named, those open before.
    """

    board: Board
    events: list[Event]
    opened: list[Reminder]
    ended: list[Reminder]
    still_open: list[Reminder]
    next_ring: NextRing | None


def effects_of(desk: Desk, store: FactStore, events: list[Event]) -> Effects:
    """Return what new events changed."""
    board = concerned_board(desk, store, events)
    open_now = board.open_at(desk.now)
    opened, ended = differences(open_before(desk, board, events), open_now)
    opened += _risen([reminder for reminder in open_now if reminder not in opened], events, desk.now)
    named = {name for event in events for name in desk.home.log.touched_by(event)}
    still_open = [r for r in open_now if r not in opened and r.key.item in named]
    return Effects(board, events, opened, ended, still_open, next_ring(desk, board))


def concerned_board(desk: Desk, store: FactStore, events: list[Event]) -> Board:
    """Return the board of items the events can touch, solved from just before them."""
    before = min(map(begins_at, events)) - 1
    items = concerned_items(desk.home, desk.setup, events, store)
    return Board(store, desk.setup.rules, items, since=lambda _key: before)


def concerned_items(home: Home, setup: Setup, events: list[Event], store: FactStore) -> list[str]:
    """Return the items whose verdicts the events can touch.

    These are the items named, the parts of an aircraft named and the items of a job named; jobs not yet over too, if an
    event can ground an item.
    """
    fleet = setup.fleet
    named = dict.fromkeys(name for event in events for name in home.log.touched_by(event))
    if JOB in named:  # booked for no one aircraft
        return [*fleet.ids(), *all_jobs(store)]
    jobs = [job for name in named if name.startswith(JOB) and (job := find_job(store, name.removeprefix(JOB)))]
    aircraft = [name for name in named if fleet.kind(name) == "aircraft"]
    mishap = any(event.what == "mishap" or corrects(event) or _names_mishap_packs(store, event) for event in events)
    found = [*named, *(part.id for craft in aircraft for part in parts_of(store, craft, *CARRIED))]
    found += [pack.id for craft in aircraft for pack in packs_for(store, craft) if mishap]
    if JOBS in named:
        found += [job.name for job in jobs]
        flown = [*aircraft, *(str(plan.aircraft) for job in jobs for plan in job.plans)]
        found += [name for craft in flown for name in (craft, *fleet.fitting(craft), *fleet.papers_of(craft))]
        found += [name for name in fleet.fitting(None) if not _of_an_aircraft(fleet, name)]
    if any(event.what in _CHANGES_FITNESS or corrects(event) for event in events):
        since = min(event.at for event in events) - 12 * HOUR
        found += [job.name for job in all_jobs(store).values() if job.plans[-1].ends > since]
    return list(dict.fromkeys(found))


def _names_mishap_packs(store: FactStore, event: Event) -> bool:
    """True for a flight that shows which packs were in a mishap."""
    mishaps = store.filed(str(event.get("aircraft")), "mishap") if event.what == "flown" else []
    return any(mishap.at >= begins_at(event) for mishap in mishaps)


def _of_an_aircraft(fleet: Fleet, name: str) -> bool:
    """Return whether `name` is an aircraft or the papers of one."""
    return "aircraft" in (fleet.kind(name), fleet.kind(str(fleet.raw(name).get("of"))))


def open_before(desk: Desk, board: Board, events: list[Event]) -> list[Reminder]:
    """Return what would be open now on a board's items without these events."""
    began = min(begins_at(event) for event in events)
    recent = min(event.at for event in events) > desk.now - MINUTE
    # Facts look only back: for entries of this minute, with nothing logged since they began, the same board a moment
    # before has the answer without solving a second one.
    if recent and not any(map(corrects, events)) and not _others_since(board.store, events, began):
        return board.open_at(began - 1)
    without = store_without(desk, board.store, events)
    return Board(without, desk.setup.rules, board.items, since=lambda _key: desk.now).open_at(desk.now)


def _others_since(store: FactStore, events: list[Event], began: int) -> bool:
    own = {event.id for event in events}
    names = {name for event in events for name in concerned(event.fields)}
    since = (takewhile(lambda event: event.at >= began, reversed(store.filed(name))) for name in names)
    return any(event.id not in own for event in chain.from_iterable(since))


def store_without(desk: Desk, store: FactStore, events: list[Event]) -> FactStore:
    """Return the facts as they would be without the events."""
    if any(map(corrects, events)):  # what they took back counts again without them
        return desk.store(before=events[0].seq)
    return FactStore(desk.setup.fleet, Without(store, frozenset(e.id for e in events)), desk.setup.clocks)


def differences(before: list[Reminder], after: list[Reminder]) -> tuple[list[Reminder], list[Reminder]]:
    """Return the reminders open only after, and those open only before."""
    was, now_open = {r.key for r in before}, {r.key for r in after}
    return [r for r in after if r.key not in was], [r for r in before if r.key not in now_open]


def _risen(reminders: list[Reminder], events: list[Event], now: int) -> list[Reminder]:
    """Return the open reminders that the events made as urgent as they are now."""
    began = {event.at for event in events}
    rises = ((reminder, reminder.verdict.rises(reminder.episode)[1:]) for reminder in reminders)
    return [r for r, later in rises if any(at in began and urgency == r.verdict.urgency(now) for at, urgency in later)]


def next_ring(desk: Desk, board: Board) -> NextRing | None:
    """Return the next ring of a board if nothing else is logged; None without any."""
    hours, now = desk.setup.hours, desk.now
    ahead = [reminder for reminder in board.reminders if now < reminder.episode.opened < MAX_INSTANT]
    announced = [next_announcement(board, r, [], hours, r.episode.opened) for r in ahead]
    announcements = [each for each in announced if each is not None]
    if not announcements:
        return None
    first = min(each.due for each in announcements)
    return NextRing(first, [each.reminder for each in announcements if each.due == first])
