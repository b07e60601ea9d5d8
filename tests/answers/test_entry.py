"""What an entry changed: the short way, the same board a moment earlier, finds what leaving the entry out finds."""

import json
import random
from pathlib import Path

import pytest

from scheduler.answers.desk import Desk
from scheduler.answers.entry_effects import concerned_board, open_before, store_without
from scheduler.base.instants import HOUR, MINUTE, rfc3339
from scheduler.events.event import Event
from scheduler.events.taking import take, to_line
from scheduler.facts.event_times import begins_at
from scheduler.home.folder import Home
from scheduler.home.lock import DAEMON, Lock
from scheduler.reminders.board import Board
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.verdict import Key
from tests.homes import RULES, SETTINGS, Bench, write_home
from tests.support import moment

START = moment("2026-04-01 08:00")


def entry(rng: random.Random, at: int) -> dict[str, object]:
    """Something that happens on a day at the bench or in the field."""
    pack = rng.choice("AB")
    kinds: list[dict[str, object]] = [
        {"what": "charged", "item": pack, "percent": rng.choice([58, 90, 100])},
        {"what": "drained", "item": pack, "percent": 58},
        {"what": "flown", "aircraft": "heron", "packs": [pack], "minutes": rng.choice([5, 17.5]), "percent_to": 30},
        {"what": "noticed", "item": pack, "findings": ["swollen"]},
        {"what": "inspected", "item": rng.choice(["heron", pack]), "result": rng.choice(["pass", "fail"])},
        {"what": "mishap", "item": "heron", "severity": "hard_landing"},
        {"what": "cancelled", "job": "harbour"},
        {"what": "booked", "job": "harbour", "starts": rfc3339(at + rng.choice([20, 60]) * HOUR)},
        {"what": "booked", "job": "roof", "starts": rfc3339(at + rng.choice([20, 60]) * HOUR), "aircraft": "heron"},
    ]
    return {"at": rfc3339(at), "recorded_at": rfc3339(at)} | rng.choice(kinds)


def onward(board: Board, event: Event) -> list[tuple[Key, Episode, list[tuple[int, str]]]]:
    """What a board tells of the time from an event on."""
    standing = [reminder for reminder in board.reminders if reminder.episode.ended >= begins_at(event)]
    return [(reminder.key, reminder.episode, reminder.verdict.rises(reminder.episode)) for reminder in standing]


@pytest.mark.parametrize("seed", range(25))
def test_the_moment_before_is_what_leaving_the_entry_out_finds(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    write_home(tmp_path / "home")
    home = Home(tmp_path / "home")
    setup = home.setup()
    now = START
    for _ in range(12):
        now += rng.choice([3 * MINUTE, 2 * HOUR, 30 * HOUR])
        (logged,) = take(home.log, [(0, to_line(entry(rng, now)))], setup.fleet, now).ids
        event = home.log.find(logged)
        assert event is not None
        desk = Desk(home, setup, now)
        store = desk.store()
        board = concerned_board(desk, store, [event])
        assert onward(board, event) == onward(Board(store, setup.rules, board.items), event)
        left_out = Board(store_without(desk, store, [event]), setup.rules, board.items).open_at(now)
        assert {r.key for r in open_before(desk, board, [event])} == {r.key for r in left_out}
        before = Board(store_without(desk, store, [event]), setup.rules).open_at(now)
        changed = {r.key for r in before} ^ {r.key for r in desk.board().open_at(now)}
        assert {key.item for key in changed} <= {*board.items, "home"}
    home.log.close()


@pytest.mark.parametrize("entry", ["charged A", "charged A 80", "drained B 58", "noticed A dented", "moved A driven"])
def test_an_entry_on_one_pack_does_not_read_the_whole_fleet(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, entry: str
) -> None:
    bench("log", "flown", "heron", "A", "12")  # there is a log now, and with the next command the compiled set-up
    bench("due")
    whole: list[str] = []
    monkeypatch.setattr(Home, "_fleet", lambda _home, fingerprint: whole.append(fingerprint))

    assert bench("log", *entry.split()).status == 0
    assert whole == []


def test_a_caution_that_two_reminders_share_is_said_once(bench: Bench) -> None:
    caution = "Drain attended, away from anything that burns."
    bench.write(
        "rules/own.yaml", RULES.replace("    why: Nicks grow.", f"    why: Nicks grow.\n    caution: {caution}")
    )

    told = bench.log("flown", "heron", "A", "320", "90", "--at", "2026-04-08T09:00:00Z")

    assert told.count("Open: ") == 2
    assert told.count(f"  Caution: {caution}\n") == 1


def test_the_history_of_a_job_is_asked_for_by_its_name(bench: Bench) -> None:
    bench("log", "booked", "harbour", "2026-05-02T09:00:00Z", "--at", "2026-04-01T09:00:00Z")
    bench("log", "booked", "roof", "2026-05-03T09:00:00Z", "--at", "2026-04-01T10:00:00Z")
    bench("log", "cancelled", "harbour", "--at", "2026-04-02T09:00:00Z")
    told = bench("history", "harbour").out.splitlines()
    assert len(told) == 2
    assert "booked harbour" in told[0] and "cancelled harbour" in told[1]


def test_a_pack_that_only_its_last_flight_puts_into_a_mishap_is_said_to_be_inferred(bench: Bench) -> None:
    bench("log", "flown", "heron", "A", "10", "--at", "2026-04-10T11:30:00Z")
    told = bench.log("mishap", "heron", "hard_landing", "--at", "2026-04-10T11:42:00Z", "--id", "hard")
    inferred = "inferred: the last flight before it, landed 12 min earlier, was with A"
    another = "If it was another: shelfbell log mishap heron hard_landing PACK --instead_of hard"
    assert f"Which pack was in it is {inferred}. {another}" in told
    assert f"{inferred}. {another}" in " ".join(bench("pack", "A").out.split()).replace("Inferred", "inferred")
    assert f"[concerns A, {inferred}]" in bench("history", "A").out
    told = bench.log(*["mishap", "heron", "hard_landing", "B", "--instead_of", "hard", "--at", "2026-04-10T11:42:00Z"])
    assert "inferred" not in told
    assert "mishap" not in bench("history", "A").out.splitlines()[-1]


def test_what_a_mishap_without_a_pack_leaves_open_is_said_until_its_pack_is_named(bench: Bench) -> None:
    bench.write("shelfbell.yaml", SETTINGS.replace("practice: []", "practice: [packs]"))
    told = bench.log("mishap", "heron", "hard_landing", "--at", "2026-04-10T11:00:00Z", "--id", "hard")
    entry = "shelfbell log mishap heron hard_landing PACK --instead_of hard"
    assert f"Which pack was in it? {entry}\n" in told
    assert "Until you say which, A, B and C count as involved." in told
    assert "Record: shelfbell log inspected A RESULT, and so for B and C" in bench("due").out
    assert f"Say which it was: {entry}" in " ".join(bench("pack", "A").out.split())
    assert "A, B and C may have taken a knock" in bench("ready").out
    explained = bench("explain", "pack-after-crash", "A").out
    assert "[may concern A: it names no pack]" in explained
    assert "to know: shelfbell log inspected A RESULT" in explained
    bench.log("mishap", "heron", "hard_landing", "B", "--at", "2026-04-10T11:00:00Z", "--instead_of", "hard")
    assert "RESULT" not in bench("due").out
    assert "taken a knock" not in bench("ready").out


def test_a_question_and_the_history_agree_which_packs_count_as_involved(bench: Bench) -> None:
    bench.log("set_aside", "B", "--at", "2026-04-08T11:00:00Z")
    bench.log("mishap", "A", "dropped", "--at", "2026-04-09T11:00:00Z")
    told = bench.log("mishap", "heron", "hard_landing", "--at", "2026-04-10T11:00:00Z")
    assert "Until you say which, A and C count as involved." in told
    marked = [pack for pack in "ABC" if f"[may concern {pack}: it names no pack]" in bench("history", pack).out]
    assert marked == ["A", "C"]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("booked roof 2026-04-12T09:00:00Z --near_people yes", "10:00, near people ("),
        ("booked roof 2026-04-12T09:00:00Z --near_people no", "10:00, not near people ("),
        ("flown heron A 5 --looked_before no", "5 min, not looked over before ("),
    ],
)
def test_a_flag_is_written_in_words(bench: Bench, typed: str, told: str) -> None:
    assert told in bench.log(*typed.split())


def test_blanks_around_commas_of_one_word_mean_nothing(bench: Bench) -> None:
    assert "Logged: measured A and C, 55 %" in bench.log("measured", "A, C", "55")
    assert "Logged: flown heron with A and B" in bench.log("flown", "heron", "A ,B", "12")
    assert "Logged: noticed B, hot and smell" in bench.log("noticed", "B", "hot, smell")


def test_the_history_of_a_pack_shows_the_mishap_that_grounds_it(bench: Bench) -> None:
    bench("log", "flown", "heron", "A", "10", "--at", "2026-04-01T09:00:00Z")
    bench("log", "mishap", "heron", "hard_landing", "--at", "2026-04-01T08:55:00Z")
    bench("log", "charged", "A", "--at", "2026-04-03T09:00:00Z")
    mishap, flight, charge = bench("history", "A").out.splitlines()
    assert mishap.endswith("[concerns A through heron]")
    assert "flown heron" in flight and "charged A" in charge
    assert [event["what"] for event in json.loads(bench("history", "A", "--json").out)] == [
        "mishap",
        "flown",
        "charged",
    ]
    assert "mishap" not in bench("history", "B").out
    assert "concerns" not in bench("history", "heron").out


def test_the_history_of_a_job_marks_bookings_that_do_not_stand(bench: Bench) -> None:
    for day, words in enumerate(
        ["booked harbour 2026-04-08T09:00:00Z", "booked harbour 2026-04-09T09:00:00Z", "cancelled harbour",
         "booked harbour 2026-04-06T09:00:00Z", "booked harbour 2026-05-02T09:00:00Z"], 1
    ):  # fmt: skip
        bench("log", *words.split(), "--id", f"e{day}", "--at", f"2026-04-0{day if day < 5 else 9}T08:00:00Z")
    ends = [line.partition("  [")[2] for line in bench("history", "harbour").out.splitlines()]
    assert ends == ["replaced by e2]", "cancelled by e3]", "", "", ""]
    assert "[replaced by e2]" in bench("history").out
    assert "cancelled by" not in bench("history", "harbour", "--at", "2026-04-02T09:00:00Z").out


def test_of_a_pack_that_may_have_been_in_a_mishap_an_entry_and_its_history_say_so(bench: Bench) -> None:
    bench.log("mishap", "heron", "crash", "--at", "2026-04-09T10:00:00Z", "--id", "crash")
    told = "A and B may have been in a mishap that names no pack: look first (`shelfbell due`)."
    assert told in bench.log("charged", "A,B", "95")
    assert "[may concern A: it names no pack]" in bench("history", "A").out
    assert "does not settle" not in bench.log("inspected", "A", "pass")  # a day later, which counts
    bench.log("mishap", "heron", "crash", "--at", "2026-04-10T10:00:00Z")
    settled = "This look at A does not settle the doubt after a mishap that names no pack: a look counts only from Sat"
    assert settled in bench.log("inspected", "A", "pass")
    bench.set_clock("2026-04-11 12:30")
    bench.log("inspected", "A", "pass")
    assert "may have been" not in bench.log("charged", "A", "95")


def test_what_takes_the_place_of_an_entry_keeps_its_time_unless_another_is_given(bench: Bench) -> None:
    asked = bench.log("mishap", "heron", "hard_landing", "--at", "2026-04-08T16:00:00Z", "--id", "hard")
    assert "shelfbell log mishap heron hard_landing PACK --instead_of hard" in asked
    named = bench.log("mishap", "heron", "hard_landing", "A", "--instead_of", "hard", "--id", "named")
    assert "(Wed 8 Apr 17:00)" in named
    moved = bench.log("mishap", "heron", "hard_landing", "A", "--instead_of", "named", "--at", "2026-04-08T15:00:00Z")
    assert "(Wed 8 Apr 16:00)" in moved


def test_the_history_of_a_pack_has_each_mishap_once(bench: Bench) -> None:
    bench.log("flown", "heron", "B", "10", "--at", "2026-04-09T10:00:00Z")
    bench.log("mishap", "heron", "crash", "B", "--at", "2026-04-09T10:00:00Z", "--id", "first")
    bench.log("mishap", "heron", "crash", "--instead_of", "first", "--at", "2026-04-09T10:00:00Z", "--id", "second")
    assert bench("history", "B").out.count("second  ") == 1


def test_a_look_within_the_watch_is_said_not_to_count_yet(bench: Bench) -> None:
    bench.log("mishap", "A", "dropped", "--at", "2026-04-10T08:00:00Z")
    told = bench.log("inspected", "A,B", "pass")
    assert "This look at A does not end the watch after a knock: a look counts only from Sat 11 Apr 09:00." in told
    assert "does not end" not in bench.log("inspected", "A", "doubtful")
    bench.set_clock("2026-04-11 08:30")
    assert "does not end" not in bench.log("inspected", "A", "pass")


def test_what_a_late_entry_would_have_kept_from_opening_is_withdrawn_not_settled(bench: Bench) -> None:
    """A mishap within the flight that was told before: a knock asks for a calibration by a reminder of its own."""
    bench.watch_all()
    bench.log("flown", "heron", "A", "10", "40", "--at", "2026-04-10T10:00:00Z")

    told = bench.log("mishap", "heron", "hard_landing", "--at", "2026-04-10T09:55:00Z")

    assert "Withdrawn: no calibration on record (heron).\n" in told
    assert "Settled: no calibration on record" not in told


def test_no_other_look_is_asked_for_at_a_pack_that_no_look_makes_sound(bench: Bench) -> None:
    bench.log("mishap", "A", "water", "--at", "2026-04-10T08:00:00Z")
    assert "Look again" not in bench.log("inspected", "A", "pass")


def test_what_an_entry_makes_more_urgent_is_told_again_with_its_caution(bench: Bench) -> None:
    """A pack whose cell stands too low is for today; once it fell, it may burn."""
    bench.write("shelfbell.yaml", SETTINGS.replace("practice: []", "practice: [packs]"))
    bench.write("rules/own.yaml", "rules: []\n")
    bench.log("measured", "A", "--cell_volts", "2.9,3.4,3.4,3.4", "--at", "-8h")

    fell = bench.log("mishap", "A", "crash")

    assert "Open: Do not charge or fly pack A again: at rest its lowest cell was at 2.90 V." in fell
    assert "  Caution: Hot, hissing, smoking or smelling: do not touch it" in fell
    assert "  I would ring at once." in fell
    assert "Still open" not in fell
    bench.set_clock("2026-04-10 13:05")
    assert "Still open: pack below its damage voltage (A)." in bench.log("moved", "A", "driven")


def test_that_nobody_runs_is_said_by_the_daemon_s_lock_not_by_what_a_rule_says(bench: Bench) -> None:
    bench.write("rules/own.yaml", RULES.replace("Drain attended", "I would ring the neighbour; drain attended"))
    nobody = "No daemon is running, so nothing will ring"
    assert nobody in bench.log("charged", "A")
    with Lock(bench.path, DAEMON) as lock:
        assert lock.acquire()
        told = bench.log("charged", "B")
    assert "I would ring the neighbour" in told
    assert nobody not in told


def test_what_is_over_before_it_could_be_rung_is_not_said_to_ring(bench: Bench) -> None:
    """The eve of a job booked at night is over before the quiet hours are; the morning's message breaks them."""
    bench.write("shelfbell.yaml", SETTINGS.replace("practice: []", "practice: [jobs]"))
    bench.set_clock("2026-04-10 22:00")

    told = bench.log("booked", "harbour", "tomorrow 09:00")

    assert "Open: harbour, Sat 11 Apr 09:00" in told
    assert "07:00" not in told
    assert (
        "Next for harbour: I would ring Sat 11 Apr 06:30 unless something is logged before: job this morning." in told
    )
    assert "next (" not in bench("explain", "eve-of-job", "harbour").out
