"""What `log --help` says of a kind of event."""

import pytest

from scheduler.answers.entry_usage import usage
from scheduler.events.fields import choice
from scheduler.events.kinds import KINDS, Field, Kind


def test_a_kind_that_gives_no_example_shows_the_usage_made_from_its_fields(monkeypatch: pytest.MonkeyPatch) -> None:
    fields = (Field("with", choice("cloth", "air"), True, "what was used"),)
    monkeypatch.setitem(KINDS, "cleaned", Kind("cleaned", "dust taken off", "item", "aircraft", fields))

    assert usage("cleaned").split("\n")[:4] == [
        "usage: shelfbell log cleaned WITH",
        "",
        "cleaned: dust taken off",
        "  --with                 what was used: one of cloth, air",
    ]


@pytest.mark.parametrize("what", list(KINDS))
def test_each_kind_shows_its_example_and_every_field_that_can_be_typed(what: str) -> None:
    shown = usage(what)
    assert f"for example: shelfbell log {what} " in shown
    for field in KINDS[what].fields:
        assert f"  --{field.name} " in shown
    assert "--via" not in shown
    assert "--in_reply_to" not in shown
