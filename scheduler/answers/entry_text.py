"""Answer an entry in words: what was logged, doubts, changes, the next ring."""

from collections.abc import Sequence

from scheduler.answers.describe_event import describe, naming_packs
from scheduler.answers.desk import Desk
from scheduler.answers.entry_effects import Effects, NextRing
from scheduler.answers.plausibility import plausibility_questions
from scheduler.base.instants import HOUR, moment
from scheduler.base.text import clean, listed
from scheduler.events.event import Event
from scheduler.facts.fact_store import FactStore
from scheduler.facts.fitting import packs_for
from scheduler.facts.item_events import flight_of
from scheduler.facts.jobs import all_jobs
from scheduler.facts.pack import WATCH, describe_inference, doubtful_mishaps, may_have_been_knocked
from scheduler.home.folder import Home
from scheduler.home.lock import running
from scheduler.reminders.board import Board, Reminder

_LOOK_ANSWERS = ("mishap", "noticed", "warned")
"""The kinds that a later look answers."""

_USES_PACK = ("charged", "drained", "flown")
"""The kinds that a pack which may have been in a mishap should not have seen."""

_RINGS, _WOULD_RING = "I ring", "I would ring"


def logged_lines(desk: Desk, store: FactStore, events: list[Event], assumed: Sequence[str]) -> list[str]:
    """Say what was logged and `assumed` in reading it; ask about what is doubtful."""
    lines = [f"Logged: {_logged(desk, events)} ({desk.say(events[0].at)}).", *assumed]
    for event in events:
        lines += _expiry_line(desk, store, event) + _earlier_booking(desk, store, event)
    return lines + plausibility_questions(events, store, desk.now)


def _logged(desk: Desk, events: list[Event]) -> str:
    first, zone = events[0], desk.setup.hours.zone
    if first.what == "struck" and (gone := desk.home.log.find(first.get("event"))) is not None:
        return f"struck {first.get('event')}: {describe(gone, zone)}, {desk.say(gone.at)}, no longer counts"
    if len(events) == 1:
        return describe(first, zone)
    return describe(first, zone, clean(listed([str(event.get("item")) for event in events])))


def _expiry_line(desk: Desk, store: FactStore, event: Event) -> list[str]:
    """Say the last good day of a renewed paper if it was not given."""
    if event.what != "renewed" or "expires" in event.fields:
        return []
    left = store.fact(desk.setup.fleet[event.get("item")], "days_to_expiry").at(desk.now)
    if left is None:
        return ["  No expiry date known: log it again with --expires DATE."]
    day = moment(desk.now + int(left) - HOUR, desk.setup.hours.zone, year=True)[:-6]
    dated = "" if "issued" in event.fields else ", counted from today, as no date was given (--issued or --expires)"
    return [f"  Good till {day}{dated}."]


def _earlier_booking(desk: Desk, store: FactStore, event: Event) -> list[str]:
    """Say the time of the earlier booking of a job booked again."""
    if event.what != "booked":
        return []
    plans = all_jobs(store)[event.get("job")].plans
    before = [plan for plan in plans if plan.known_to == event.at and plan.event.id != event.id]
    return [f"  Before, it was booked for {desk.say(before[-1].starts)}."] if before else []


def effect_lines(desk: Desk, effects: Effects) -> list[str]:
    """Say what the entries changed, what is still open, and when the bell rings next."""
    board, events, opened = effects.board, effects.events, effects.opened
    lines = _mishap_packs(board.store, events)
    lines += _too_soon(desk, board.store, events) + _unsure(board.store, events, desk.now)
    ring = ring_phrase(desk.home)
    if opened or effects.ended:
        from scheduler.answers.entry_changes import ended_lines, opened_lines  # reminders' words take long to load

        lines += opened_lines(desk, board, opened, ring) + ended_lines(board, effects.ended, events)
    lines += _ended_since(desk, board, events)
    still = effects.still_open
    lines += [f"Still open: {_titles(still)}."] if still else []
    lines += next_ring_lines(desk, board, effects.next_ring, opened, ring, still)
    return lines + no_daemon_lines(ring, bool(opened or effects.next_ring))


def ring_phrase(home: Home) -> str:
    """Return "I ring" while a daemon runs, "I would ring" while none does."""
    return _RINGS if running(home.place) else _WOULD_RING


def no_daemon_lines(ring: str, rings: bool) -> list[str]:
    """Say what to start if something will ring (`rings`) and no daemon runs."""
    return (
        ["No daemon is running, so nothing will ring: start `shelfbell run`."] if rings and ring == _WOULD_RING else []
    )


def _mishap_packs(store: FactStore, events: list[Event]) -> list[str]:
    """Say which packs count as involved in a mishap that names none, or ask."""
    lines = []
    for event in events:
        if event.what == "mishap" and store.fleet.kind(str(event.get("item"))) == "aircraft":
            lines += _which_pack(store, event)
    return lines


def _which_pack(store: FactStore, mishap: Event) -> list[str]:
    entry = naming_packs(mishap)
    if inferred := describe_inference(store, mishap):
        return [f"Which pack was in it is inferred: {inferred}. If it was another: {entry}"]
    if "packs" in mishap.fields or flight_of(store, mishap):
        return []
    fitting = packs_for(store, str(mishap.get("item")))
    packs = [pack.id for pack in fitting if mishap.id in [each.id for each in doubtful_mishaps(store, pack)]]
    until = [f"  Until you say which, {listed(packs)} {_count_as(packs)} involved."] if packs else []
    return [f"Which pack was in it? {entry}", *until]


def _count_as(packs: list[str]) -> str:
    return "counts as" if len(packs) == 1 else "count as"


def _too_soon(desk: Desk, store: FactStore, events: list[Event]) -> list[str]:
    """Say which packs were looked at too soon after a knock, and when a look counts."""
    packs: dict[tuple[int, bool], list[str]] = {}
    for event in events:
        name = str(event.get("item"))
        if (
            event.get("result") == "pass"
            and store.fleet.kind(name) == "pack"
            and store.fact(store.fleet[name], "past_mending").at(desk.now) != "yes"
        ):
            segment = store.fact(store.fleet[name], "under_watch").segment(desk.now)
            if segment.value != "no" and segment.evidence and segment.evidence[0].at <= event.at:
                packs.setdefault((segment.evidence[0].at + WATCH, segment.value == "yes"), []).append(name)
    return [
        f"This look at {listed(names)} does not {'end the watch after a knock' if knocked else _SETTLE}: a look counts "
        f"only from {desk.say(counts)}. Look again then, and log that."
        for (counts, knocked), names in packs.items()
    ]


_SETTLE = "settle the doubt after a mishap that names no pack"


def _unsure(store: FactStore, events: list[Event], now: int) -> list[str]:
    """Name the packs charged, drained or flown that may have been in a mishap."""
    named = [
        str(name)
        for event in events
        if event.what in _USES_PACK
        for name in (event.get("item"), *event.get("packs", ()))
    ]
    packs = [name for name in dict.fromkeys(named) if store.fleet.kind(name) == "pack"]
    unsure = [name for name in packs if may_have_been_knocked(store, store.fleet[name], now)]
    if not unsure:
        return []
    return [f"{listed(unsure)} may have been in a mishap that names no pack: look first (`shelfbell due`)."]


def _ended_since(desk: Desk, board: Board, events: list[Event]) -> list[str]:
    """Say what a late entry opened that a later entry has since settled."""
    began = {event.at for event in events}
    over = [r for r in board.reminders if r.episode.opened in began and r.episode.ended <= desk.now]
    if not over:
        return _looked_since(desk, board.store, events)
    from scheduler.answers.entry_changes import ended_since_lines

    return ended_since_lines(desk, over, events)


def _looked_since(desk: Desk, store: FactStore, events: list[Event]) -> list[str]:
    """Say which look that passed answers a late entry."""
    lines = []
    for event in events:
        passed = [
            look
            for look in store.filed(str(event.get("item")), "inspected")
            if event.what in _LOOK_ANSWERS and event.at < look.at <= desk.now and look.get("result") == "pass"
        ]
        if passed:
            when = desk.say(passed[0].at)
            lines.append(f"{event.get('item')} has passed a look since, {when}: that look counts for it.")
    return lines


def _titles(reminders: list[Reminder]) -> str:
    """ "pack left full (A and B); pack may be swollen (C)"."""
    said: dict[str, dict[str, None]] = {}
    for reminder in reminders:
        said.setdefault(reminder.verdict.rule.title, {})[reminder.key.item] = None
    return "; ".join(f"{title.lower()} ({listed(list(items))})" for title, items in said.items())


def next_ring_lines(
    desk: Desk, board: Board, ahead: NextRing | None, opened: list[Reminder], ring: str, still: Sequence[Reminder] = ()
) -> list[str]:
    """Say when the next reminder on a board's items rings if nothing else is logged.

    `opened`, `still`: reminders named already. `ring`: from `ring_phrase`.
    """
    if ahead is None:
        return [] if opened or still else _nothing_ahead(desk, board)
    lines = [_next_line(ahead.reminders, f"{ring} {desk.say(ahead.at)} unless something is logged before")]
    caution = ahead.reminders[0].verdict.rule.caution
    return lines + ([f"  Caution: {caution}"] if caution and not opened else [])


def _next_line(reminders: list[Reminder], rings: str) -> str:
    """Say for which items it rings then: others may ring before."""
    items = list(dict.fromkeys(reminder.key.item for reminder in reminders))
    if len(items) > _MOST_NAMED:
        return f"Next for these: {rings}: {_titles(reminders)}."
    titles = {reminder.verdict.rule.title.lower() for reminder in reminders}
    return f"Next for {listed(items)}: {rings}: {titles.pop() if len(titles) == 1 else _titles(reminders)}."


def _nothing_ahead(desk: Desk, board: Board) -> list[str]:
    """Say why nothing will ring: nothing is due, or no rule looks."""
    from scheduler.home.items_without_rules import lines_on_items_without_rules

    unseen = lines_on_items_without_rules(desk.setup, board.items or ())
    if unseen:
        return [f"{line[:1].upper()}{line[1:]}." for line in unseen]
    items = [item for item in board.items or () if item in desk.setup.fleet]
    return [f"Nothing to do; no date ahead{f' for {listed(items)}' if 0 < len(items) <= _MOST_NAMED else ''}."]


_MOST_NAMED = 3
"""The most items that are named where nothing is ahead for them."""
