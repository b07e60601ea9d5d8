"""While files of a home are refused: what can be had all the same, and what is said of the daemon, which goes on."""

import json
from collections.abc import Iterator

import pytest

from scheduler.events.log import Log
from scheduler.home.folder import Home
from scheduler.home.lock import DAEMON, Lock
from scheduler.messages.outbox import FILES_READ_AT, Outbox, remember
from tests.homes import FLEET, RULES, Bench
from tests.support import moment

BROKEN = RULES.replace("urgency: now", "urgency: noow", 1)
WRONG = "rules/own.yaml:31:14: 'noow' is not one of"
GOES_ON = "The daemon goes on ringing by the rules of Wed 8 Apr 19:00."


@pytest.fixture
def edited(bench: Bench) -> Iterator[Bench]:
    """A home with a daemon at work since Wednesday, whose rule file was broken by an edit since."""
    bench.log("charged", "A", "--at", "2026-04-08T09:00:00Z")
    bench("due")
    outbox = Outbox(Home(bench.path).log)
    with outbox.writing() as transaction:
        remember(transaction, FILES_READ_AT, moment("2026-04-08 18:00"))
    outbox.log.close()
    bench.write("rules/own.yaml", BROKEN)
    with Lock(bench.path, DAEMON) as lock:
        assert lock.acquire()
        yield bench


def test_an_entry_is_judged_by_the_rules_that_the_daemon_goes_on_by(edited: Bench) -> None:
    lines = edited.log("charged", "B").splitlines()

    assert lines[:3] == [
        "Logged: charged B (Fri 10 Apr 13:00).",
        "Next for B: I ring Sat 11 Apr 13:00 unless something is logged before: pack left full.",
        "  Caution: Drain attended, away from anything that burns.",
    ]
    assert lines[3] == "This is judged by the rules as they were before, because a file of the home is refused:"
    assert lines[4].startswith(f"  {WRONG}")
    assert lines[5:] == [GOES_ON, "Put it right (`shelfbell check` shows all), then ask `shelfbell due`."]


def test_an_item_new_in_a_good_fleet_is_judged_by_the_old_rules(edited: Bench) -> None:
    edited.write("fleet.yaml", FLEET.replace("  - {id: C,", "  - {id: N, fits: [heron]}\n  - {id: C,"))

    assert "Open: Take pack N out of use." in edited.log("noticed", "N", "swollen")


def test_an_open_reminder_can_be_kept_quiet_all_the_same(edited: Bench) -> None:
    assert edited("snooze", "left-full", "A").out.startswith("left-full A: quiet until Sat 11 Apr 13:00")
    assert edited.log("seen", "A", "left-full").startswith("Logged: seen A, left-full (Fri 10 Apr 13:00).")


def test_rules_of_another_version_are_not_gone_by(edited: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """They may name facts that there are no more."""
    monkeypatch.setattr("scheduler.answers.fallback.__version__", "0.0.0")

    answered = edited.log("charged", "B")

    assert "left full" not in answered
    assert (
        "The entry is kept, but I cannot judge what follows from it, because a file of the home is refused:" in answered
    )
    assert edited("snooze", "left-full", "A").status == 2


def test_without_a_daemon_nothing_is_said_of_one(bench: Bench) -> None:
    bench.write("rules/own.yaml", BROKEN)

    assert "daemon" not in bench.log("charged", "B")


@pytest.mark.parametrize("words", ["due", "explain left-full A", "run --once --dry-run", "ready", "log charged A"])
def test_a_refusal_says_that_the_daemon_goes_on(edited: Bench, words: str) -> None:
    """`log` too, where there is too little left to keep an entry by."""
    _forget_compiled(edited)
    edited.write("fleet.yaml", "packs: 3\n")

    answer = edited(*words.split())

    assert answer.status == 2
    assert WRONG in answer.err
    assert answer.err.splitlines()[-1] == GOES_ON


def test_the_board_stands_by_the_files_as_they_last_passed(edited: Bench) -> None:
    answer = edited("due")
    edited.write("rules/own.yaml", RULES)

    assert "Drain pack A: 100 % for 51 h." in answer.out
    assert answer.out == edited("due").out
    said = answer.err.splitlines()
    assert said[0] == "This is by the files as they last passed the check, because a file of the home is refused:"
    assert said[1].startswith(f"  {WRONG}")
    assert said[2:] == [GOES_ON, "Put it right (`shelfbell check` shows all)."]
    assert answer.status == 2


def test_a_rule_is_explained_as_it_last_passed(edited: Bench) -> None:
    answer = edited("explain", "left-full", "A")
    edited.write("rules/own.yaml", RULES)

    assert "open since Thu 9 Apr 10:00" in answer.out
    assert answer.out == edited("explain", "left-full", "A").out
    assert answer.err.splitlines()[1].startswith(f"  {WRONG}")
    assert answer.status == 2


def test_what_passed_the_check_is_gone_by_though_nothing_was_asked_since(edited: Bench) -> None:
    edited.write("rules/own.yaml", RULES)
    fleet = FLEET.replace("{id: C, fits", "{id: new, fits")
    edited.write("fleet.yaml", fleet)
    edited("check")
    edited.write("fleet.yaml", fleet.replace("{id: A, fits", "{id: A, fitz"))
    assert edited("pack", "new").out.startswith("Pack new")


def test_what_the_first_entry_was_logged_by_is_gone_by(bench: Bench) -> None:
    bench.log("charged", "A", "--at", "2026-04-08T09:00:00Z")
    bench.write("rules/own.yaml", BROKEN)
    assert "Drain pack A: 100 % for 51 h." in bench("due").out


def test_the_board_for_programs_stands_too(edited: Bench) -> None:
    answer = edited("due", "--json", "--at", "2026-04-10T11:00:00Z")

    assert [entry["item"] for entry in json.loads(answer.out)["open"]] == ["A"]
    assert (WRONG in answer.err, answer.status) == (True, 2)


@pytest.mark.parametrize("words", ["ready", "ready --json", "pack A", "pack A --json", "history", "history A --json"])
def test_other_questions_are_answered_by_the_files_as_they_last_passed(edited: Bench, words: str) -> None:
    answer = edited(*words.split())
    edited.write("rules/own.yaml", RULES)

    assert (answer.out, 0) == (edited(*words.split()).out, 2 - answer.status)
    assert (WRONG in answer.err, GOES_ON in answer.err) == (True, True)


@pytest.mark.parametrize("words", ["rehearse --from -2d --to now", "case left-full A"])
def test_what_tries_the_rules_out_is_refused(edited: Bench, words: str) -> None:
    assert edited(*words.split()).out == ""


@pytest.mark.parametrize("words", ["pack N", "history N"])
def test_what_only_the_refused_file_knows_is_refused_with_what_is_wrong_with_it(edited: Bench, words: str) -> None:
    edited.write("fleet.yaml", FLEET.replace("  - {id: C,", "  - {id: N, fits: [heron]}\n  - {idd: C,"))

    answer = edited(*words.split())

    assert answer.status == 2
    assert "'N'" in answer.err.splitlines()[0]
    assert "\n  fleet.yaml:7:" in answer.err


def test_by_rules_of_another_version_no_board_stands(edited: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scheduler.answers.fallback.__version__", "0.0.0")

    answer = edited("due")

    assert (answer.out, answer.status) == ("", 2)
    assert answer.err.startswith(WRONG)


def test_where_no_settings_can_be_had_the_time_is_in_utc_and_says_so(edited: Bench) -> None:
    edited.write("shelfbell.yaml", "zone: nowhere\n")
    assert edited("rehearse", "--from", "-2d", "--to", "now").err.splitlines()[-1] == GOES_ON

    _forget_compiled(edited)

    assert edited("due").err.splitlines()[-1] == GOES_ON.replace("19:00", "18:00 UTC")


def test_where_no_daemon_runs_a_refusal_says_nothing_of_one(bench: Bench) -> None:
    bench.write("rules/own.yaml", BROKEN)

    assert "daemon" not in bench("due").err


def test_doctor_says_by_which_rules_the_daemon_goes_on_in_the_time_of_the_home(edited: Bench) -> None:
    outbox = Outbox(Home(edited.path).log)
    with outbox.writing() as transaction:
        remember(transaction, "woke_at", moment("2026-04-10 11:00"))
    outbox.log.close()

    lines = edited("doctor").out.splitlines()

    gone_by = "by the rules of Wed 8 Apr 19:00: rules/own.yaml is refused"
    assert f"well  daemon: running, {gone_by}, last woke Fri 10 Apr 12:00" in lines
    assert "well  clock: Fri 10 Apr 13:00" in lines
    assert any(line.startswith(f"LOOK  files: {WRONG}") for line in lines)


def test_channels_ask_nothing_of_fleet_and_rules(edited: Bench) -> None:
    edited.write("fleet.yaml", "packs: 3\n")
    assert edited("channels").out.startswith("phone: nothing sent yet")

    edited.write("shelfbell.yaml", "zone: nowhere\n")
    answer = edited("channels")
    assert answer.status == 2
    assert answer.err.startswith("shelfbell.yaml:1:7: there is no time zone 'nowhere'")
    assert GOES_ON in answer.err


def test_ring_asks_nothing_of_fleet_and_rules(bench: Bench) -> None:
    bench.write("fleet.yaml", "packs: 3\n")
    bench.write("shelfbell.yaml", "zone: UTC\nchannels:\n  mail: {url: 'json://127.0.0.1:1/'}\n")

    assert bench("ring", "mail").out.startswith("mail: not sent")


def _forget_compiled(bench: Bench) -> None:
    log = Log(bench.path / "shelfbell.db")
    with log.transaction() as transaction:
        transaction.execute("DELETE FROM compiled")
    log.close()
