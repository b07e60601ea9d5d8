"""Time: clocks that are wrong, step, or change their zone; nights on which they change; whatever happens in between.

A life is compared with the same life left in peace. The instants at which clocks change are those of the IANA time zone
database: Europe/Lisbon on 2026-03-29 and 2026-10-25 at 01:00 UTC, Australia/Sydney on 2026-04-04 and 2026-10-03 at
16:00 UTC.
"""

import gc
import itertools
import tracemalloc
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.base.instants import DAY, HOUR, MINUTE, SECOND, at_local, parse_rfc3339
from scheduler.reminders.hours import Hours
from tests.messages.clockwork import Clockwork
from tests.messages.homes import ALARM, FULL, SLOW
from tests.messages.test_life import CHANNELS, LOUD, SAT, write
from tests.support import moment

WEDNESDAY = moment("2026-04-01 09:00")
RULES = (
    SAT,
    SLOW.replace("90 %", "90 %, lasting: 30 h"),
    ALARM.replace("90 %", "95 %, lasting: 2 h"),
)
_numbers = itertools.count()


@pytest.fixture
def homes(tmp_path: Path) -> Iterator[Callable[..., Clockwork]]:
    """A maker of daemons with three rules, each in a home of its own."""
    made: list[Clockwork] = []

    def make(now: int = WEDNESDAY, *rules: str, **given: object) -> Clockwork:
        path = tmp_path / f"home{next(_numbers)}"
        write(path, *(rules or RULES), **given)
        made.append(Clockwork(path, now))
        return made[-1]

    yield make
    for daemon in made:
        daemon.close()


# Any interleaving yields the history of the uninterrupted run.

Entry = tuple[int, str, dict[str, object]]
"""Minutes after the start, what, and its fields."""

ENTRIES = st.lists(
    st.tuples(
        st.integers(1, 12 * 24 * 60),
        st.sampled_from(
            [
                ("charged", {"item": "A"}),
                ("charged", {"item": "B"}),
                ("charged", {"item": "A", "percent": 92}),
                ("drained", {"item": "A", "percent": 58}),
                ("drained", {"item": "B", "percent": 58}),
                ("flown", {"aircraft": "heron", "packs": ["A"], "minutes": 10}),
                ("seen", {"item": "A", "rule": "sat"}),
                ("snoozed", {"item": "B", "rule": "alarm"}),
                ("retired", {"item": "B"}),
                ("struck", {"event": "e0"}),
            ]
        ),
    ),
    min_size=1,
    max_size=7,
    unique_by=(lambda entry: entry[0], lambda entry: entry[1][0] == "struck" or entry[0]),
).filter(lambda entries: entries[0][1][0] != "struck" and min(entries)[0] == entries[0][0])
NUISANCES = st.lists(
    st.tuples(st.integers(1, 12 * 24 * 60), st.sampled_from(["restart", "reload", "wake", "wobble", "comment"])),
    max_size=8,
)


def nuisance(daemon: Clockwork, kind: str) -> None:
    """Something that may not change what a person gets."""
    if kind == "restart":
        daemon.restart()
        daemon.wake()
    elif kind == "reload":
        daemon.reload()
    elif kind == "comment":
        rules = daemon.path / "rules" / "own.yaml"
        rules.write_text(rules.read_text() + "# looked over\n")
        daemon.reload()
    elif kind == "wobble":  # the clock stands back for a moment, and is set right
        daemon.step(-50 * MINUTE)
        daemon.step(50 * MINUTE)
    else:
        daemon.wake()


def lived(daemon: Clockwork, entries: list[Entry], nuisances: list[tuple[int, str]]) -> list[tuple[object, ...]]:
    """What a person got of a fortnight with these entries and nuisances, references apart."""
    steps: list[tuple[int, int, object]] = [
        (at, 1, (what, fields | {"id": f"e{number}"})) for number, (at, what, fields) in enumerate(entries)
    ]
    steps += [(at, 0, kind) for at, kind in nuisances]
    for minutes, _, step in sorted(steps, key=lambda step: step[:2]):
        daemon.run(WEDNESDAY + minutes * MINUTE + 30 * SECOND)
        if isinstance(step, str):
            nuisance(daemon, step)
        else:
            what, fields = step  # type: ignore[misc]
            daemon.log(what, **fields)
    daemon.run(WEDNESDAY + 14 * DAY)
    return [letter[:5] for letter in daemon.letters] + list(daemon.told())


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(entries=ENTRIES, nuisances=NUISANCES)
def test_restarts_reloads_and_wakes_without_reason_change_nothing_that_a_person_gets(
    homes: Callable[..., Clockwork], entries: list[tuple[int, tuple[str, dict[str, object]]]], nuisances: list
) -> None:
    plain: list[Entry] = [(at, what, fields) for at, (what, fields) in entries]

    assert lived(homes(channels=LOUD), plain, nuisances) == lived(homes(channels=LOUD), plain, [])


# Steps of the clock: nothing lost, nothing twice, no busy loop, no flood.


def state_of_mind(daemon: Clockwork) -> tuple[set[tuple[str, str]], Counter[tuple[str, str]]]:
    """What is open, and how often each reminder was first told."""
    opened = {(r.key.rule, r.key.item) for r in daemon.board().open_at(daemon.now)}
    return opened, Counter(daemon.firsts())


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    steps=st.lists(
        st.tuples(
            st.integers(1, 3 * 24 * 60),
            st.sampled_from([SECOND, MINUTE, 3 * HOUR, 25 * HOUR, 40 * DAY, 3 * 365 * DAY, 30 * 365 * DAY]),
            st.sampled_from([-1, 1]),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_whatever_the_clock_does_all_that_is_open_in_the_end_was_told_and_each_once(
    homes: Callable[..., Clockwork], steps: list[tuple[int, int, int]]
) -> None:
    daemon = homes()
    daemon.log("charged", item="A")
    for minutes, by, sign in steps:
        daemon.run(daemon.now + minutes * MINUTE, most=200)
        daemon.step(sign * by)
    daemon.run(max(daemon.now, WEDNESDAY) + 4 * DAY, most=200)

    opened, firsts = state_of_mind(daemon)
    assert opened <= set(firsts), "open, and nobody was told"
    assert {count for count in firsts.values()} <= {1}, "one reminder was rung as new more than once"
    assert len(daemon.letters) < 150


@pytest.mark.parametrize("by", [3 * HOUR, 25 * HOUR, 400 * DAY, 40 * 365 * DAY])
def test_a_clock_that_stood_ahead_and_is_put_right_leaves_no_silence(homes: Callable[..., Clockwork], by: int) -> None:
    """What was rung in the false future is not new again; its repeats go on from the true time."""
    daemon = homes(WEDNESDAY, FULL)
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + HOUR)
    daemon.step(by)
    daemon.run(daemon.now + MINUTE)
    daemon.step(-by)
    before = len(daemon.letters)
    daemon.run(WEDNESDAY + 20 * DAY)

    later = [letter for letter in daemon.letters[before:] if letter.kind == "again" and letter.channel == "phone"]
    assert daemon.firsts() == [("full", "A")]
    assert 2 <= len(later) <= 6


@pytest.mark.parametrize("by", [HOUR, 12 * HOUR, 90 * DAY, 5 * 365 * DAY, 56 * 365 * DAY])
def test_a_clock_behind_the_newest_entry_is_waited_for_and_then_all_goes_on(
    homes: Callable[..., Clockwork], by: int
) -> None:
    """A board without a battery for its clock starts in the past, and is put right when it finds the network."""
    daemon, peaceful = homes(), homes()
    for one in (daemon, peaceful):
        one.log("charged", item="A")
    before = list(daemon.letters)
    daemon.now -= by
    daemon.restart()
    woken = daemon.wake()
    assert woken.decision is None
    assert woken.behind is not None
    assert woken.next_wake == WEDNESDAY
    daemon.run(daemon.now + 10 * MINUTE)
    assert daemon.letters == before
    daemon.step(WEDNESDAY + HOUR - daemon.now)
    for one in (daemon, peaceful):
        one.run(WEDNESDAY + 10 * DAY)

    assert daemon.letters == peaceful.letters
    assert daemon.told() == peaceful.told()


def test_a_sleep_of_years_is_caught_up_with_one_message_a_channel(homes: Callable[..., Clockwork]) -> None:
    daemon = homes()
    for item in "AB":
        daemon.log("charged", item=item)
    daemon.sleep(WEDNESDAY + 20 * 365 * DAY)

    assert Counter(letter.channel for letter in daemon.letters) == {"phone": 1, "mail": 1}
    assert daemon.wakes == 3


def test_what_was_told_as_over_is_not_rung_by_a_clock_that_stands_back_for_a_moment(
    homes: Callable[..., Clockwork],
) -> None:
    """Self-discharge of 1 % a day ends it at 06:30, the digest of 07:00 says so, and at 07:00 it is 06:10 again."""
    monday = moment("2026-04-06 07:00")
    daemon = homes(monday - 10 * DAY - 30 * MINUTE, FULL, quiet={"from": "22:00", "to": "05:00"})
    fleet = (daemon.path / "fleet.yaml").read_text().replace("{id: A,", "{id: A, self_discharge: 30 %,")
    (daemon.path / "fleet.yaml").write_text(fleet)
    daemon.reload()
    daemon.log("charged", item="A")
    daemon.run(monday)
    assert daemon.told()[-1][:2] == (monday, "settled")
    before = len(daemon.letters)

    daemon.step(-50 * MINUTE)
    assert daemon.board().open_at(daemon.now)
    daemon.step(50 * MINUTE)

    assert daemon.letters[before:] == []


# Nights on which clocks change, and changed zones.

NIGHTS = [
    ("Europe/Lisbon", "2026-03-28 12:00"),
    ("Europe/Lisbon", "2026-10-24 12:00"),
    ("Australia/Sydney", "2026-04-04 02:00"),
    ("Australia/Sydney", "2026-10-03 02:00"),
]


@pytest.mark.parametrize(("zone", "start"), NIGHTS)
@pytest.mark.parametrize("digest", ["01:30", "02:30", "07:00"])
def test_over_a_night_on_which_the_clock_changes_nothing_is_lost_or_doubled(
    homes: Callable[..., Clockwork], zone: str, start: str, digest: str
) -> None:
    daemon = homes(moment(start), SLOW, FULL, zone=zone, digest=digest, quiet={"from": "23:00", "to": "01:15"})
    daemon.run(moment(start) + HOUR)
    daemon.log("charged", item="A")
    daemon.run(moment(start) + 3 * DAY)

    assert sorted(daemon.firsts()) == [("full", "A"), ("slow", "A")]
    digests = [letter.arrived for letter in daemon.letters if letter.kind == "digest" and letter.channel == "mail"]
    assert len(digests) == len(set(digests))
    assert len([letter for letter in daemon.letters if "Pack can wait" in letter.body.partition("Still")[0]]) == 1
    again = [letter.arrived for letter in daemon.letters if letter.kind == "again" and letter.channel == "phone"]
    assert again[:1] == [moment(start) + HOUR + DAY], "a day between messages is 24 hours"


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    changes=st.lists(
        st.tuples(
            st.integers(1, 2 * 24 * 60),
            st.sampled_from(["Europe/Lisbon", "Australia/Sydney", "Pacific/Kiritimati", "Pacific/Pago_Pago", "UTC"]),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_a_changed_zone_loses_nothing_and_doubles_nothing(
    homes: Callable[..., Clockwork], changes: list[tuple[int, str]]
) -> None:
    daemon = homes()
    daemon.log("charged", item="A")
    for minutes, zone in changes:
        daemon.run(daemon.now + minutes * MINUTE)
        write(daemon.path, *RULES, zone=zone)
        daemon.reload()
    daemon.run(daemon.now + 3 * DAY)

    assert Counter(daemon.firsts()) == {("sat", "A"): 1, ("slow", "A"): 1, ("alarm", "A"): 1}


# Outages of hours and days, by the same clock.


@pytest.mark.parametrize("hours", [1, 7, 30, 6 * 24])
def test_what_an_outage_held_back_arrives_once_with_its_original_time(
    homes: Callable[..., Clockwork], hours: int
) -> None:
    from scheduler.messages.post import body_as_sent

    daemon = homes(WEDNESDAY, SLOW.replace("this_week", "today"), channels={"mail": CHANNELS["mail"]})
    daemon.down = {"mail"}
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + hours * HOUR, most=200)
    (first, *_) = daemon.outbox.rows()
    daemon.down = set()
    daemon.run(WEDNESDAY + hours * HOUR + 3 * HOUR + 30 * MINUTE, most=200)

    arrived = [letter for letter in daemon.letters if letter.ref == first.ref]
    assert len(arrived) == 1, "within the longest distance between attempts"
    assert arrived[0].arrived > WEDNESDAY + hours * HOUR
    sent = body_as_sent(daemon.outbox.row(first.id), daemon.setup.hours.zone, arrived[0].arrived)
    assert "Decided Wed 1 Apr 09:00, delivered late." in sent
    assert len({letter.ref for letter in daemon.letters}) == len(daemon.letters)


def test_an_outage_of_one_channel_delays_no_other(homes: Callable[..., Clockwork]) -> None:
    daemon = homes()
    daemon.down = {"mail"}
    daemon.log("charged", item="A")
    daemon.run(WEDNESDAY + 3 * DAY, most=300)

    other = homes()
    other.log("charged", item="A")
    other.run(WEDNESDAY + 3 * DAY)

    def on_the_phone(lifetime: Clockwork) -> list[tuple[int, str]]:
        return [(letter.arrived, letter.title) for letter in lifetime.letters if letter.channel == "phone"]

    assert on_the_phone(daemon) == on_the_phone(other)


def test_half_a_year_left_alone_takes_few_wakes_and_no_more_memory(homes: Callable[..., Clockwork]) -> None:
    daemon = homes()
    for item in "AB":
        daemon.log("charged", item=item)
    daemon.run(WEDNESDAY + 3 * HOUR)
    for item in "AB":
        daemon.log("seen", item=item, rule="alarm")
    daemon.run(WEDNESDAY + 28 * DAY)
    wakes = daemon.wakes
    tracemalloc.start()
    daemon.run(daemon.now + 7 * DAY)
    before = _held(daemon)
    daemon.run(WEDNESDAY + 26 * 7 * DAY)
    after = _held(daemon)
    tracemalloc.stop()

    assert daemon.wakes - wakes < 22 * 6, "a weekly digest, and repeats ever further apart"
    assert after - before < 150_000, "bytes, where one board kept by each wake would be ten times as many"


def _held(daemon: Clockwork) -> int:
    daemon.letters.clear()  # kept by the test itself
    daemon.woken = None
    for remembered in (Hours.quiet_until, Hours.next_digest, at_local, parse_rfc3339):  # 4,096 entries each at the most
        remembered.cache_clear()
    gc.collect()
    return tracemalloc.get_traced_memory()[0]


def test_settings_with_a_heartbeat_and_further_channels_are_read(tmp_path: Path) -> None:
    write(tmp_path / "home", FULL, channels=LOUD, heartbeat={"url": "$OUTSIDE"})
    from scheduler.home.folder import Home

    found = Home(tmp_path / "home").setup()

    assert found.heartbeat == "$OUTSIDE"
    assert {channel.name: channel.after for channel in found.channels} == {"phone": 0, "mail": 0, "loud": HOUR}
    assert found.hours.escalate == (HOUR,)
