"""What is said of a reminder, and when: cadence, quiet hours, digest, seen and snoozed, rises, late entries, absences.

The figures are our own choice (common practice, no source) but for the nights on which clocks change, whose instants
are those of the IANA time zone database.
"""

from datetime import time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.instants import DAY, HOUR, MINUTE, parse_rfc3339, to_datetime
from scheduler.base.strict_yaml import read
from scheduler.reminders.announcements import Notification
from scheduler.reminders.board import Board
from scheduler.reminders.decide import Decision, Ledger, decide, next_wake
from scheduler.reminders.hours import JOIN_DIGEST, Hours
from tests.homes import FLEET, RULES, ruleset
from tests.support import Entries, Fields, book_of, event, moment, rfc

PLATES = read(FLEET, "fleet.yaml").data
UTC = ZoneInfo("UTC")
OPEN_ALL_DAY = Hours(UTC, None, time(7))
NIGHT = Hours(UTC, (time(21, 30), time(7)), time(7))
URGENT = RULES.replace("    urgency: today", "    urgency: now", 1)
GROWING = RULES.replace(
    "    urgency: today", "    urgency: [{now: {fact: charge, at_least: 85 %, lasting: 10 d}}, today]", 1
)
"""The small home's rules, with left-full as urgent as can be, and growing so after ten days."""


def live(entries: Entries, to: str, hours: Hours = OPEN_ALL_DAY, rules: str = RULES, step: int = 0) -> list[Decision]:
    """A daemon's life: it wakes at each next change and whenever an entry is told, knowing only what was told by then.

    An entry is told at its `recorded_at`, else when it happened. `step`: it also wakes this often, for no reason.
    """
    told_at = [moment(str(fields.get("recorded_at", fields["at"]))) for fields in entries]
    now, end = min(told_at), moment(to)
    ledger, made = Ledger(began=now), []
    while now < end:
        known = [fields for fields, told in zip(entries, told_at, strict=True) if told <= now]
        board = Board(book_of(PLATES, *in_force(known)), ruleset(rules))
        decision = decide(board, ledger, hours, now)
        for line in decision.notifications():
            ledger.add(line)
        if decision.digest:
            ledger.digest_at = now
        made += [decision] if decision else []
        turns = [next_wake(board, ledger, hours, decision), *(told for told in told_at if told > now)]
        now = min(turns + ([now + step] if step else []))
    return made


def in_force(entries: Entries) -> Entries:
    """The entries that no other strikes."""
    struck = {fields["event"] for fields in entries if fields["what"] == "struck"}
    return [fields for fields in entries if fields["what"] != "struck" and fields.get("id") not in struck]


def stamp(instant: int) -> str:
    return f"{to_datetime(instant):%m-%d %H:%M}"


def rung(made: list[Decision], rule: str = "left-full", item: str = "B") -> list[str]:
    """When and as what a reminder was rung: "04-02 09:00 first"."""
    return [
        f"{stamp(decision.at)} {word.kind}"
        for decision in made
        for word in decision.announcements
        if word.reminder.key == (rule, item)
    ]


def ended(made: list[Decision]) -> list[str]:
    """What digests said was over: "04-06 07:00 left-full B settled"."""
    return [f"{stamp(d.at)} {e.key.rule} {e.key.item} {e.ending}" for d in made for e in d.ended]


def full(at: str, item: str = "B", **fields: object) -> Fields:
    return event(at, "charged", item=item, **fields)


def drained(at: str, item: str = "B", **fields: object) -> Fields:
    return event(at, "drained", item=item, percent=58, **fields)


def said(at: str, what: str, rule: str = "left-full", item: str = "B", **fields: object) -> Fields:
    return event(at, what, item=item, rule=rule, **fields)


SWOLLEN = event("2026-04-01 09:00", "noticed", item="B", findings=["swollen"])

# Cadence.


def test_a_reminder_of_the_day_repeats_after_1_3_7_15_days_and_then_every_eight() -> None:
    made = live([full("2026-04-01 09:00")], "2026-05-20")

    assert rung(made) == [
        "04-02 09:00 first",
        "04-03 09:00 again",
        "04-05 09:00 again",
        "04-09 09:00 again",
        "04-17 09:00 again",
        "04-25 09:00 again",
        "05-03 09:00 again",
        "05-11 09:00 again",
        "05-19 09:00 again",
    ]


def test_the_most_urgent_repeats_at_the_same_spacing() -> None:
    assert rung(live([SWOLLEN], "2026-04-02 09:00"), "swollen") == [
        "04-01 09:00 first",
        "04-01 13:00 again",
        "04-01 17:00 again",
        "04-01 21:00 again",
        "04-02 01:00 again",
        "04-02 05:00 again",
    ]


def test_what_has_the_week_comes_with_the_next_digest_and_is_not_repeated() -> None:
    flown = event("2026-04-01 09:00", "flown", aircraft="heron", packs=["B"], minutes=301, percent_to=60)
    made = live([flown], "2026-05-01")

    assert rung(made, "look-due", "heron-props") == ["04-02 07:00 first"]
    assert made[0].digest


def test_a_rule_may_set_its_own_spacing() -> None:
    often = RULES.replace("    log_then: drained {item} 58", "    remind: {again: 6 h}", 1)
    made = live([full("2026-04-01 09:00")], "2026-04-04 12:00", rules=often)

    assert rung(made)[:4] == ["04-02 09:00 first", "04-02 15:00 again", "04-03 03:00 again", "04-04 03:00 again"]


def test_nothing_is_said_after_it_settled() -> None:
    made = live([full("2026-04-01 09:00"), drained("2026-04-03 20:00")], "2026-05-01")

    assert rung(made) == ["04-02 09:00 first", "04-03 09:00 again"]


@settings(max_examples=3, deadline=None)
@given(st.integers(60, 24 * 60).map(lambda minutes: minutes * MINUTE))
def test_waking_without_reason_changes_nothing(step: int) -> None:
    entries = [full("2026-04-01 09:00"), full("2026-04-01 11:00", "C"), drained("2026-04-06 09:00", "C")]
    plain = live(entries, "2026-04-08", NIGHT)

    fidgety = live(entries, "2026-04-08", NIGHT, step=step)

    assert [rung(fidgety, item=item) for item in "BC"] == [rung(plain, item=item) for item in "BC"]
    assert ended(fidgety) == ended(plain)


# Quiet hours and digest.


def test_an_entry_of_the_night_rings_at_once_when_it_is_urgent() -> None:
    found = event("2026-04-01 23:00", "noticed", item="B", findings=["swollen"])

    assert rung(live([found], "2026-04-02 12:00", NIGHT), "swollen") == [
        "04-01 23:00 first",
        "04-02 07:00 again",
        "04-02 11:00 again",
    ]


def test_what_the_clock_alone_opens_at_night_waits_however_urgent() -> None:
    made = live([full("2026-04-01 23:00")], "2026-04-03 08:00", NIGHT, URGENT)

    assert rung(made) == ["04-03 07:00 first"]


def test_an_entry_of_the_night_waits_when_it_is_not_urgent() -> None:
    lapsed = event("2026-04-01 23:00", "renewed", item="certificate", expires="2026-04-03")

    assert rung(live([lapsed], "2026-04-02 08:00", NIGHT), "paper-due", "certificate") == ["04-02 07:00 first"]


@pytest.mark.parametrize(
    ("digest", "rings"),
    [
        ("05:00", "05:00"),
        ("06:00", "06:00"),
        ("07:00", "07:00"),
        ("07:01", "05:00"),
        ("12:00", "05:00"),
        ("04:00", "05:00"),
    ],
)
def test_held_messages_wait_for_a_digest_within_two_hours_of_the_end_of_quiet_hours(digest: str, rings: str) -> None:
    hour, minute = map(int, digest.split(":"))
    hours = Hours(UTC, (time(21, 30), time(5)), time(hour, minute))

    assert rung(live([full("2026-04-01 23:00")], "2026-04-03 13:00", hours)) == [f"04-03 {rings} first"]


def test_what_waited_together_goes_as_one_message() -> None:
    made = live([full(f"2026-04-01 2{hour}:30", item) for hour, item in enumerate("ABC", 1)], "2026-04-03 08:00", NIGHT)

    (digest,) = [decision for decision in made if decision.announcements]
    assert stamp(digest.at) == "04-03 07:00"
    assert digest.digest
    assert {word.reminder.key.item for word in digest.announcements} == {"A", "B", "C"}


def test_the_digest_tells_what_is_still_open_and_what_settled_since() -> None:
    entries = [full("2026-04-01 09:00"), full("2026-04-01 09:00", "C"), drained("2026-04-04 09:00", "C")]
    # Monday 6 April: the weekly digest, with nothing new to ring.
    digests = [decision for decision in live(entries, "2026-04-07") if decision.digest]

    assert [stamp(digest.at) for digest in digests] == ["04-06 07:00"]
    assert [reminder.key.item for reminder in digests[0].still_open] == ["B"]
    assert ended(digests) == ["04-06 07:00 left-full C settled"]


def test_what_opened_and_settled_unseen_is_one_line_in_one_digest() -> None:
    week = [full("2026-04-01 09:00", "C"), full("2026-04-12 22:00", recorded_at="2026-04-14 06:00")]
    week += [drained("2026-04-14 01:00", recorded_at="2026-04-14 06:00")]
    made = live(week, "2026-05-05", NIGHT)

    assert rung(made) == []
    assert [line for line in ended(made) if " B " in line] == ["04-20 07:00 left-full B settled"]


def test_quiet_hours_that_begin_as_they_end_are_none() -> None:
    hours = Hours(UTC, (time(22), time(22)), time(7))
    assert rung(live([full("2026-04-01 23:00")], "2026-04-03", hours)) == ["04-02 23:00 first"]


@settings(deadline=None)
@given(st.integers(0, 48 * 60), st.integers(0, 1439), st.integers(0, 1439), st.integers(0, 1439))
def test_held_messages_never_arrive_in_quiet_hours_nor_before_they_were_held(
    minute: int, begin: int, end: int, digest: int
) -> None:
    hours = Hours(UTC, (_clock(begin), _clock(end)), _clock(digest))
    instant = moment("2026-04-01") + minute * MINUTE

    delivered = hours.delivery(instant)

    assert delivered >= instant
    assert hours.quiet_until(delivered) == delivered
    assert delivered <= hours.quiet_until(instant) + JOIN_DIGEST


def _clock(minutes: int) -> time:
    return time(minutes // 60, minutes % 60)


# Seen and snoozed.


def test_seen_stops_the_repeats() -> None:
    made = live([full("2026-04-01 09:00"), said("2026-04-03 12:00", "seen")], "2026-05-20")
    assert rung(made) == ["04-02 09:00 first", "04-03 09:00 again"]


def test_seen_binds_to_the_reminder_open_then_and_not_to_the_next() -> None:
    entries = [
        full("2026-04-01 09:00"),
        said("2026-04-02 12:00", "seen"),
        drained("2026-04-03 09:00"),
        full("2026-04-04 09:00"),
    ]
    made = live(entries, "2026-04-07")

    assert rung(made) == ["04-02 09:00 first", "04-05 09:00 first", "04-06 09:00 again"]


def test_what_was_seen_on_the_board_before_its_first_message_is_not_rung_but_stands_in_the_digest() -> None:
    made = live([full("2026-04-01 23:00"), said("2026-04-02 23:30", "seen")], "2026-04-20", NIGHT)
    assert rung(made) == []
    assert [stamp(d.at) for d in made if "B" in [r.key.item for r in d.still_open]][:1] == ["04-06 07:00"]


def test_what_was_seen_before_its_first_message_rings_when_it_grows_more_urgent() -> None:
    made = live([full("2026-04-01 23:00"), said("2026-04-02 23:30", "seen")], "2026-04-13", NIGHT, GROWING)
    assert rung(made)[0] == "04-12 07:00 first"


def test_snoozed_it_is_quiet_for_a_day_and_then_goes_on() -> None:
    made = live([full("2026-04-01 09:00"), said("2026-04-02 20:00", "snoozed")], "2026-04-09 10:00")
    assert rung(made) == ["04-02 09:00 first", "04-03 20:00 again", "04-05 09:00 again", "04-09 09:00 again"]


def test_snoozed_until_a_time_it_is_quiet_till_then() -> None:
    entries = [full("2026-04-01 09:00"), said("2026-04-02 20:00", "snoozed", until="2026-04-08 18:00")]
    assert rung(live(entries, "2026-04-10")) == ["04-02 09:00 first", "04-08 18:00 again", "04-09 09:00 again"]


def test_snoozed_before_the_first_message_it_is_quiet_as_well() -> None:
    entries = [full("2026-04-01 23:00"), said("2026-04-02 23:30", "snoozed", until="2026-04-04 12:00")]
    assert rung(live(entries, "2026-04-05", NIGHT)) == ["04-04 12:00 first"]


def test_of_seen_and_snoozed_the_later_counts() -> None:
    day = [full("2026-04-01 09:00")]
    seen_last = [said("2026-04-02 20:00", "snoozed"), said("2026-04-02 21:00", "seen")]
    snoozed_last = [said("2026-04-02 20:00", "seen"), said("2026-04-02 21:00", "snoozed")]

    assert rung(live(day + seen_last, "2026-04-05")) == ["04-02 09:00 first"]
    assert rung(live(day + snoozed_last, "2026-04-05")) == ["04-02 09:00 first", "04-03 21:00 again"]


# Rises.


def test_a_rise_rings_once_and_repeats_at_the_spacing_of_the_new_urgency() -> None:
    made = live([full("2026-04-01 09:00")], "2026-04-11 18:00", rules=GROWING)

    assert rung(made) == [
        "04-02 09:00 first",
        "04-03 09:00 again",
        "04-05 09:00 again",
        "04-09 09:00 again",
        "04-11 09:00 rise",
        "04-11 13:00 again",
        "04-11 17:00 again",
    ]


@pytest.mark.parametrize("what", ["seen", "snoozed"])
def test_a_rise_lifts_what_kept_it_quiet(what: str) -> None:
    until = {"until": "2026-04-20 09:00"} if what == "snoozed" else {}
    made = live([full("2026-04-01 09:00"), said("2026-04-02 10:00", what, **until)], "2026-04-11 14:00", rules=GROWING)

    assert rung(made) == ["04-02 09:00 first", "04-11 09:00 rise", "04-11 13:00 again"]


def test_seen_after_the_rise_stops_its_repeats() -> None:
    entries = [full("2026-04-01 09:00"), said("2026-04-11 10:00", "seen")]
    assert rung(live(entries, "2026-04-14", rules=GROWING))[-1] == "04-11 09:00 rise"


def test_a_rise_by_the_clock_waits_for_quiet_hours_to_end() -> None:
    made = live([full("2026-04-01 23:00")], "2026-04-12 08:00", NIGHT, GROWING)
    assert rung(made)[-1] == "04-12 07:00 rise"


def test_a_rise_while_the_first_message_waits_brings_it_forward() -> None:
    """This week at 9, at once at 10: it does not wait for the digest of the day after."""
    soon = RULES.replace(
        "urgency: today", "urgency: [{now: {fact: charge, at_least: 85 %, lasting: 25 h}}, this_week]", 1
    )
    made = live([full("2026-04-01 09:00")], "2026-04-02 12:00", rules=soon)

    assert rung(made) == ["04-02 10:00 first"]
    assert [word.urgency for decision in made for word in decision.announcements if word.reminder.key.item == "B"] == [
        "now"
    ]


def test_a_fall_and_a_second_rise_to_the_same_height_ring_nothing_new() -> None:
    flights = [event("2026-04-01 09:00", "flown", aircraft="heron", packs=["B"], minutes=481, percent_to=60)]
    made = live([*flights, said("2026-04-01 09:30", "seen", "look-due", "heron-props")], "2026-05-01")

    assert rung(made, "look-due", "heron-props") == ["04-01 09:00 first"]


# Late entries: what was told belongs to the stretch that holds the instant at which it was first told.


def test_what_is_told_late_rings_when_it_is_told() -> None:
    made = live([full("2026-03-30 09:00", recorded_at="2026-04-05 22:00")], "2026-04-07", NIGHT)
    assert rung(made) == ["04-06 07:00 first"]


def test_an_urgent_thing_told_late_at_night_rings_at_once() -> None:
    found = event("2026-04-01 09:00", "noticed", item="B", findings=["swollen"], recorded_at="2026-04-05 23:00")
    assert rung(live([found], "2026-04-06 02:00", NIGHT), "swollen") == ["04-05 23:00 first"]


LATE_DRAIN = drained("2026-04-01 12:00", recorded_at="2026-04-02 12:00", id="late")


def test_a_late_entry_that_takes_its_stretch_away_withdraws_what_was_told() -> None:
    made = live([full("2026-04-01 09:00"), LATE_DRAIN], "2026-04-14")

    assert rung(made) == ["04-02 09:00 first"]
    assert ended(made) == ["04-06 07:00 left-full B withdrawn"]


def test_told_as_withdrawn_and_open_again_it_rings_once_more_as_again() -> None:
    back = event("2026-04-07 12:00", "struck", event="late")
    made = live([full("2026-04-01 09:00"), LATE_DRAIN, back], "2026-04-10")

    assert rung(made) == ["04-02 09:00 first", "04-07 12:00 again", "04-09 09:00 again"]


def test_withdrawn_and_back_before_anyone_was_told_so_it_goes_on_as_if_nothing_was() -> None:
    back = event("2026-04-02 13:00", "struck", event="late")
    made = live([full("2026-04-01 09:00"), LATE_DRAIN, back], "2026-04-06")

    assert rung(made) == ["04-02 09:00 first", "04-03 09:00 again", "04-05 09:00 again"]


def test_of_several_told_in_one_stretch_the_earliest_carries_on() -> None:
    """Two stretches were told, one each; the entry that parted them is struck, and they are one."""
    parted = drained("2026-04-03 08:00", id="parted")
    entries = [
        full("2026-04-01 09:00"),
        parted,
        full("2026-04-03 10:00"),
        event("2026-04-04 12:00", "struck", event="parted"),
    ]
    made = live(entries, "2026-04-10")

    assert rung(made) == ["04-02 09:00 first", "04-04 10:00 first", "04-05 09:00 again", "04-09 09:00 again"]


def test_a_late_entry_that_moves_the_opening_keeps_what_was_told() -> None:
    """It was full a day earlier than known: the stretch begins earlier and still holds the first message."""
    earlier = full("2026-03-31 09:00", recorded_at="2026-04-02 12:00")
    made = live([full("2026-04-01 09:00"), earlier], "2026-04-04")

    assert rung(made) == ["04-02 09:00 first", "04-03 09:00 again"]


# Away, unknown ground, retired.

AWAY = event("2026-04-01 10:00", "away", **{"from": "2026-04-02 00:00", "to": "2026-04-08 18:00"})


def test_while_away_what_has_the_day_waits_for_the_return() -> None:
    assert rung(live([full("2026-04-01 09:00"), AWAY], "2026-04-09 20:00")) == [
        "04-08 18:00 first",
        "04-09 18:00 again",
    ]


def test_while_away_the_urgent_rings() -> None:
    found = event("2026-04-03 09:00", "noticed", item="B", findings=["swollen"])
    assert rung(live([AWAY, found], "2026-04-03 10:00"), "swollen") == ["04-03 09:00 first"]


def test_while_away_no_weekly_digest_comes() -> None:
    made = live([full("2026-04-01 09:00"), AWAY], "2026-04-10")
    assert [stamp(decision.at) for decision in made if decision.digest and not decision.announcements] == []


DARK = event("2026-04-04 09:00", "flown", aircraft="heron", packs=["B"], minutes=10)
"""A flight that does not tell what was left: from here on the charge is not known."""


def test_tellings_stay_in_the_order_in_which_they_were_noted() -> None:
    """The clock was set back by some seconds between two of them."""
    reminder = Board(book_of(PLATES, full("2026-04-01 09:00")), ruleset()).reminders[0]
    opened = reminder.episode.opened
    told = ((600, 600, "first"), (600, 605, "settled"), (580, 580, "first"))
    lines = [Notification(reminder.key, opened + first, opened + at, kind, "today") for first, at, kind in told]
    assert Ledger(lines).of_reminder(reminder) == Ledger(lines).of_key(reminder.key) == lines


def test_without_ground_it_stops_repeating_stands_in_the_digest_and_is_given_up_after_fourteen_days() -> None:
    made = live([full("2026-04-01 09:00"), DARK], "2026-04-28")
    in_digest = [stamp(d.at) for d in made for reminder in d.still_open if reminder.key.item == "B"]

    assert rung(made) == ["04-02 09:00 first", "04-03 09:00 again"]
    assert in_digest == ["04-06 07:00", "04-13 07:00"]
    assert ended(made) == ["04-20 07:00 left-full B not judged"]


def test_with_its_ground_back_it_goes_on() -> None:
    read_again = event("2026-04-06 12:00", "measured", item="B", percent=90)
    made = live([full("2026-04-01 09:00"), DARK, read_again], "2026-04-10")

    assert rung(made) == ["04-02 09:00 first", "04-03 09:00 again", "04-06 12:00 again", "04-09 09:00 again"]


def test_what_is_retired_is_told_as_ended_for_that_reason() -> None:
    made = live([full("2026-04-01 09:00"), event("2026-04-03 12:00", "retired", item="B")], "2026-04-20")

    assert rung(made) == ["04-02 09:00 first", "04-03 09:00 again"]
    assert ended(made) == ["04-06 07:00 left-full B retired"]


def test_an_item_that_is_gone_from_the_fleet_is_told_of_once() -> None:
    now = moment("2026-04-02 09:00")
    board = Board(book_of(PLATES, full("2026-04-01 09:00")), ruleset())
    ledger = Ledger(decide(board, Ledger(began=now), OPEN_ALL_DAY, now).notifications(), began=now)
    bare = Board(book_of({}), ruleset())
    monday = moment("2026-04-06 07:00")

    digest = decide(bare, ledger, OPEN_ALL_DAY, monday)

    (line,) = ended([digest])
    assert line.startswith("04-06 07:00 left-full B ")
    assert "closed, the item is gone," in line


# Nights on which the clock changes. IANA time zone database: Europe/Lisbon goes to UTC+1 on 2026-03-29 at 01:00 UTC and
# back on 2026-10-25 at 01:00 UTC; Australia/Sydney goes to UTC+10 on 2026-04-04 at 16:00 UTC and to UTC+11 on
# 2026-10-03 at 16:00 UTC.

LISBON, SYDNEY = ZoneInfo("Europe/Lisbon"), ZoneInfo("Australia/Sydney")
NIGHTS = {
    "Lisbon, 01:30 is skipped": (
        LISBON,
        "2026-03-28 12:00",
        time(1, 30),
        "2026-03-29T01:00:00Z",
        "2026-03-30T00:30:00Z",
    ),
    "Lisbon, 01:30 comes twice": (
        LISBON,
        "2026-10-24 12:00",
        time(1, 30),
        "2026-10-25T00:30:00Z",
        "2026-10-26T01:30:00Z",
    ),
    "Sydney, 02:30 is skipped": (
        SYDNEY,
        "2026-10-03 02:00",
        time(2, 30),
        "2026-10-03T16:00:00Z",
        "2026-10-04T15:30:00Z",
    ),
    "Sydney, 02:30 comes twice": (
        SYDNEY,
        "2026-04-04 02:00",
        time(2, 30),
        "2026-04-04T15:30:00Z",
        "2026-04-05T16:30:00Z",
    ),
}


@pytest.mark.parametrize("told", NIGHTS)
def test_a_digest_hour_that_is_skipped_comes_after_the_gap_and_one_that_repeats_comes_once(told: str) -> None:
    zone, now, digest, first, second = NIGHTS[told]
    hours = Hours(zone, None, digest)

    assert hours.next_digest(moment(now)) == moment(first[:16].replace("T", " "))
    assert hours.next_digest(parse_rfc3339(first) + 1) == parse_rfc3339(second)


@pytest.mark.parametrize("told", NIGHTS)
def test_quiet_hours_end_after_the_gap_or_the_first_time(told: str) -> None:
    zone, now, end, first, second = NIGHTS[told]
    hours = Hours(zone, (time(22), end), time(12))
    before, after = parse_rfc3339(first) - MINUTE, parse_rfc3339(second) - MINUTE

    assert hours.quiet_until(before) == parse_rfc3339(first)
    assert hours.quiet_until(parse_rfc3339(first)) == parse_rfc3339(first)
    assert hours.quiet_until(parse_rfc3339(first) + HOUR) == parse_rfc3339(first) + HOUR
    assert hours.quiet_until(after) == parse_rfc3339(second)


@pytest.mark.parametrize(
    ("zone", "charged"),
    [(LISBON, "2026-03-27"), (LISBON, "2026-10-23"), (SYDNEY, "2026-04-02"), (SYDNEY, "2026-10-01")],
)
def test_hours_stay_hours_on_the_nights_on_which_the_clock_changes(zone: ZoneInfo, charged: str) -> None:
    """A day of sitting full, and a day between messages, are 24 hours each, whatever the clock shows."""
    made = live([full(f"{charged} 09:00")], str(rfc(charged)[:8] + "28"), Hours(zone, None, time(7)))

    rings = [
        decision.at for decision in made for word in decision.announcements if word.reminder.key.rule == "left-full"
    ]
    assert [(at - moment(f"{charged} 09:00")) // DAY for at in rings[:3]] == [1, 2, 4][: len(rings)]
    assert all((at - moment(f"{charged} 09:00")) % DAY == 0 for at in rings)
