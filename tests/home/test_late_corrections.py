"""A wake looks at every item that a correction, or the late target of one, changes: those it does not name too."""

import json
from pathlib import Path

import pytest

from scheduler.daemon.work_list import work_list_of
from scheduler.events.taking import take
from tests.home.test_item_states import make_home
from tests.messages.clockwork import Clockwork
from tests.support import Fields, event, moment

NOW = moment("2026-05-10")


def charged(event_id: str, day: int, item: str, **fields: object) -> Fields:
    recorded_at = f"2026-05-{day:02}"
    return event("2026-04-20", "charged", id=event_id, recorded_at=recorded_at, item=item, percent=100, **fields)


def struck(event_id: str, day: int, target: str) -> Fields:
    return event("2026-05-01", "struck", id=event_id, recorded_at=f"2026-05-{day:02}", event=target)


@pytest.mark.parametrize(
    ("before", "late", "changed"),
    [
        ([struck("s", 2, "one")], charged("one", 1, "B"), "B"),
        ([charged("one", 1, "A"), charged("x", 3, "B", instead_of="one")], charged("w", 2, "E", instead_of="one"), "B"),
        ([charged("x", 3, "B", instead_of="one")], struck("s", 2, "one"), "B"),
        (
            [charged("w", 2, "A", instead_of="one"), charged("x", 4, "B", instead_of="e")],
            charged("e", 3, "E", instead_of="one"),
            "B",
        ),
    ],
    ids=["a target", "a correction that comes first", "a strike without a target", "a link between two"],
)
def test_what_comes_late_is_looked_at_with_all_that_it_changes(
    before: list[Fields], late: Fields, changed: str, tmp_path: Path
) -> None:
    lifetime = Clockwork(make_home(tmp_path / "home"), NOW, held_every=1)

    def put(*events: Fields) -> None:
        take(lifetime.home.log, enumerate(map(json.dumps, events), 1), lifetime.setup.fleet, NOW)

    put(charged("first", 1, "O"), *before)
    lifetime.wake()
    open_before = {reminder.key for reminder in lifetime.board().open_at(NOW)}
    put(late)
    work_list = work_list_of(lifetime.home, lifetime.setup, lifetime.outbox, NOW)
    assert work_list is not None and changed in work_list.items and "O" not in work_list.items
    lifetime.wake()  # held to a look at all items that uses nothing kept
    now_open = {reminder.key for reminder in lifetime.board().open_at(NOW)}
    assert late["id"] == "one" or {key.item for key in open_before - now_open} & {changed}
