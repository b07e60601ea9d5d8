"""What `log` answers: what the entry opened and settled, the caution, and when the bell will ring next."""

from collections.abc import Sequence
from itertools import chain, takewhile

from scheduler.answers.describe_event import describe, naming_packs
from scheduler.answers.desk import Desk, Without
from scheduler.answers.plausibility import plausibility_questions
from scheduler.base.instants import HOUR, MAX_INSTANT, MINUTE, moment
from scheduler.base.text import clean, listed
from scheduler.events.event import JOB, JOBS, Event, concerned, corrects
from scheduler.facts.event_times import begins_at
from scheduler.facts.fact_store import FactStore
from scheduler.facts.fitting import CARRIED, packs_for, parts_of
from scheduler.facts.item_events import flight_of
from scheduler.facts.jobs import all_jobs, find_job
from scheduler.facts.pack import WATCH, describe_inference, may_have_been_knocked
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import Home
from scheduler.home.lock import running
from scheduler.home.setup import Setup
from scheduler.reminders.announcements import next_announcement
from scheduler.reminders.board import Board, Reminder

_SHAKEN = ("mishap", "inspected", "repaired", "noticed", "set_aside", "handed_in", "warned", "retired", "replaced",
           "fitted", "removed", "confirmed", "renewed")  # fmt: skip
"""The kinds that can take an item from a job, or give it back: the jobs ahead are answered for too."""

_LOOKED_INTO = ("mishap", "noticed", "warned")
"""The kinds that a later look answers."""

_HANDLED = ("charged", "drained", "flown")
"""The kinds that a pack which may have been in a mishap should not have seen."""

_RINGS, _WOULD_RING = "I ring", "I would ring"
"""How the bell speaks of itself while a daemon runs, and while none does."""

_SETTLE = "settle the doubt after a mishap that names no pack"


def answer(home: Home, setup: Setup, ids: list[str], now: int, taken_as: Sequence[str] = ()) -> str:
    """The answer to the events just logged; `taken_as`: lines on how what was typed was taken."""
    desk = Desk(home, setup, now)
    events = _found(home, ids)
    store = desk.store()
    board = concerned_board(desk, store, events)
    lines = _told(desk, store, events, taken_as)
    now_open = board.open_at(now)
    opened, settled = changes(open_before(desk, board, events), now_open)
    opened += _risen([reminder for reminder in now_open if reminder not in opened], events, now)
    lines += _which_packs(store, events)
    lines += _too_soon(desk, store, events) + _unsure(store, events, now)
    ring = how_it_rings(home)
    if opened or settled:
        from scheduler.answers.changes import opened_lines, over_lines  # what reminders say takes a while to load

        lines += opened_lines(desk, board, opened, ring) + over_lines(board, settled, events)
    lines += _answered(desk, board, events)
    named = {name for event in events for name in home.log.filed_under(event)}
    still = [r for r in now_open if r not in opened and r.key.item in named]
    lines += [f"Still open: {_titles(still)}."] if still else []
    ahead = ring_ahead(desk, board)
    lines += next_ring(desk, board, ahead, opened, ring, still)
    return "\n".join(lines + unheard(ring, bool(opened or ahead)))


def how_it_rings(home: Home) -> str:
    """How the bell of a home speaks of itself."""
    return _RINGS if running(home.place) else _WOULD_RING


def unheard(ring: str, rings: bool) -> list[str]:
    """What to start where something is to ring, and the bell only would."""
    return ["Nobody is running that could ring: start `shelfbell run`."] if rings and ring == _WOULD_RING else []


def _which_packs(store: FactStore, events: list[Event]) -> list[str]:
    """Of a mishap that names no packs: what they are inferred from, or the question. A pack that fell is watched."""
    lines = []
    for event in events:
        if event.what == "mishap" and store.fleet.kind(str(event.get("item"))) == "aircraft":
            lines += _by_flight(store, event)
    return lines


def _by_flight(store: FactStore, mishap: Event) -> list[str]:
    again = naming_packs(mishap)
    if inferred := describe_inference(store, mishap):
        return [f"Which pack was in it is inferred: {inferred}. If it was another: {again}"]
    if "packs" in mishap.fields or flight_of(store, mishap):
        return []
    packs = [
        pack.id for pack in packs_for(store, str(mishap.get("item"))) if may_have_been_knocked(store, pack, mishap.at)
    ]
    until = [f"  Until that is told, {listed(packs)} may have been in it."] if packs else []
    return [f"Which pack was in it? {again}", *until]


def _too_soon(desk: Desk, store: FactStore, events: list[Event]) -> list[str]:
    """The packs whose look does not count, for it came within the watch after a knock, and from when one will."""
    packs: dict[tuple[int, bool], list[str]] = {}
    for event in events:
        name = str(event.get("item"))
        if (
            event.get("result") == "pass"
            and store.fleet.kind(name) == "pack"
            and not _past_mending(store, name, desk.now)
        ):
            segment = store.fact(store.fleet[name], "under_watch").segment(desk.now)
            if segment.value != "no" and segment.evidence and segment.evidence[0].at <= event.at:
                packs.setdefault((segment.evidence[0].at + WATCH, segment.value == "yes"), []).append(name)
    return [
        f"This look at {listed(names)} does not {'end the watch after a knock' if knocked else _SETTLE}: one does from "
        f"{desk.say(counts)} on. Look again then, and log that."
        for (counts, knocked), names in packs.items()
    ]


def _past_mending(store: FactStore, pack: str, now: int) -> bool:
    """True of a pack that no look makes sound."""
    return store.fact(store.fleet[pack], "past_mending").at(now) == "yes"


def _unsure(store: FactStore, events: list[Event], now: int) -> list[str]:
    """What was charged, drained or flown, and may have been in a mishap."""
    named = [
        str(name) for event in events if event.what in _HANDLED for name in (event.get("item"), *event.get("packs", ()))
    ]
    packs = [name for name in dict.fromkeys(named) if store.fleet.kind(name) == "pack"]
    unsure = [name for name in packs if may_have_been_knocked(store, store.fleet[name], now)]
    return (
        [f"{listed(unsure)} may have been in a mishap that names no pack: look first (`shelfbell due`)."]
        if unsure
        else []
    )


def unjudged(home: Home, setup: Setup, ids: list[str], now: int, taken_as: Sequence[str] = ()) -> str:
    """The answer where no rules can be had: what was logged, and nothing of what follows from it."""
    desk = Desk(home, setup, now)
    return "\n".join(_told(desk, desk.store(), _found(home, ids), taken_as))


def _found(home: Home, ids: list[str]) -> list[Event]:
    return [event for event in map(home.log.find, ids) if event is not None]


def _told(desk: Desk, store: FactStore, events: list[Event], taken_as: Sequence[str]) -> list[str]:
    """What was logged, how it was taken, and what is doubtful in it."""
    lines = [f"Logged: {_logged(desk, events)} ({desk.say(events[0].at)}).", *taken_as]
    for event in events:
        lines += _good_till(desk, store, event) + _was_booked(desk, store, event)
    return lines + plausibility_questions(events, store, desk.now)


def _good_till(desk: Desk, store: FactStore, event: Event) -> list[str]:
    """The last good day of a paper renewed, where it was not given."""
    if event.what != "renewed" or "expires" in event.fields:
        return []
    left = store.fact(desk.setup.fleet[event.get("item")], "days_to_expiry").at(desk.now)
    if left is None:
        return ["  I do not know till when it is good: log it again with --expires DATE."]
    day = moment(desk.now + int(left) - HOUR, desk.setup.hours.zone, year=True)[:-6]
    dated = "" if "issued" in event.fields else ", counted from today, for no date was given (--issued or --expires)"
    return [f"  Good till {day}{dated}."]


def _was_booked(desk: Desk, store: FactStore, event: Event) -> list[str]:
    """The time that a job booked anew had before."""
    if event.what != "booked":
        return []
    plans = all_jobs(store)[event.get("job")].plans
    before = [plan for plan in plans if plan.known_to == event.at and plan.event.id != event.id]
    return [f"  Before it was booked for {desk.say(before[-1].starts)}."] if before else []


def open_before(desk: Desk, board: Board, events: list[Event]) -> list[Reminder]:
    """What would be open now on a board's items, had the events not been logged.

    Facts look only back, so for entries of this minute with nothing logged since they began, that is what the same
    board had open the moment before.
    """
    began = min(begins_at(event) for event in events)
    recent = min(event.at for event in events) > desk.now - MINUTE
    if recent and not any(map(corrects, events)) and not _others_since(board.store, events, began):
        return board.open_at(began - 1)
    without = _without(desk, board.store, events)
    return Board(without, desk.setup.rules, board.items, since=lambda _key: desk.now).open_at(desk.now)


def _others_since(store: FactStore, events: list[Event], began: int) -> bool:
    own = {event.id for event in events}
    names = {name for event in events for name in concerned(event.fields)}
    since = (takewhile(lambda event: event.at >= began, reversed(store.filed(name))) for name in names)
    return any(event.id not in own for event in chain.from_iterable(since))


def _without(desk: Desk, store: FactStore, events: list[Event]) -> FactStore:
    """The book as it was before the events."""
    if any(map(corrects, events)):
        return desk.store(before=events[0].seq)
    return FactStore(desk.setup.fleet, Without(store, frozenset(e.id for e in events)), desk.setup.clocks)


def _logged(desk: Desk, events: list[Event]) -> str:
    first, zone = events[0], desk.setup.hours.zone
    if first.what == "struck" and (gone := desk.home.log.find(first.get("event"))) is not None:
        return f"struck {first.get('event')}: {describe(gone, zone)}, {desk.say(gone.at)}, counts no more"
    if len(events) == 1:
        return describe(first, zone)
    return describe(first, zone, clean(listed([str(event.get("item")) for event in events])))


def concerned_board(desk: Desk, store: FactStore, events: list[Event]) -> Board:
    """The board of what the events can touch. What was over before they began is not asked about."""
    before = min(map(begins_at, events)) - 1
    items = concerned_items(desk.home, desk.setup, events, store)
    return Board(store, desk.setup.rules, items, since=lambda _key: before)


def concerned_items(home: Home, setup: Setup, events: list[Event], store: FactStore) -> list[str]:
    """The items whose verdicts the events can touch: those named, parts of an aircraft named, those a job concerns.

    What can ground an item touches the jobs that are not over too.
    """
    fleet = setup.fleet
    named = dict.fromkeys(name for event in events for name in home.log.filed_under(event))
    if JOB in named:  # booked for no one aircraft
        return [*fleet.ids(), *all_jobs(store)]
    jobs = [job for name in named if name.startswith(JOB) and (job := find_job(store, name.removeprefix(JOB)))]
    aircraft = [name for name in named if fleet.kind(name) == "aircraft"]
    mishap = any(event.what == "mishap" or corrects(event) or _tells_packs(store, event) for event in events)
    found = [*named, *(part.id for craft in aircraft for part in parts_of(store, craft, *CARRIED))]
    found += [pack.id for craft in aircraft for pack in packs_for(store, craft) if mishap]
    if JOBS in named:
        found += [job.name for job in jobs]
        flown = [*aircraft, *(str(plan.aircraft) for job in jobs for plan in job.plans)]
        found += [name for craft in flown for name in (craft, *fleet.fitting(craft), *fleet.papers_of(craft))]
        found += [name for name in fleet.fitting(None) if not _of_an_aircraft(fleet, name)]
    if any(event.what in _SHAKEN or corrects(event) for event in events):
        since = min(event.at for event in events) - 12 * HOUR
        found += [job.name for job in all_jobs(store).values() if job.plans[-1].ends > since]
    return list(dict.fromkeys(found))


def _tells_packs(store: FactStore, event: Event) -> bool:
    """True for a flight that can tell which packs were in a mishap."""
    mishaps = store.filed(str(event.get("aircraft")), "mishap") if event.what == "flown" else []
    return any(mishap.at >= begins_at(event) for mishap in mishaps)


def _of_an_aircraft(fleet: Fleet, name: str) -> bool:
    """True for an aircraft, and the papers of one."""
    return "aircraft" in (fleet.kind(name), fleet.kind(str(fleet.raw(name).get("of"))))


def changes(before: list[Reminder], after: list[Reminder]) -> tuple[list[Reminder], list[Reminder]]:
    """The reminders open after and not before, and those open before and not after."""
    was, now_open = {r.key for r in before}, {r.key for r in after}
    return [r for r in after if r.key not in was], [r for r in before if r.key not in now_open]


def _risen(standing: list[Reminder], events: list[Event], now: int) -> list[Reminder]:
    """Of reminders that were open before, those that the events made as urgent as they are now."""
    began = {event.at for event in events}
    heights = ((reminder, reminder.verdict.rises(reminder.episode)[1:]) for reminder in standing)
    return [r for r, rises in heights if any(at in began and word == r.verdict.urgency(now) for at, word in rises)]


def _answered(desk: Desk, board: Board, events: list[Event]) -> list[str]:
    """What a late entry opened then, and a later entry has settled since."""
    began = {event.at for event in events}
    over = [r for r in board.reminders if r.episode.opened in began and r.episode.ended <= desk.now]
    if not over:
        return _looked_over(desk, board.store, events)
    from scheduler.answers.changes import answered_lines

    return answered_lines(desk, over, events)


def _looked_over(desk: Desk, store: FactStore, events: list[Event]) -> list[str]:
    """The look that passed after a late entry of something to look into: it counts for it."""
    lines = []
    for event in events:
        passed = [
            look
            for look in store.filed(str(event.get("item")), "inspected")
            if event.what in _LOOKED_INTO and event.at < look.at <= desk.now and look.get("result") == "pass"
        ]
        if passed:
            when = desk.say(passed[0].at)
            lines.append(f"{event.get('item')} passed a look since, {when}: that look counts for it.")
    return lines


def _titles(reminders: list[Reminder]) -> str:
    """ "pack left full (A and B); pack may be swollen (C)"."""
    said: dict[str, dict[str, None]] = {}
    for reminder in reminders:
        said.setdefault(reminder.verdict.rule.title, {})[reminder.key.item] = None
    return "; ".join(f"{title.lower()} ({listed(list(items))})" for title, items in said.items())


Ahead = tuple[int, list[Reminder]] | None
"""When the bell rings next, and for what; None where it will not."""


def ring_ahead(desk: Desk, board: Board) -> Ahead:
    """When the next reminder of a board will ring, if nothing else is logged, and those that ring then."""
    hours, now = desk.setup.hours, desk.now
    ahead = [reminder for reminder in board.reminders if now < reminder.episode.opened < MAX_INSTANT]
    words = [word for r in ahead if (word := next_announcement(board, r, [], hours, r.episode.opened)) is not None]
    if not words:
        return None
    first = min(word.due for word in words)
    return first, [word.reminder for word in words if word.due == first]


def next_ring(
    desk: Desk, board: Board, ahead: Ahead, opened: list[Reminder], ring: str, still: Sequence[Reminder] = ()
) -> list[str]:
    """When the next reminder on these items will ring, if nothing else is logged."""
    if ahead is None:
        return [] if opened or still else _nothing_ahead(desk, board)
    first, together = ahead
    lines = [f"Next: {ring} {desk.say(first)} unless something is logged before: {_titles(together)}."]
    caution = together[0].verdict.rule.caution
    return lines + ([f"  Caution: {caution}"] if caution and not opened else [])


def _nothing_ahead(desk: Desk, board: Board) -> list[str]:
    """Why nothing will ring: nothing is due, or no rule looks."""
    from scheduler.home.items_without_rules import lines_on_items_without_rules

    unseen = lines_on_items_without_rules(desk.setup, board.items or ())
    if unseen:
        return [f"{line[:1].upper()}{line[1:]}." for line in unseen]
    return ["Nothing to do, and nothing ahead for these by the clock alone."]
