"""The life of a reminder from its opening to its last line, by an injected clock: what a person gets, and when.

The figures are our own choice (common practice, no source).
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from scheduler.base.instants import DAY, HOUR, MINUTE, to_datetime
from tests.messages.clockwork import Clockwork
from tests.messages.homes import ALARM, FLEET, FULL, RULE, SLOW
from tests.support import moment, rfc

WEDNESDAY = moment("2026-04-01 09:00")
SAT = RULE.format(id="sat", title="Pack sat full", least=90, urgency="today").replace("90 %", "90 %, lasting: 24 h")
CHANNELS: dict[str, dict[str, object]] = {
    "phone": {"url": "json://127.0.0.1/phone", "urgency": ["now", "today"]},
    "mail": {"url": "json://127.0.0.1/mail"},
}
LOUD = CHANNELS | {"loud": {"url": "json://127.0.0.1/loud", "after": "1 h"}}


def write(path: Path, *rules: str, **settings: object) -> None:
    """The files of a home in UTC with quiet hours at night."""
    (path / "rules").mkdir(parents=True, exist_ok=True)
    given = {"zone": "UTC", "channels": CHANNELS, "quiet": {"from": "21:30", "to": "07:00"}} | settings
    (path / "shelfbell.yaml").write_text(json.dumps(given))
    (path / "fleet.yaml").write_text(FLEET)
    (path / "rules" / "own.yaml").write_text("rules:\n" + "".join(rules))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the home is."""
    return tmp_path / "home"


class Lives:
    """Makes daemons, and lets go of their homes at the end."""

    def __init__(self) -> None:
        self.made: list[Clockwork] = []

    def __call__(self, path: Path, *rules: str, now: int = WEDNESDAY, **settings: object) -> Clockwork:
        write(path, *rules, **settings)
        self.made.append(Clockwork(path, now))
        return self.made[-1]


@pytest.fixture
def lifetime() -> Iterator[Lives]:
    """A maker of daemons."""
    lifetimes = Lives()
    yield lifetimes
    for made in lifetimes.made:
        made.close()


def got(daemon: Clockwork, channel: str) -> list[str]:
    """What a channel got: "04-01 09:00 first Pack is full: A"."""
    return [
        f"{to_datetime(letter.arrived):%m-%d %H:%M} {letter.kind} {letter.title}"
        for letter in daemon.letters
        if letter.channel == channel
    ]


# Escalation.


def test_what_is_not_seen_for_an_hour_goes_to_the_further_channel_and_on_with_each_repeat(
    path: Path, lifetime: Lives
) -> None:
    daemon = lifetime(path, ALARM, channels=LOUD)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + 9 * HOUR)

    assert got(daemon, "phone") == [
        "04-01 09:00 first Pack is alarming: A",
        "04-01 13:00 again Pack is alarming: A",
        "04-01 17:00 again Pack is alarming: A",
    ]
    assert got(daemon, "loud") == [
        "04-01 10:00 again Pack is alarming: A",
        "04-01 13:00 again Pack is alarming: A",
        "04-01 17:00 again Pack is alarming: A",
    ]


@pytest.mark.parametrize("what", ["seen", "snoozed", "settled"])
def test_what_was_seen_snoozed_or_settled_within_the_hour_does_not_go_further(
    path: Path, lifetime: Lives, what: str
) -> None:
    daemon = lifetime(path, ALARM, channels=LOUD)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + 59 * MINUTE)
    if what == "settled":
        daemon.log("drained", item="A", percent=60)
    else:
        daemon.log(what, item="A", rule="alarm")
    daemon.run(WEDNESDAY + 20 * HOUR)

    assert got(daemon, "loud") == []


def test_after_a_snooze_the_hour_counts_anew(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, ALARM, channels=LOUD)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + 30 * MINUTE)
    daemon.log("snoozed", item="A", rule="alarm", until=rfc("2026-04-01 12:00"))
    daemon.run(WEDNESDAY + 5 * HOUR)

    assert got(daemon, "phone") == ["04-01 09:00 first Pack is alarming: A", "04-01 12:00 again Pack is alarming: A",
                                    "04-01 13:00 again Pack is alarming: A"]  # fmt: skip
    assert got(daemon, "loud") == ["04-01 13:00 again Pack is alarming: A"]


def test_a_further_channel_gets_nothing_else(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL, SLOW, channels=LOUD)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + 9 * DAY)

    assert got(daemon, "loud") == []
    assert len(got(daemon, "mail")) > 3


def test_steps_go_further_one_after_the_other(path: Path, lifetime: Lives) -> None:
    further: dict[str, dict[str, object]] = {"friend": {"url": "json://127.0.0.1/friend", "after": "2 h"}}
    daemon = lifetime(path, ALARM, channels=LOUD | further)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + 3 * HOUR)

    assert got(daemon, "friend") == ["04-01 11:00 again Pack is alarming: A"]
    assert got(daemon, "loud")[0] == "04-01 10:00 again Pack is alarming: A"


def test_what_an_entry_of_the_night_opened_goes_further_at_night_and_what_the_clock_opened_waits(
    path: Path, lifetime: Lives
) -> None:
    daemon = lifetime(path, ALARM, channels=LOUD, now=moment("2026-04-01 23:00"))
    daemon.log("charged", item="A")
    daemon.run(moment("2026-04-02 06:00"))

    assert got(daemon, "loud") == ["04-02 00:00 again Pack is alarming: A"]


@pytest.mark.parametrize("minutes", [0, 1, 59, 60, 61, 300])
def test_a_restart_between_any_two_steps_changes_nothing(path: Path, lifetime: Lives, minutes: int) -> None:
    daemon = lifetime(path, ALARM, channels=LOUD)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + minutes * MINUTE)
    daemon.restart()
    daemon.run(WEDNESDAY + 9 * HOUR)

    assert got(daemon, "loud") == [
        "04-01 10:00 again Pack is alarming: A",
        "04-01 13:00 again Pack is alarming: A",
        "04-01 17:00 again Pack is alarming: A",
    ]


@pytest.mark.parametrize(
    ("channels", "said"),
    [
        ({"a": {"url": "$A", "after": "1 h"}}, "every channel has `after`: one without it has to ring first"),
        (
            {"a": {"url": "$A"}, "b": {"url": "$B", "after": "1 h", "urgency": ["now"]}},
            "gets only `now`: leave this out",
        ),
        ({"a": {"url": "$A"}, "b": {"url": "$B", "after": "soon"}}, "a duration such as '90 min'"),
    ],
)
def test_settings_by_which_nobody_would_be_reached_are_refused(
    path: Path, channels: dict[str, dict[str, object]], said: str
) -> None:
    from scheduler.base.findings import Refused
    from scheduler.home.folder import Home

    write(path, ALARM, channels=channels)

    with pytest.raises(Refused) as refused:
        Home(path).setup()
    assert said in str(refused.value)


# Away, and nothing running.


def test_while_away_only_the_urgent_rings_and_one_summary_comes_on_return(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, ALARM.replace("90 %", "95 %"), FULL, SLOW)
    daemon.log("away", **{"from": rfc("2026-04-01 12:00"), "to": rfc("2026-04-10 18:00")})
    daemon.run(moment("2026-04-02 10:00"))
    daemon.log("charged", item="A", percent=92)
    daemon.run(moment("2026-04-03 10:00"))
    daemon.log("charged", item="B")
    daemon.log("seen", item="B", rule="alarm")
    daemon.run(moment("2026-04-11 12:00"))

    assert got(daemon, "mail")[:2] == [
        "04-03 10:00 first Pack is alarming: B",
        "04-10 18:00 summary Pack is full: A and B",
    ]
    summary = next(letter for letter in daemon.letters if letter.kind == "summary" and letter.channel == "mail")
    assert summary.body.startswith(
        "You were away from Wed 1 Apr 12:00 to Fri 10 Apr 18:00. Of that time:\n"
        "- Pack is full: A: since Thu 2 Apr 10:00\n"
    )
    assert "Still open:\n- Pack is alarming: B" in summary.body
    assert [letter.kind for letter in daemon.letters if letter.channel == "phone"] == ["first", "summary"]


def test_on_return_from_a_quiet_absence_one_line_says_so(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("away", **{"from": rfc("2026-04-01 12:00"), "to": rfc("2026-04-11 03:00")})
    daemon.run(moment("2026-04-12 12:00"))

    assert got(daemon, "mail") == ["04-11 07:00 summary Nothing new"]
    assert "Nothing new came due." in daemon.letters[0].body


def test_an_absence_told_when_it_was_over_brings_no_summary(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL, now=WEDNESDAY - DAY)
    daemon.run(WEDNESDAY)
    daemon.log("away", **{"from": rfc("2026-03-31 10:00"), "to": rfc("2026-03-31 20:00")})
    daemon.run(WEDNESDAY + DAY)

    assert daemon.letters == []


def test_while_away_what_the_night_held_is_no_digest(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, ALARM.replace("90 %", "90 %, lasting: 14 h"), FULL)
    daemon.log("charged", item="A")
    daemon.log("away", **{"from": rfc("2026-04-01 12:00"), "to": rfc("2026-04-04 18:00")})
    daemon.run(moment("2026-04-02 08:00"))

    assert got(daemon, "mail") == ["04-01 09:00 first Pack is full: A", "04-02 07:00 first Pack is alarming: A"]
    assert "Still open" not in daemon.letters[-1].body


def test_absences_that_meet_are_one(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A")
    daemon.log("away", **{"from": rfc("2026-04-02 00:00"), "to": rfc("2026-04-03 12:00")})
    daemon.log("away", **{"from": rfc("2026-04-03 12:00"), "to": rfc("2026-04-04 12:00")})
    assert daemon.board().away_until(moment("2026-04-02 00:00")) == moment("2026-04-04 12:00")
    daemon.run(moment("2026-04-05 09:00"))

    assert got(daemon, "mail") == [
        "04-01 09:00 first Pack is full: A",
        "04-04 12:00 summary Pack is full: A",
    ]


def test_after_downtime_one_summary_comes_with_the_true_opening_times(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, SAT, ALARM.replace("90 %", "90 %, lasting: 30 h"))
    daemon.log("charged", item="A")
    daemon.now += 3 * HOUR
    daemon.log("charged", item="B")
    daemon.sleep(WEDNESDAY + 4 * DAY)
    daemon.run(WEDNESDAY + 4 * DAY + 2 * HOUR)

    assert got(daemon, "phone") == ["04-05 09:00 summary 4 things to see to: pack is alarming (A and B) and more"]
    body = daemon.letters[0].body
    for pack, opened in (
        ("sat full: A", "09:00"),
        ("sat full: B", "12:00"),
        ("alarming: A", "15:00"),
        ("alarming: B", "18:00"),
    ):
        assert re.search(rf"Pack (is )?{pack}\b.*\bThu 2 Apr {opened}\b", body), body
    assert "Sun 5 Apr 09:00" in body


def test_a_wake_a_little_late_is_no_downtime(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, SAT)
    daemon.log("charged", item="A")
    daemon.sleep(WEDNESDAY + DAY + 10 * MINUTE)

    assert got(daemon, "phone") == ["04-02 09:10 first Pack sat full: A"]


def test_what_is_new_to_a_daemon_that_slept_as_planned_is_no_downtime(path: Path, lifetime: Lives) -> None:
    """A rule that is added opens what it would have opened long ago."""
    daemon = lifetime(path, FULL.replace("full", "other").replace("90 %", "99 %"))
    daemon.log("charged", item="A", percent=95)
    daemon.run(WEDNESDAY + 3 * DAY)
    write(path, FULL)
    daemon.reload()

    assert got(daemon, "phone") == ["04-04 09:00 first Pack is full: A"]


def test_a_start_in_the_night_holds_what_was_missed_until_the_morning(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, SAT)
    daemon.log("charged", item="A")
    daemon.sleep(moment("2026-04-03 03:00"))
    daemon.run(moment("2026-04-03 12:00"))

    assert [text[:11] for text in got(daemon, "phone")] == ["04-03 07:00"]


# Seen, snoozed.


def test_seen_until_a_date_is_quiet_till_then(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A")
    daemon.log("seen", item="A", rule="full", until=rfc("2026-04-20 10:00"))
    daemon.run(moment("2026-04-20 12:00"))

    assert got(daemon, "phone") == ["04-01 09:00 first Pack is full: A", "04-20 10:00 again Pack is full: A"]


def test_snoozed_until_the_next_of_a_kind_it_is_quiet_till_then(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A")
    daemon.log("snoozed", item="A", rule="full", until_next="moved")
    daemon.run(WEDNESDAY + 20 * DAY)
    assert got(daemon, "phone") == ["04-01 09:00 first Pack is full: A"]
    daemon.log("moved", item="A", how="driven")
    daemon.run(WEDNESDAY + 20 * DAY + HOUR)

    assert got(daemon, "phone")[1:] == ["04-21 09:00 again Pack is full: A"]


# Endings, each with its reason.


def weekly(daemon: Clockwork) -> str:
    """The body of the weekly digest of Monday 6 April."""
    daemon.run(moment("2026-04-06 08:00"))
    letters = [letter for letter in daemon.letters if letter.channel == "mail" and letter.kind == "digest"]
    assert [letter.arrived for letter in letters] == [moment("2026-04-06 07:00")]
    return letters[0].body


def test_a_settled_reminder_is_one_line_with_the_entry_that_did_it(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + DAY)
    daemon.log("drained", item="A", percent=58, id="d1")

    body = weekly(daemon)

    assert re.search(r"- Pack is full: A: settled Thu 2 Apr 09:00 by drained\b.*\(since Wed 1 Apr 09:00\)", body), body
    assert daemon.told()[-1][1:] == ("settled", "full", "A", "settled by drained (d1)")


@pytest.mark.parametrize("how", ["struck", "instead_of", "late"])
def test_a_withdrawn_reminder_names_the_correction(path: Path, lifetime: Lives, how: str) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A", id="c1")
    daemon.run(WEDNESDAY + DAY)
    if how == "struck":
        daemon.log("struck", event="c1", id="fix")
    elif how == "instead_of":
        daemon.log("charged", at=WEDNESDAY, item="A", percent=60, instead_of="c1", id="fix")
    else:
        daemon.log("drained", at=WEDNESDAY, item="A", percent=60, id="fix")

    assert re.search(r"- Pack is full: A: withdrawn \w+ \d Apr \d\d:00 by (struck|charged|drained)\b", weekly(daemon))
    assert daemon.told()[-1][4].endswith("(fix)")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("rule", "full: A: closed, the rule is gone,"),
        ("off", "full: A: closed, the rule is off for it,"),
    ],
)
def test_a_reminder_whose_rule_is_gone_says_so(path: Path, lifetime: Lives, change: str, said: str) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A")
    if change == "rule":
        write(path, ALARM.replace("90 %", "101 %"))
    else:
        write(path, FULL, "adjust: {full: [{off: true, because: x, only: [A]}]}\n")
    daemon.reload()

    assert said in weekly(daemon)


def test_history_tells_the_whole_story_of_a_reminder(
    path: Path, lifetime: Lives, capsys: pytest.CaptureFixture[str]
) -> None:
    from scheduler.cli.main import main

    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A", id="c1")
    daemon.run(WEDNESDAY + 2 * DAY)
    daemon.log("drained", item="A", percent=58, id="d1")
    weekly(daemon)

    main(["--home", str(path), "history", "A", "--reminders", "--at", "2026-04-07T12:00:00Z"])

    assert [line.split("  ")[-1].partition("reminder ")[2] for line in capsys.readouterr().out.splitlines()] == [
        "", "full A: rung (first, today)", "full A: rung (again, today)", "", "full A: settled by drained (d1)"
    ]  # fmt: skip


def test_a_quiet_week_is_one_line_with_the_age_of_the_last_entry(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL, SLOW)
    for item in "AB":
        daemon.log("charged", item=item, percent=60)
    daemon.run(moment("2026-04-14 12:00"))

    assert got(daemon, "mail") == ["04-06 07:00 digest All quiet", "04-13 07:00 digest All quiet"]
    assert daemon.letters[-1].body == "All quiet: nothing is open. The last entry was 11 days ago."
    assert got(daemon, "phone") == []


def test_what_the_bell_says_of_itself_goes_to_further_channels_only_where_there_is_no_other(path: Path) -> None:
    from scheduler.home.folder import Home

    write(path, FULL, channels={"phone": CHANNELS["phone"], "loud": LOUD["loud"]})
    setup = Home(path).setup()

    assert setup.notice_channels() == ["phone"]
    assert setup.notice_channels(except_for="phone") == ["loud"]


def test_a_withdrawal_is_laid_to_the_entry_that_did_it_whatever_was_logged_after(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A", id="c1")
    daemon.run(WEDNESDAY + DAY)
    daemon.log("struck", event="c1", id="fix")
    daemon.run(WEDNESDAY + 2 * DAY)
    daemon.log("measured", at=daemon.now - HOUR, item="A", percent=55, id="later")

    assert "- Pack is full: A: withdrawn Thu 2 Apr 09:00 by struck (since Wed 1 Apr 09:00)" in weekly(daemon)
    assert daemon.told()[-1][4] == "withdrawn by struck (fix)"


def test_what_settles_within_a_flight_is_laid_to_the_entry_of_that_instant(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, FULL)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + DAY)
    daemon.log("flown", at=daemon.now + 5 * MINUTE, aircraft="heron", packs=["A"], minutes=10, percent_to=95, id="f1")
    daemon.log("drained", item="A", percent=58, id="d1")
    daemon.log("flown", at=daemon.now, aircraft="heron", packs=["A"], minutes=10, percent_to=40, id="f2")

    weekly(daemon)

    assert daemon.told()[-1][4] != "settled by flown (f1)"


def test_what_came_and_went_unseen_is_one_line_in_all(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, SLOW, now=WEDNESDAY - 3 * DAY)
    daemon.run(WEDNESDAY)
    for item in "AB":
        daemon.log("charged", item=item)
    daemon.run(WEDNESDAY + HOUR)
    for item in "AB":
        daemon.log("drained", item=item, percent=58)
    daemon.run(WEDNESDAY + 6 * DAY)

    (line,) = [line for line in daemon.letters[-1].body.splitlines() if "pack can wait" in line.lower()]
    assert line == "- 2 came and went before they were rung: pack can wait (A and B)"


def test_a_gap_tells_the_last_look_and_sets_apart_what_is_older(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, SAT, FULL)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + 2 * HOUR)
    daemon.sleep(WEDNESDAY + 4 * DAY)

    head, _, rest = daemon.letters[-1].body.partition("\n\n")
    assert head == (
        "I was not running from Thu 2 Apr 09:00 to Sun 5 Apr 09:00 (my last look: Wed 1 Apr 09:00). Of that time:\n"
        "- Pack sat full: A: since Thu 2 Apr 09:00"
    )
    assert "Pack is full" in rest


def test_what_was_logged_between_the_last_look_and_a_gap_is_not_said_to_be_of_it(path: Path, lifetime: Lives) -> None:
    daemon = lifetime(path, SAT, FULL)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + 2 * HOUR)
    daemon.now = WEDNESDAY + 11 * HOUR
    daemon.log_while_down("charged", item="B")
    daemon.sleep(WEDNESDAY + 4 * DAY)

    assert daemon.letters[-1].body.partition("\n\n")[0] == (
        "I was not running from Thu 2 Apr 09:00 to Sun 5 Apr 09:00 (my last look: Wed 1 Apr 09:00). Of that time:\n"
        "- Pack sat full: A: since Thu 2 Apr 09:00\n"
        "- Pack sat full: B: since Thu 2 Apr 20:00\n"
        "Open before that, and not rung or less urgent then:\n"
        "- Pack is full: B: since Wed 1 Apr 20:00"
    )
