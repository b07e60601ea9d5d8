"""Two rehearsals of one stretch side by side: what the one has and the other has not."""

from typing import NamedTuple

from scheduler.reminders.board import Reminder
from scheduler.reminders.rehearse import Rehearsal


class Difference(NamedTuple):
    """What the second of two rehearsals lacks (`gone`), adds (`new`), has at other times (`moved`: before, after)."""

    gone: list[Reminder]
    new: list[Reminder]
    moved: list[tuple[Reminder, Reminder]]


def compare(first: Rehearsal, second: Rehearsal) -> Difference:
    """What the second has otherwise. Reminders of the same rule and item that overlap in time are the same one."""
    left = list(second.reminders)
    gone, moved = [], []
    for reminder in first.reminders:
        same = next((other for other in left if _same(reminder, other)), None)
        if same is None:
            gone.append(reminder)
            continue
        left.remove(same)
        if same.episode != reminder.episode:
            moved.append((reminder, same))
    return Difference(gone, left, moved)


def _same(one: Reminder, other: Reminder) -> bool:
    overlap = one.episode.opened < other.episode.ended and other.episode.opened < one.episode.ended
    return one.key == other.key and overlap
