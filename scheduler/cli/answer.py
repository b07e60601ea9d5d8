"""What `log` answers: what the entry opened and settled, the caution, and when the bell will ring next."""

from scheduler.cli.common import Desk, Without, describe
from scheduler.events.log import JOBS, Event, concerned
from scheduler.facts.book import Book, counts_from
from scheduler.home import Home, Setup
from scheduler.instants import DUSK, MINUTE
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.text import advice, clean, gathered, listed, log_line
from scheduler.reminders.words import next_word
from scheduler.verdicts.verdict import Key


def answer(home: Home, setup: Setup, ids: list[str], now: int) -> str:
    """The answer to the events just logged."""
    desk = Desk(home, setup, now)
    events = [event for event in map(home.log.find, ids) if event is not None]
    book = desk.book()
    board = Board(book, setup.rules, concerned_items(home, setup, events, book))
    lines = [f"Logged: {_logged(events)} ({desk.say(events[0].at)})."]
    opened, settled = changes(open_before(desk, board, events), board.open_at(now))
    lines += _opened(opened, now)
    lines += _settled(settled)
    lines += next_ring(desk, board, opened)
    return "\n".join(lines)


def open_before(desk: Desk, board: Board, events: list[Event]) -> list[Reminder]:
    """What would be open now on a board's items, had the events not been logged.

    Facts look only back, so for entries of this minute with nothing logged since they began, that is what the same board
    had open the moment before.
    """
    began = min(counts_from(event) for event in events)
    recent = min(event.at for event in events) > desk.now - MINUTE
    if recent and not any(map(_corrects, events)) and not _others_since(board.book, events, began):
        return board.open_at(began - 1)
    return Board(_without(desk, board.book, events), desk.setup.rules, board.items).open_at(desk.now)


def _corrects(event: Event) -> bool:
    return event.what == "struck" or "instead_of" in event.fields


def _others_since(book: Book, events: list[Event], began: int) -> bool:
    own = {event.id for event in events}
    names = {name for event in events for name in concerned(event.fields)}
    return any(event.at >= began and event.id not in own for name in names for event in book.filed(name)[-9:])


def _without(desk: Desk, book: Book, events: list[Event]) -> Book:
    """The book as it was before the events."""
    if any(map(_corrects, events)):
        return desk.book(before=events[0].seq)
    return Book(desk.setup.fleet, Without(book, frozenset(e.id for e in events)), desk.setup.clocks)


def _logged(events: list[Event]) -> str:
    if len(events) == 1:
        return describe(events[0])
    names = listed([str(event.get("item")) for event in events])
    return describe(events[0]).replace(str(events[0].get("item")), clean(names), 1)


def concerned_items(home: Home, setup: Setup, events: list[Event], book: Book) -> list[str]:
    """The items whose verdicts the events can touch: those named, parts of an aircraft named, all for a job."""
    named = {name for event in events for name in home.log.filed_under(event.id)}
    if JOBS in named:
        return [*setup.fleet.ids(), *book.jobs]
    aircraft = {name for name in named if setup.fleet.kind(name) == "aircraft"}
    parts = setup.fleet.ids("propellers", "gimbal", "guards", "filter") if aircraft else []
    mishap = any(event.what == "mishap" or _corrects(event) for event in events)
    packs = setup.fleet.ids("pack") if aircraft and mishap else []
    return [*named, *parts, *packs]


def changes(before: list[Reminder], after: list[Reminder]) -> tuple[list[Reminder], list[Reminder]]:
    """The reminders open after and not before, and those open before and not after."""
    was, now_open = {r.key for r in before}, {r.key for r in after}
    return [r for r in after if r.key not in was], [r for r in before if r.key not in now_open]


def _opened(opened: list[Reminder], now: int) -> list[str]:
    lines = []
    for group in gathered(opened):
        lines.append(f"Open: {advice(group, now)}")
        if group.rule.caution:
            lines.append(f"  Caution: {group.rule.caution}")
        if entry := log_line(group, now):
            lines.append(f"  Then: {entry}")
    return lines


def _settled(settled: list[Reminder]) -> list[str]:
    return [f"Settled: {group.rule.title.lower()} ({group.items()})." for group in gathered(settled)]


def ring_ahead(desk: Desk, board: Board) -> tuple[int, list[Reminder]] | None:
    """When the next reminder of a board will ring, if nothing else is logged, and those that ring then."""
    hours, now = desk.setup.hours, desk.now
    ahead = [reminder for reminder in board.reminders if now < reminder.stretch.opened < DUSK]
    words = [word for r in ahead if (word := next_word(board, r, [], hours, r.stretch.opened)) is not None]
    if not words:
        return None
    first = min(word.due for word in words)
    return first, [word.reminder for word in words if word.due == first]


def next_ring(desk: Desk, board: Board, opened: list[Reminder]) -> list[str]:
    """When the next reminder on these items will ring, if nothing else is logged."""
    ahead = ring_ahead(desk, board)
    if ahead is None:
        return [] if opened else ["Nothing to do, and nothing ahead for these by the clock alone."]
    first, together = ahead
    said: dict[str, list[Key]] = {}
    for reminder in together:
        said.setdefault(reminder.verdict.rule.title, []).append(reminder.key)
    what = "; ".join(f"{title.lower()} ({listed([k.item for k in keys])})" for title, keys in said.items())
    lines = [f"Next: I ring {desk.say(first)} unless something is logged before: {what}."]
    caution = together[0].verdict.rule.caution
    return lines + ([f"  Caution: {caution}"] if caution and not opened else [])
