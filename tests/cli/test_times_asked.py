"""What a time means in a question, what the board shows of what people did, and what a trial message says."""

import json

import pytest

from scheduler.home.lock import DAEMON, Lock
from tests.homes import Bench

MEANT = {
    "sat 09:00": "2026-04-11T09:00:00+01:00",
    "saturday": "2026-04-12T00:00:00+01:00",
    "09:00": "2026-04-10T09:00:00+01:00",
    "15:00": "2026-04-09T15:00:00+01:00",
    "yesterday 21:00": "2026-04-09T21:00:00+01:00",
    "tomorrow 09:00": "2026-04-11T09:00:00+01:00",
}
"""As of Friday 10 April 13:00 in Lisbon."""


@pytest.mark.parametrize("typed", MEANT)
def test_a_weekday_is_the_coming_one_and_a_clock_time_the_last(bench: Bench, typed: str) -> None:
    assert json.loads(bench("due", "--json", "--at", typed).out)["at"] == MEANT[typed]


@pytest.mark.parametrize("words", ["due", "ready", "explain left-full", "pack A", "outlook"])
@pytest.mark.parametrize("typed", ["today", "sat", "10 Apr", "2026-04-10"])
def test_of_a_day_without_a_time_the_end_is_said_to_be_taken(bench: Bench, words: str, typed: str) -> None:
    said = f'No time given with "{typed}": the end of that day is taken.\n'

    assert bench(*words.split(), "--at", typed).out.startswith(said)
    assert json.loads(bench(*words.split(), "--at", typed, "--json").out)


@pytest.mark.parametrize("typed", ["12:00", "sat 09:00", "now", "-2h", "2026-04-10T09:00:00Z"])
def test_of_a_time_that_was_given_nothing_is_said(bench: Bench, typed: str) -> None:
    assert "No time given" not in bench("due", "--at", typed).out + bench("due").out


@pytest.mark.parametrize("typed", ["today", "fri", "10 Apr", "2026-04-10"])
def test_a_rehearsal_from_a_day_takes_it_whole(bench: Bench, typed: str) -> None:
    lived = bench("rehearse", "--json", "--from", typed, "--to", "mon")
    assert json.loads(lived.out)["from"] == "2026-04-10T00:00:00+01:00"


def test_asked_what_was_known_by_then_a_weekday_is_the_last_one(bench: Bench) -> None:
    asked = bench("due", "--json", "--as-known", "--at", "sat 09:00")
    assert json.loads(asked.out)["at"] == "2026-04-04T09:00:00+01:00"


def test_the_board_shows_what_was_seen_and_what_was_snoozed(bench: Bench) -> None:
    bench.log("charged", "A,B,C", "--at", "2026-04-05T09:00:00Z")
    bench("seen", "left-full", "A")
    bench("snooze", "left-full", "B", "--until", "2026-04-12T09:00:00Z")

    out = bench("due").out
    kept = {entry["item"]: entry["kept_quiet"] for entry in json.loads(bench("due", "--json").out)["open"]}

    assert "      A: seen Fri 10 Apr 13:00 (" in out
    assert "): quiet until Sun 12 Apr 10:00" in out
    assert kept["A"].startswith("seen 2026-04-10T13:00:00+01:00")
    assert kept["C"] is None


def test_a_secret_that_is_missing_says_what_to_do(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("SHELFBELL_MAIL", raising=False)

    out = bench("ring", "mail").out

    said = "SHELFBELL_MAIL is neither in the environment nor a credential: `export SHELFBELL_MAIL=ADDRESS`"
    assert out.startswith(f"mail: not sent: {said}")
    assert "LoadCredential=SHELFBELL_MAIL:FILE" in out


def test_an_entry_says_when_nobody_is_running_that_could_ring(bench: Bench) -> None:
    out = bench.log("noticed", "C", "swollen")
    assert out.splitlines()[3:] == [
        "  I would ring at once.",
        "Next for C: I would ring Fri 1 May 07:00 unless something is logged before: pack not looked at for long.",
        "No daemon is running, so nothing will ring: start `shelfbell run`.",
    ]
    assert "I ring" not in out
    with Lock(bench.path, DAEMON) as lock:
        assert lock.acquire()
        out = bench.log("charged", "B")
        page = bench("pack", "B").out
    assert "I ring" in out and "I ring" in page
    assert "No daemon is running" not in out + page
    assert "I would ring" in bench("pack", "B").out
