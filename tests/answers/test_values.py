"""Everything that a command does can be had as values, from answers/ alone: a page or a mail has no command line."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from scheduler.answers import board, entry, explain, history, ready
from scheduler.answers.channels import channel_states
from scheduler.answers.check import check_home
from scheduler.answers.desk import Desk
from scheduler.answers.entry import log_words
from scheduler.answers.fallback import desk_or_fallback
from scheduler.answers.seen import Quieting, log_quieting
from scheduler.base.findings import Refused
from scheduler.base.instants import HOUR
from scheduler.home.folder import Home
from scheduler.verdicts.verdict import Key
from tests.homes import write_home
from tests.support import moment

NOW = moment("2026-04-10 12:00")


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Home]:
    """A home without events."""
    write_home(tmp_path / "home")
    home = Home(tmp_path / "home")
    yield home
    home.log.close()


def desk(home: Home, now: int = NOW) -> Desk:
    """Return the home at an instant."""
    return desk_or_fallback(home, now)[0]


def test_an_entry_is_answered_with_what_it_opened_and_ended(home: Home) -> None:
    noticed = log_words(home, ["noticed", "A", "swollen", "--id", "gas"], NOW)
    assert noticed.ids == ["gas"]
    assert noticed.effects is not None
    assert [reminder.key for reminder in noticed.effects.opened] == [Key("swollen", "A")]
    assert noticed.lines[0].startswith("Logged: noticed A, swollen")

    aside = log_words(home, ["set_aside", "A"], NOW + HOUR)
    assert aside.effects is not None
    assert [reminder.key for reminder in aside.effects.ended] == [Key("swollen", "A")]
    assert (aside.effects.opened, aside.effects.still_open) == ([], [])

    again = log_words(home, ["noticed", "A", "swollen", "--id", "gas", "--at", "2026-04-10T12:00:00Z"], NOW + 2 * HOUR)
    assert again == ([], ["Already logged."], None)


def test_an_entry_says_when_the_bell_rings_next(home: Home) -> None:
    effects = log_words(home, ["charged", "B"], NOW).effects
    assert effects is not None and effects.next_ring is not None
    assert effects.next_ring.at == NOW + 24 * HOUR
    assert [reminder.key for reminder in effects.next_ring.reminders] == [Key("left-full", "B")]


def test_what_is_refused_writes_nothing(home: Home) -> None:
    with pytest.raises(Refused, match="there is no kind of event"):
        log_words(home, [], NOW)
    with pytest.raises(Refused, match="no reminder swollen is open on A"):
        log_quieting(home, Quieting("seen", "swollen", "A"), NOW)
    assert history.history_of(desk(home), None).entries == []


def test_a_reminder_is_kept_quiet_and_stays_on_the_board(home: Home) -> None:
    log_words(home, ["charged", "B", "--at", "2026-04-08T09:00:00Z"], NOW)
    quiet = log_quieting(home, Quieting("snoozed", "left-full", "B", "2d", note="away"), NOW)
    assert len(quiet.ids) == 1
    at = desk(home)
    assert [reminder.key for reminder in board.solve_board(at).opened] == [Key("left-full", "B")]
    happened = history.history_of(at, "B")
    assert [event.what for event, _ in happened.entries] == ["charged", "snoozed"]
    assert len(history.to_lines(at, happened)) == len(history.to_json(at, happened)) == 2


def test_questions_are_answered_with_values(home: Home) -> None:
    log_words(home, ["charged", "B"], NOW)
    at = desk(home)
    assert [each["rule"] for each in explain.to_json(at, ["left-full", "B"])] == ["left-full"]
    assert [answer.aircraft for answer in ready.answer_ready(at).aircraft] == ["heron"]
    assert [state.channel.name for state in channel_states(at)] == ["phone", "mail"]
    assert not any(state.failing for state in channel_states(at))
    checked = check_home(home, NOW)
    assert (checked.rules, checked.cases) == (5, 10)
    assert all("no rule watches" in finding.text for finding in checked.findings)


def test_an_answer_that_breaks_does_not_make_the_entry_unlogged(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(entry, "effects_of", lambda *_: 1 / 0)

    answer = log_words(home, ["charged", "B"], NOW)

    (logged,) = home.log.in_force()
    assert answer.ids == [logged.id]
    assert answer.lines[0] == f"Logged: charged ({logged.id})."
    assert "the answer broke: ZeroDivisionError" in answer.lines[1]
