"""Explain: how far from the limit, what would quiet it, why it changes, what was sent and what holds the rest."""

import json

import pytest

from scheduler.answers.reasons import comparison
from scheduler.daemon.wake import wake
from scheduler.home.folder import Home
from scheduler.messages.outbox import Outbox
from scheduler.verdicts.conditions import Leaf
from tests.homes import RULES, SETTINGS, Bench
from tests.support import moment

EVENING = "2026-04-02 18:00"
"""Packs A and B, full since the evening before, have just been open for a minute or so."""


@pytest.fixture
def full(bench: Bench) -> Bench:
    """The small home in UTC, two packs charged on 1 April at 17:59, seen when their reminders have opened."""
    bench.write("shelfbell.yaml", SETTINGS.replace("Europe/Lisbon", "UTC"))
    bench.set_clock(EVENING)
    for pack in "AB":
        bench.log("charged", pack, "--at", "2026-04-01T17:59:00Z")
    return bench


def woken(bench: Bench, at: str) -> Outbox:
    """The daemon's one wake at an instant; the home's outbox after it."""
    home = Home(bench.path)
    wake(home, home.setup(), moment(at), trust=True)
    bench.set_clock(at)
    return Outbox(home.log)


def lines(bench: Bench, head: str, *words: str) -> list[str]:
    """The lines of an explanation that begin so, without that beginning."""
    out = bench("explain", *(words or ("left-full", "B"))).out
    return [line.strip().removeprefix(head).strip() for line in out.splitlines() if line.strip().startswith(head)]


def test_how_far_from_the_limit(full: Bench) -> None:
    charge = next(line for line in full("explain", "left-full", "B").out.splitlines() if "charge:" in line)

    assert "charge: 100 %; wanted: at least 85 % (full), for 24 h (sit); 15 % above; so for 24 h" in charge


def test_what_would_quiet_it_is_its_until(full: Bench) -> None:
    assert lines(full, "it would be quiet with:") == [
        "charge at most 70 % (calm) (now 100 %)",
        "usable is no (now yes)",
        "next job in at most 24 h (soon) (now none booked)",
    ]
    assert lines(full, "the entry for it:") == ["shelfbell log drained B 58"]


def test_what_would_ring_it_where_it_is_silent(full: Bench) -> None:
    assert lines(full, "it would ring with:", "look-due", "heron-props") == [
        "airtime since inspected at least 5 h (due) (now 0 s)"
    ]


def test_what_is_named_does_quiet_it(full: Bench) -> None:
    """Each way to quiet it, done, quiets it: drained, set aside, or a job tomorrow."""
    for words in (["drained", "B", "70"], ["noticed", "B", "swollen"]):
        full.log(*words)
        assert "the reminder is not open" in full("explain", "left-full", "B").out
    full.log("booked", "quay", "2026-04-03T12:00:00Z")
    assert "the reminder is not open" in full("explain", "left-full", "A").out


def test_why_it_changes_next(full: Bench) -> None:
    full.log("booked", "quay", "2026-04-05T12:00:00Z")

    (change,) = lines(full, "next change:")

    assert change == "Sat 4 Apr 12:00: next job in: at most 24 h (soon); the reminder ends: settled"


def test_a_change_that_an_entry_made_names_the_entry(full: Bench) -> None:
    full.set_clock("2026-04-03 12:00")
    full.log("drained", "B", "58", "--at", "2026-04-03T09:00:00Z")

    (change,) = lines(full, "next change:", "left-full", "B", "--at", "2026-04-03T08:00:00Z")

    assert ", drained B to 58 %; the reminder ends: settled" in change


def test_the_adjustment_in_force_is_told_with_what_it_replaces(full: Bench) -> None:
    adjust = "adjust: {left-full: [{limits: {sit: 20 h}, because: old packs}, {only: [B], limits: {sit: 12 h}}]}"
    full.write("rules/own.yaml", f"{RULES}\n{adjust}\n")

    assert lines(full, "adjusted:") == ["sit 12 h instead of 24 h, for B alone, with no reason given"]
    assert lines(full, "adjusted:", "left-full", "A") == ["sit 20 h instead of 24 h, because old packs"]


def test_before_anything_was_decided_it_is_due(full: Bench) -> None:
    assert lines(full, "message:") == ["nothing was sent of it so far", "due now (first, today)"]


def test_a_message_waits_for_its_channels(full: Bench) -> None:
    woken(full, EVENING)

    told, ahead = lines(full, "message:")

    assert told == (
        "first (today), decided Thu 2 Apr 18:00: "
        "waiting for phone, next attempt Thu 2 Apr 18:00, gathered with 1 more; "
        "waiting for mail, next attempt Thu 2 Apr 18:00, gathered with 1 more"
    )
    assert ahead == "next (again, today): Fri 3 Apr 18:00"


def test_a_message_that_was_sent_and_one_that_failed(full: Bench) -> None:
    outbox = woken(full, EVENING)
    phone, mail = outbox.rows()
    now = moment(EVENING)
    sending, failing = outbox.claim(phone, now), outbox.claim(mail, now)
    assert sending
    assert failing
    outbox.sent(sending, now + 1)
    outbox.failed(failing, now, "no connection")

    (told, _) = lines(full, "message:")

    assert f"sent to phone Thu 2 Apr 18:00, gathered with 1 more, reference {phone.ref}" in told
    assert "1 attempt so far: no connection" in told


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("seen", "left-full", "B"), "no repeats, unless it becomes more urgent"),
        (("snooze", "left-full", "B"), "quiet until Fri 3 Apr 18:01"),
    ],
)
def test_what_people_said_is_a_reason(full: Bench, words: tuple[str, ...], reason: str) -> None:
    woken(full, EVENING)
    full.set_clock("2026-04-02 18:01")
    assert full(*words).status == 0

    assert any(reason in line for line in lines(full, "message:"))


def test_quiet_hours_are_a_reason(bench: Bench) -> None:
    bench.write("shelfbell.yaml", SETTINGS.replace("Europe/Lisbon", "UTC"))
    bench.set_clock("2026-04-02 22:00")
    bench.log("charged", "B", "--at", "2026-04-01T21:45:00Z")

    assert lines(bench, "message:") == [
        "nothing was sent of it so far",
        "next (first, today): Fri 3 Apr 07:00; quiet hours until Fri 3 Apr 07:00 hold it, with all the rest",
    ]


def test_the_digest_is_a_reason(bench: Bench) -> None:
    bench.write("shelfbell.yaml", SETTINGS.replace("Europe/Lisbon", "UTC"))
    bench.set_clock("2026-05-01 05:00")

    assert lines(bench, "message:", "unread", "C")[-1] == (
        "next (first, whenever): Fri 1 May 07:00; reminders for whenever come together, with the digest"
    )


def test_being_away_is_a_reason(full: Bench) -> None:
    full.log("away", "2026-04-02T17:00:00Z", "2026-04-04T17:00:00Z")

    assert "you are away until Sat 4 Apr 17:00" in lines(full, "message:")[-1]


def test_no_channel_is_a_reason(full: Bench) -> None:
    phone = "channels:\n  phone: {url: $SHELFBELL_PHONE, urgency: [now]}\nquiet:"
    full.write("shelfbell.yaml", SETTINGS.split("channels:")[0] + phone + SETTINGS.split("quiet:")[1])

    assert lines(full, "message:")[-1] == "no channel takes what is for today: shelfbell.yaml names none for it"


def test_as_known_answers_from_what_had_been_recorded(full: Bench) -> None:
    """The drain at 12:00 was told at 20:00: at 19:00 the bell could not know."""
    full.set_clock("2026-04-03 20:00")
    full.log("drained", "B", "58", "--at", "2026-04-03T12:00:00Z")
    at = ("--at", "2026-04-03T19:00:00Z")

    known, hindsight = (json.loads(full("due", "--json", *at, *more).out)["open"] for more in (["--as-known"], []))

    assert ("left-full", "B") in [(one["rule"], one["item"]) for one in known]
    assert ("left-full", "B") not in [(one["rule"], one["item"]) for one in hindsight]
    assert "the reminder is open" in full("explain", "left-full", "B", *at, "--as-known").out
    assert "the reminder is not open" in full("explain", "left-full", "B", *at).out


def test_rehearsed_as_known_it_rings_until_the_entry_is_told(full: Bench) -> None:
    full.set_clock("2026-04-06 20:00")
    full.log("drained", "B", "58", "--at", "2026-04-02T19:00:00Z")
    words = ("rehearse", "--from", "2026-04-02", "--to", "2026-04-07", "--json")

    known, hindsight = (
        [r for r in json.loads(full(*words, *more).out)["reminders"] if (r["rule"], r["item"]) == ("left-full", "B")]
        for more in (["--as-known"], [])
    )

    assert len(known[0]["messages"]) > len(hindsight[0]["messages"])
    assert hindsight[0]["settled_at"] == "2026-04-02T19:00:00+00:00"


def test_what_was_told_after_the_instant_asked_about_is_not_shown(full: Bench) -> None:
    woken(full, EVENING)
    full.set_clock("2026-04-03 12:00")

    earlier = lines(full, "message:", "left-full", "B", "--at", "2026-04-02T17:59:30Z")

    assert earlier == ["nothing was sent of it so far", "next (first, today): Thu 2 Apr 18:00"]


def test_the_same_for_programs(full: Bench) -> None:
    (told,) = json.loads(full("explain", "left-full", "B", "--json").out)

    assert told["would_quiet"][0] == ["charge at most 70 % (calm) (now 100 %)"]
    assert told["because"]["all"][0]["margin"] == "15 % above"
    assert told["messages"] == ["nothing was sent of it so far", "due now (first, today)"]
    assert told["next_change_because"] == []


def test_without_a_name_the_open_ones_are_told_and_the_rest_counted(full: Bench) -> None:
    out = full("explain").out

    assert [line for line in out.splitlines() if line and line[0] != " "] == [
        "Pack left full: A (left-full)", "Pack left full: B (left-full)",
        "Of the rest, each rule by each item: 2 cannot be judged, 7 silent. "
        "`shelfbell explain ITEM` shows them, --all each one whole.",
    ]  # fmt: skip


def test_all_of_them_are_told_where_that_is_asked(full: Bench) -> None:
    whole = len(json.loads(full("explain", "--json").out))
    assert full("explain", "--all").out.count("  basis: ") == whole > 2


def test_of_an_item_what_is_silent_takes_a_line(full: Bench) -> None:
    full.log("booked", "quay", "2026-04-05T12:00:00Z")

    out = full("explain", "B").out

    assert out.startswith("Pack left full: B (left-full)\n")
    assert "  swollen B: rings when swollen is yes (now no)\n" in out
    assert "  unread B: rings when hours since reading at least 120 d (long) (now 24 h); may change Thu 30 Jul" in out
    assert out.count("  basis: ") == 1


def test_a_not_is_told_as_its_contrary() -> None:
    """A condition is read once: neither "not no" nor "not [no]"."""
    unfit = Leaf("found_unfit", None, "is_not", "no", None)
    low = Leaf("charge", None, "less_than", 20, None, 3_600_000_000, None)

    assert (comparison(unfit, "no"), comparison(unfit, "no", holds=False)) == ("is yes", "is no")
    assert comparison(low, "20 %", holds=False) == "at least 20 %"


def test_the_contrary_of_a_group_turns_all_into_any(full: Bench) -> None:
    held = "not: {any: [{fact: next_job_in, at_most: soon}, {fact: charge, at_most: calm, lasting: 2 h}]}"
    full.write("rules/own.yaml", RULES.replace("not: {fact: next_job_in, at_most: soon}", held, 1))

    out = full("explain", "left-full", "B").out

    assert "    [yes] all of\n      [yes] next job in: none booked; wanted: above 24 h (soon)\n" in out
    assert "      [yes] charge: 100 %; wanted: not at most 70 % (calm), for 2 h; 30 % above" in out
