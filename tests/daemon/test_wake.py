"""A wake decides and queues together, once, for the channels that take it."""

import json
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from scheduler.base.instants import DAY, HOUR, MINUTE, SECOND
from scheduler.base.progress import nobody
from scheduler.daemon import subprocess_work
from scheduler.daemon import wake as waking
from scheduler.daemon.wake import WakeResult, wake
from scheduler.home.folder import Home
from scheduler.messages.outbox import Outbox
from scheduler.reminders.message_text import Text
from scheduler.verdicts.verdict import Verdict
from tests.messages.homes import ALARM, FULL, SLOW, charge, charge_now, make_home
from tests.support import moment

WEDNESDAY = moment("2026-04-01 09:00")
MAIL: dict[str, dict[str, object]] = {"mail": {"url": "json://127.0.0.1/"}}


def woken(home: Home, now: int = WEDNESDAY, **options: bool) -> WakeResult:
    """Wake with the set-up of the home's files."""
    return wake(home, home.setup(), now, **options)


def kinds(home: Home) -> list[tuple[str, str]]:
    """Return channel and kind of every message queued."""
    return [(row.channel, row.kind) for row in Outbox(home.log).rows()]


def test_what_opened_is_queued_and_not_queued_again(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00")

    first, second = woken(home), woken(home, WEDNESDAY + 1)

    assert kinds(home) == [("mail", "first")]
    assert (bool(first.decision), bool(second.decision)) == (True, False)
    assert first.next_wake == WEDNESDAY + DAY, "the first repeat"


def test_a_restart_changes_nothing(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00")
    before = woken(home)
    home.log.close()

    after = woken(Home(home.path), WEDNESDAY + MINUTE)

    assert after.next_wake == before.next_wake
    assert kinds(home) == [("mail", "first")]


def test_an_entry_logged_while_the_process_starts_is_not_taken_for_a_clock_put_back(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    ordered, steady = time.time_ns() // 1000, time.monotonic()
    charge_now(home, "A", ordered + 2 * SECOND)
    home.log.close()

    looked = subprocess_work.serve_wake([str(home.path), None, ordered, steady - 5, 1.0], nobody)

    assert (looked.distrust, looked.open) == ("", 1)
    assert kinds(home) == [("mail", "first")]


def test_wakes_that_decide_at_the_same_time_queue_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All have decided the same before the first of them writes."""
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00")
    home.log.close()
    all_decided, decide, decided = threading.Barrier(4), waking._decide, threading.local()

    def decide_together(*arguments: Any) -> WakeResult:
        result = decide(*arguments)
        if not hasattr(decided, "once"):
            decided.once = True
            all_decided.wait(10)
        return result

    def one() -> None:
        own = Home(home.path)
        wake(own, own.setup(), WEDNESDAY)
        own.log.close()

    monkeypatch.setattr(waking, "_decide", decide_together)

    threads = [threading.Thread(target=one) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert kinds(home) == [("mail", "first")]


def test_a_clock_that_stands_before_the_newest_entry_is_not_trusted(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00", recorded_at="2026-04-01 09:05")

    found = woken(home, WEDNESDAY + MINUTE)

    assert found.decision is None
    assert found.behind is not None and found.behind.what == "charged"
    assert found.next_wake == WEDNESDAY + 5 * MINUTE
    assert kinds(home) == []
    assert woken(home, WEDNESDAY + 5 * MINUTE).behind is None
    assert kinds(home) == [("mail", "first")]


def test_a_clock_that_the_person_gave_is_trusted(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00", recorded_at="2026-04-01 09:05")

    assert woken(home, WEDNESDAY, trust=True).behind is None


def test_a_dry_run_decides_the_same_and_writes_nothing(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00")

    dry = woken(home, dry_run=True)

    assert kinds(home) == []
    assert Outbox(home.log).state("woke_at") is None
    assert woken(home).messages == dry.messages


def test_the_first_wake_is_when_the_bell_began(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)

    woken(home, WEDNESDAY)
    woken(home, WEDNESDAY + HOUR)

    assert Outbox(home.log).state("began") == WEDNESDAY
    assert Outbox(home.log).state("woke_at") == WEDNESDAY + HOUR


@pytest.mark.parametrize(
    ("urgency", "expected"),
    [
        (["now", "today"], ["Pack is full: A"]),
        (["now"], []),
        (["this_week", "whenever"], []),
        (["now", "today", "this_week", "whenever"], ["Pack is full: A"]),
    ],
)
def test_a_channel_gets_the_urgencies_it_takes(tmp_path: Path, urgency: list[str], expected: list[str]) -> None:
    home = make_home(tmp_path / "home", {"phone": {"url": "json://127.0.0.1/", "urgency": urgency}}, FULL)
    charge(home, "A", "2026-04-01 09:00")

    assert [message.title for message in woken(home).messages] == expected


def test_a_digest_goes_whole_to_those_who_take_digests_and_in_part_to_the_others(tmp_path: Path) -> None:
    channels = MAIL | {"phone": {"url": "json://127.0.0.1/", "urgency": ["now", "today"]}}
    home = make_home(tmp_path / "home", channels, FULL, SLOW, quiet=True)
    charge(home, "A", "2026-03-31 22:00")

    assert woken(home, moment("2026-03-31 22:00")).messages == []
    messages = {message.channel: message for message in woken(home, moment("2026-04-01 07:00")).messages}

    assert (messages["mail"].kind, messages["phone"].kind) == ("digest", "first")
    assert "Pack can wait" in messages["mail"].body
    assert "Pack can wait" not in messages["phone"].body
    assert "Pack is full" in messages["phone"].body


def test_nothing_counts_as_sent_while_there_is_no_channel(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", {}, FULL)
    charge(home, "A", "2026-04-01 09:00")
    woken(home)
    (home.path / "shelfbell.yaml").write_text(json.dumps({"zone": "UTC", "channels": MAIL}))

    woken(home, WEDNESDAY + HOUR)

    assert kinds(home) == [("mail", "first")]


def test_a_wake_at_another_instant_claims_no_outage(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    woken(home)
    charge(home, "A", "2026-04-01 09:00")

    (message,) = woken(home, WEDNESDAY + 10 * DAY, dry_run=True, trust=True).messages

    assert "I was not running" not in message.body


def test_a_message_carries_its_explanation(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00")
    woken(home)

    (why,) = json.loads(Outbox(home.log).rows()[0].explanation)

    assert (why["rule"], why["item"], why["urgency"]) == ("full", "A", "today")
    assert why["opened_at"] == "2026-04-01T09:00:00+00:00"
    assert (why["because"]["fact"], why["because"]["value"]) == ("charge", "100 %")


def test_a_rule_that_raises_is_reported_once_and_the_others_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL, ALARM)
    charge(home, "A", "2026-04-01 09:00")
    whole = Verdict.rises

    def rises(self: Verdict, episode: object) -> object:
        if self.rule.id == "full":
            raise ZeroDivisionError("division by zero")
        return whole(self, episode)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(Verdict, "rises", rises)
        found = woken(home)
        woken(home, WEDNESDAY + MINUTE)

    assert [key.rule for key in found.sick] == ["full"]
    assert [(row.kind, row.title) for row in Outbox(home.log).rows()] == [
        ("first", "Pack is alarming: A"),
        ("summary", "Rule full cannot be judged"),
    ]
    woken(home, WEDNESDAY + HOUR)
    assert kinds(home)[2:] == [("mail", "first")], "well again, it rings"


def test_a_reminder_whose_rule_raises_for_a_while_is_not_taken_for_settled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00")
    woken(home)

    def raising(*_: object) -> object:
        raise ZeroDivisionError

    monday = moment("2026-04-06 07:00")
    with monkeypatch.context() as patch:
        patch.setattr(Verdict, "rises", raising)
        found = woken(home, monday)

    assert found.decision is not None and found.decision.digest
    assert found.decision.ended == []


def test_a_text_that_fails_does_not_silence_its_reminder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = make_home(tmp_path / "home", MAIL, FULL)
    charge(home, "A", "2026-04-01 09:00")

    def failing(*_: object) -> Text:
        raise KeyError("nonesuch")

    monkeypatch.setattr(waking, "compose", failing)
    (message,) = woken(home).messages

    assert "Pack is full: A" in message.body
    assert "nonesuch" in message.body
