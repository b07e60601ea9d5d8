"""The outbox: nothing is lost, nothing goes twice, and what fails is tried again at a growing distance."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.instants import DAY, HOUR, MINUTE, SECOND
from scheduler.events.log import Log
from scheduler.messages.notices import Notice, end_notice, end_notices_but, queue_notice
from scheduler.messages.outbox import GIVE_UP_AFTER, TRIAL, Message, Outbox, OutboxRow, reference
from scheduler.reminders.decide import Decision
from tests.support import moment

NOW = moment("2026-04-01 09:00")
DIGEST = Decision(at=NOW, announcements=[], coming=[], digest=True, still_open=[], ended=[], unknown=[])


@pytest.fixture
def outbox(tmp_path: Path) -> Iterator[Outbox]:
    """An outbox whose retries are not spread."""
    log = Log(tmp_path / "shelfbell.db")
    yield Outbox(log, jitter=lambda: 0.0)
    log.close()


def queued(outbox: Outbox, channel: str = "mail", kind: str = "first", now: int = NOW, title: str = "T") -> OutboxRow:
    """A message in the outbox."""
    with outbox.writing() as transaction:
        row_id = outbox.add(transaction, Message(channel, kind, title, "B"), now)
    return outbox.row(row_id)


def claimed(outbox: Outbox, row: OutboxRow, now: int = NOW) -> OutboxRow:
    """The row, under way."""
    found = outbox.claim(outbox.row(row.id), now)
    assert found is not None
    return found


def test_an_empty_home_has_an_empty_outbox_and_is_not_written_to(tmp_path: Path) -> None:
    outbox = Outbox(Log(tmp_path / "shelfbell.db"))

    assert outbox.rows() == []
    assert outbox.due("mail", NOW) == []
    assert outbox.next_try(NOW, ["mail"]) is None
    assert outbox.channel_health() == {}
    assert outbox.ledger().began is None
    assert list(tmp_path.iterdir()) == []


def test_no_table_of_the_outbox_is_taken_for_the_events(outbox: Outbox) -> None:
    queued(outbox)
    names = [name for (name,) in outbox.log.connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]

    assert [name for name in names if "event" in name] == ["events"]


def test_a_message_that_was_sent_is_not_due_again(outbox: Outbox) -> None:
    row = queued(outbox)

    outbox.sent(claimed(outbox, row), NOW + SECOND)

    assert outbox.due("mail", NOW + DAY) == []
    assert (outbox.row(row.id).state, outbox.row(row.id).sent_at) == ("sent", NOW + SECOND)


def test_only_one_of_two_claims_is_granted(outbox: Outbox) -> None:
    row = queued(outbox)

    assert outbox.claim(row, NOW) is not None
    assert outbox.claim(row, NOW) is None


def test_what_was_under_way_at_a_crash_is_due_again_under_the_same_reference(outbox: Outbox) -> None:
    row = queued(outbox)
    claimed(outbox, row)
    assert outbox.due("mail", NOW + DAY) == []

    outbox.release(NOW + MINUTE)

    assert [again.ref for again in outbox.due("mail", NOW + MINUTE)] == [row.ref]


def test_retries_fall_at_growing_distances(outbox: Outbox) -> None:
    """Common practice, no source: 1, 2, 5, 15 and 60 minutes, then every three hours."""
    row, now, waits = queued(outbox), NOW, []
    for _ in range(8):
        outbox.failed(claimed(outbox, row, now), now, "no connection")
        waits.append(outbox.row(row.id).next_try_at - now)
        now = outbox.row(row.id).next_try_at

    assert waits == [MINUTE, 2 * MINUTE, 5 * MINUTE, 15 * MINUTE, HOUR, 3 * HOUR, 3 * HOUR, 3 * HOUR]


def test_retries_are_spread_by_a_tenth_at_most(tmp_path: Path) -> None:
    outbox = Outbox(Log(tmp_path / "shelfbell.db"), jitter=lambda: 0.999)
    row = queued(outbox)

    outbox.failed(claimed(outbox, row), NOW, "no connection")

    assert MINUTE < outbox.row(row.id).next_try_at - NOW < 1.1 * MINUTE


def test_a_channel_that_needs_a_hand_is_tried_at_the_longest_distance_and_as_soon_as_something_changed(
    outbox: Outbox,
) -> None:
    row = queued(outbox)
    outbox.failed(claimed(outbox, row), NOW, "error=401", permanent=True)
    assert outbox.next_try(NOW, ["mail"]) == NOW + 3 * HOUR

    outbox.retry(NOW + MINUTE)

    assert [again.id for again in outbox.due("mail", NOW + MINUTE)] == [row.id]


def test_a_message_is_kept_for_seven_days_and_then_given_up(outbox: Outbox) -> None:
    row = queued(outbox)

    outbox.failed(claimed(outbox, row), NOW + GIVE_UP_AFTER, "no connection")
    assert outbox.row(row.id).state == "waiting"
    outbox.failed(claimed(outbox, row), NOW + GIVE_UP_AFTER + 1, "no connection")

    assert outbox.row(row.id).state == "given_up"
    health = outbox.channel_health()["mail"]
    assert (health.given_up, health.gave_up_at, health.trial_failed_at) == (1, row.decided_at, None)


def test_a_trial_goes_first_and_is_tried_once(outbox: Outbox) -> None:
    queued(outbox)
    trial = queued(outbox, kind=TRIAL)
    assert [row.kind for row in outbox.due("mail", NOW)] == [TRIAL, "first"]

    outbox.failed(claimed(outbox, trial), NOW, "no connection")

    assert outbox.row(trial.id).state == "given_up"


def test_a_success_that_comes_after_its_attempt_was_taken_for_lost_counts(outbox: Outbox) -> None:
    row = claimed(outbox, queued(outbox))
    outbox.failed(row, NOW, "no end within 45 s")

    outbox.sent(row, NOW + SECOND)

    assert outbox.row(row.id).state == "sent"
    assert outbox.channel_health()["mail"].failing_since is None


def test_a_late_failure_does_not_undo_a_later_attempt(outbox: Outbox) -> None:
    first = claimed(outbox, queued(outbox))
    outbox.failed(first, NOW, "no end within 45 s")
    second = claimed(outbox, first, NOW + MINUTE)

    outbox.failed(first, NOW + MINUTE, "late")
    assert outbox.row(first.id).state == "sending"
    outbox.sent(second, NOW + MINUTE)

    assert (outbox.row(first.id).state, outbox.row(first.id).attempts) == ("sent", 2)


def test_a_retry_set_before_the_clock_was_put_back_is_due(outbox: Outbox) -> None:
    row = queued(outbox)
    outbox.failed(claimed(outbox, row), NOW, "no connection")
    back = moment("1970-01-01")

    assert [again.id for again in outbox.due("mail", back)] == [row.id]
    assert outbox.next_try(back, ["mail"]) is None


def test_the_next_try_is_that_of_the_channels_asked_for(outbox: Outbox) -> None:
    for channel, at in (("mail", NOW), ("phone", NOW + MINUTE)):
        outbox.failed(claimed(outbox, queued(outbox, channel), at), at, "no connection")

    assert outbox.next_try(NOW, ["phone", "mail"]) == NOW + MINUTE
    assert outbox.next_try(NOW, ["phone"]) == NOW + 2 * MINUTE
    assert outbox.next_try(NOW + MINUTE, ["mail"]) is None, "what is due already is not a next try"


def test_channel_health_tells_successes_failures_and_what_waits(outbox: Outbox) -> None:
    outbox.sent(claimed(outbox, queued(outbox)), NOW)
    row = queued(outbox)
    outbox.failed(claimed(outbox, row), NOW + MINUTE, "first reason")
    outbox.failed(claimed(outbox, row), NOW + HOUR, "no connection")

    health = outbox.channel_health()["mail"]

    assert (health.last_sent, health.waiting, health.given_up) == (NOW, 1, 0)
    assert (health.failing_since, health.last_error) == (NOW + MINUTE, "no connection")


def test_a_decision_and_its_messages_are_written_together_or_not_at_all(outbox: Outbox) -> None:
    with pytest.raises(RuntimeError), outbox.writing() as transaction:
        outbox.queue(transaction, DIGEST, [Message("mail", "digest", "T", "B")])
        raise RuntimeError

    assert outbox.rows() == []
    assert outbox.ledger().digest_at is None


def test_the_ledger_remembers_the_last_digest(outbox: Outbox) -> None:
    with outbox.writing() as transaction:
        outbox.queue(transaction, DIGEST, [])

    assert outbox.ledger().digest_at == NOW


def test_the_reference_is_short_and_differs_between_messages() -> None:
    references = {reference(NOW + n * SECOND, "first", "T") for n in range(1000)}

    assert len(references) == 1000
    assert all(len(ref) == 5 for ref in references)


@settings(max_examples=30, deadline=None)
@given(steps=st.lists(st.sampled_from(["claim", "sent", "failed", "crash"]), max_size=25))
def test_whatever_happens_a_row_is_sent_once_or_still_waits(
    tmp_path_factory: pytest.TempPathFactory, steps: list[str]
) -> None:
    outbox = Outbox(Log(tmp_path_factory.mktemp("home") / "shelfbell.db"), jitter=lambda: 0.0)
    row, under_way, now, arrived = queued(outbox), None, NOW, 0
    for step in steps:
        now += 4 * HOUR // 100
        if step == "claim":
            under_way = outbox.claim(outbox.row(row.id), now) or under_way
        elif step == "crash":
            under_way = None
            outbox.release(now)
        elif under_way is not None and step in ("sent", "failed"):
            arrived += step == "sent"
            (outbox.sent if step == "sent" else outbox.failed)(under_way, now, *(() if step == "sent" else ("no",)))
            under_way = None
    outbox.release(now)

    found = outbox.row(row.id)
    outbox.log.close()
    assert found.state == ("sent" if arrived else "waiting")
    assert arrived <= 1


def test_a_notice_is_told_once_until_it_is_over(outbox: Outbox) -> None:
    notice = Notice("files", "line 3", "Refused", "why")

    def told(what: Notice) -> bool:
        with outbox.writing() as transaction:
            return queue_notice(outbox, transaction, what, ["mail", "phone"], NOW)

    assert [told(notice), told(notice), told(notice._replace(mark="line 4"))] == [True, False, True]
    with outbox.writing() as transaction:
        end_notice(transaction, "files")
    assert told(notice)
    assert [row.channel for row in outbox.rows()] == ["mail", "phone"] * 3


def test_notices_of_a_group_are_over_but_for_those_that_still_stand(outbox: Outbox) -> None:
    def told(name: str) -> bool:
        with outbox.writing() as transaction:
            return queue_notice(outbox, transaction, Notice(name, "x", "T", "B"), [], NOW)

    assert [told("rule/a"), told("rule/b"), told("files")] == [True, True, True]
    with outbox.writing() as transaction:
        end_notices_but(transaction, "rule/", ["rule/a"])

    assert [told("rule/a"), told("rule/b"), told("files")] == [False, True, False]
