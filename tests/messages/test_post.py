"""The post: channels do not wait for each other, a hung send is left behind, and no outcome is lost."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from scheduler.base.findings import Refused
from scheduler.base.instants import HOUR, MINUTE
from scheduler.daemon import once
from scheduler.daemon.once import deliver_once, ring
from scheduler.events.log import Transaction
from scheduler.home.folder import Home
from scheduler.home.lock import DAEMON, Lock
from scheduler.messages import post
from scheduler.messages.outbox import Message, Outbox, OutboxRow
from scheduler.messages.post import Post, body_as_sent
from scheduler.messages.senders import PERMANENT, SENT, TEMPORARY, Outcome
from tests.messages.homes import FULL, make_home
from tests.messages.servers import eventually, free_port, letterbox
from tests.support import moment

NOW = moment("2026-04-01 09:00")
URL: dict[str, object] = {"url": "json://127.0.0.1/"}


class Wire:
    """Stands in for the network: what each channel's address does to a message."""

    def __init__(self) -> None:
        self.sent: list[str] = []
        self.outcomes: dict[str, Outcome] = {}
        self.held: dict[str, threading.Event] = {}

    def send(self, address: str, title: str, _body: str) -> Outcome:
        """Hold the message while its address is held, then do what was set for it."""
        if address in self.held:
            self.held[address].wait(10)
        outcome = self.outcomes.get(address, Outcome(SENT))
        if outcome.result == SENT:
            self.sent.append(f"{title} to {address}")
        return outcome


@pytest.fixture
def wire(monkeypatch: pytest.MonkeyPatch) -> Iterator[Wire]:
    """The wire that the post sends by."""
    found = Wire()
    monkeypatch.setattr(post, "send", found.send)
    yield found
    for event in found.held.values():
        event.set()


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Home]:
    """A home with two channels, whose addresses are their names."""
    found = make_home(tmp_path / "home", {"mail": {"url": "mail"}, "phone": {"url": "phone"}}, FULL)
    yield found
    found.log.close()


def a_post(home: Home, limit: float = 10.0) -> Post:
    """A post that nobody waits for."""
    return Post(Outbox(home.log, jitter=lambda: 0.0), home.setup(), lambda: None, limit, environ={})


def queue(home: Home, channel: str, title: str, now: int = NOW) -> OutboxRow:
    """A message in the outbox."""
    outbox = Outbox(home.log)
    with outbox.writing() as transaction:
        row_id = outbox.add(transaction, Message(channel, "first", title, "B"), now)
    return outbox.row(row_id)


def settle(sender: Post, now: int = NOW) -> None:
    """Send all that is due, and record what came of it."""

    def idle() -> bool:
        sender.pump(now)
        return not sender.busy

    eventually(idle)


def states(home: Home) -> dict[str, str]:
    """The state of each message by its title."""
    return {row.title: row.state for row in Outbox(home.log).rows()}


def test_each_channel_sends_in_the_order_of_decision(home: Home, wire: Wire) -> None:
    for title in ("one", "two", "three"):
        queue(home, "mail", title)

    settle(a_post(home))

    assert wire.sent == ["one to mail", "two to mail", "three to mail"]
    assert set(states(home).values()) == {"sent"}


def test_a_channel_that_hangs_holds_up_no_other(home: Home, wire: Wire) -> None:
    wire.held["mail"] = threading.Event()
    queue(home, "mail", "stuck")
    queue(home, "phone", "free")
    sender = a_post(home)

    def arrived() -> bool:
        sender.pump(NOW)
        return states(home)["free"] == "sent"

    eventually(arrived)
    assert states(home)["stuck"] == "sending"


def test_a_send_that_hangs_is_taken_for_lost_and_counts_if_it_arrives_all_the_same(home: Home, wire: Wire) -> None:
    wire.held["mail"] = threading.Event()
    row = queue(home, "mail", "slow")
    sender = a_post(home, limit=0.0)
    sender.pump(NOW)
    sender.pump(NOW)
    assert not sender.busy
    assert Outbox(home.log).row(row.id).last_error == "no end within 0 s"
    assert Outbox(home.log).row(row.id).next_try_at == NOW + MINUTE

    wire.held["mail"].set()

    def counted() -> bool:
        sender.pump(NOW)
        return states(home)["slow"] == "sent"

    eventually(counted)
    settle(sender, NOW + HOUR)
    assert wire.sent == ["slow to mail"]


def test_a_hung_channel_does_not_gather_threads_without_end(home: Home, wire: Wire) -> None:
    wire.held["mail"] = threading.Event()
    row = queue(home, "mail", "stuck")
    sender = a_post(home, limit=0.0)
    now, before = NOW, threading.active_count()
    for _ in range(12):
        sender.pump(now)
        sender.pump(now, start=False)
        now = Outbox(home.log).row(row.id).next_try_at

    eventually(lambda: threading.active_count() - before == 5)


def test_a_failed_message_waits_while_the_next_ones_go(home: Home, wire: Wire) -> None:
    wire.outcomes["mail"] = Outcome(TEMPORARY, "no connection")
    row = queue(home, "mail", "one")
    settle(a_post(home))
    wire.outcomes.clear()

    settle(a_post(home), NOW + MINUTE)

    assert Outbox(home.log).row(row.id).attempts == 2
    assert wire.sent == ["one to mail"]


def test_an_outcome_is_not_lost_to_a_database_that_cannot_be_written(
    home: Home, wire: Wire, monkeypatch: pytest.MonkeyPatch
) -> None:
    queue(home, "mail", "one")
    sender = a_post(home)
    sender.pump(NOW)
    eventually(lambda: bool(wire.sent))

    def refusing(_: Transaction) -> Transaction:
        raise Refused.because("the database cannot be written: database is locked")

    with monkeypatch.context() as patch:
        patch.setattr(Transaction, "__enter__", refusing)

        def refused() -> bool:
            try:
                sender.pump(NOW, start=False)
            except Refused:
                return True
            return False

        eventually(refused)
        assert sender.busy
    settle(sender)

    assert states(home) == {"one": "sent"}
    assert wire.sent == ["one to mail"]


def test_a_channel_without_its_address_fails_with_the_name_that_is_missing(tmp_path: Path, wire: Wire) -> None:
    home = make_home(tmp_path / "home", {"mail": {"url": "$BELL"}}, FULL)
    row = queue(home, "mail", "one")

    settle(a_post(home))

    assert "BELL is neither" in str(Outbox(home.log).row(row.id).last_error)


def summaries(home: Home) -> list[tuple[str, str]]:
    """Channel and title of the messages that the bell sent about itself."""
    return [(row.channel, row.title) for row in Outbox(home.log).rows() if row.kind == "summary"]


def test_a_channel_that_needs_a_hand_is_reported_once_through_the_other(home: Home, wire: Wire) -> None:
    wire.outcomes["mail"] = Outcome(PERMANENT, "error=401")
    queue(home, "mail", "one")
    queue(home, "mail", "two")

    settle(a_post(home))
    settle(a_post(home), NOW + 4 * HOUR)

    assert summaries(home) == [("phone", "Channel mail does not work")]
    assert "Channel mail does not work to phone" in wire.sent


def test_a_channel_that_fails_for_hours_is_reported_and_again_after_it_had_worked(home: Home, wire: Wire) -> None:
    wire.outcomes["mail"] = Outcome(TEMPORARY, "no connection")
    queue(home, "mail", "one")
    for hours in (0, 5):
        settle(a_post(home), NOW + hours * HOUR)
    assert summaries(home) == []
    settle(a_post(home), NOW + 9 * HOUR)
    assert summaries(home) == [("phone", "Channel mail does not work")]
    wire.outcomes.clear()
    settle(a_post(home), NOW + 13 * HOUR)

    wire.outcomes["mail"] = Outcome(PERMANENT, "error=401")
    queue(home, "mail", "two", NOW + 14 * HOUR)
    settle(a_post(home), NOW + 14 * HOUR)

    assert len(summaries(home)) == 2


def test_the_only_channel_is_reported_once_there_is_another(tmp_path: Path, wire: Wire) -> None:
    home = make_home(tmp_path / "home", {"mail": {"url": "mail"}}, FULL)
    wire.outcomes["mail"] = Outcome(PERMANENT, "error=401")
    queue(home, "mail", "one")
    settle(a_post(home))
    assert summaries(home) == []

    channels = "{mail: {url: mail}, phone: {url: phone}}"
    (home.path / "shelfbell.yaml").write_text(f"zone: UTC\nchannels: {channels}\n")
    settle(a_post(home), NOW + 4 * HOUR)

    assert summaries(home) == [("phone", "Channel mail does not work")]


def test_a_late_message_says_when_it_was_decided(home: Home) -> None:
    row = queue(home, "mail", "one")
    zone = home.setup().hours.zone

    assert body_as_sent(row, zone, NOW + 10 * MINUTE) == f"B\n\nReference {row.ref}."
    assert body_as_sent(row, zone, NOW + 11 * MINUTE) == (
        f"B\n\nDecided Wed 1 Apr 09:00, delivered late. Reference {row.ref}."
    )


def test_once_sends_all_that_is_due_on_all_channels_and_ends(home: Home, wire: Wire) -> None:
    wire.outcomes["phone"] = Outcome(TEMPORARY, "no connection")
    for channel in ("mail", "phone"):
        queue(home, channel, f"for {channel}")

    rows = deliver_once(home, home.setup(), NOW)

    assert [(row.title, row.state) for row in rows] == [("for mail", "sent"), ("for phone", "waiting")]


def test_once_is_not_held_up_by_a_send_that_hangs(home: Home, wire: Wire) -> None:
    wire.held["mail"] = threading.Event()
    queue(home, "mail", "stuck")
    queue(home, "phone", "free")

    rows = deliver_once(home, home.setup(), NOW, limit=0.2)

    assert {row.title: row.state for row in rows} == {"stuck": "waiting", "free": "sent"}


def test_once_leaves_the_sending_to_the_process_that_holds_the_lock(
    home: Home, wire: Wire, monkeypatch: pytest.MonkeyPatch
) -> None:
    notified: list[Path] = []
    monkeypatch.setattr(once, "notify_daemon", notified.append)
    queue(home, "mail", "one")

    with Lock(home.path, DAEMON) as lock:
        assert lock.acquire()
        rows = deliver_once(home, home.setup(), NOW, limit=0.1)

    assert wire.sent == []
    assert [row.state for row in rows] == ["waiting"]
    assert set(notified) == {home.path}


def test_what_a_crash_left_under_way_is_sent_again_under_its_reference(home: Home, wire: Wire) -> None:
    row = queue(home, "mail", "one")
    Outbox(home.log).claim(row, NOW)

    (again,) = deliver_once(home, home.setup(), NOW) or [Outbox(home.log).row(row.id)]

    assert wire.sent == ["one to mail"]
    assert (again.ref, again.state) == (row.ref, "sent")


def test_a_trial_takes_the_way_of_any_message(tmp_path: Path) -> None:
    with letterbox() as box:
        home = make_home(tmp_path / "home", {"mail": {"url": box.plain}}, FULL)
        outcome = ring(home, home.setup().channels[0], NOW)

    assert outcome == Outcome(SENT)
    assert [letter["title"] for letter in box.letters] == ["Trial from shelfbell"]
    assert [(row.kind, row.state) for row in Outbox(home.log).rows()] == [("trial", "sent")]


def test_a_trial_sends_nothing_else(home: Home, wire: Wire) -> None:
    queue(home, "mail", "one")

    assert ring(home, home.setup().channels[0], NOW).result == SENT

    assert wire.sent == ["Trial from shelfbell to mail"]
    assert states(home)["one"] == "waiting"


def test_a_trial_that_fails_says_why_and_is_not_tried_again(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", {"mail": {"url": f"json://127.0.0.1:{free_port()}/"}}, FULL)

    outcome = ring(home, home.setup().channels[0], NOW)

    assert (outcome.result, outcome.reason) == (TEMPORARY, "no connection: Connection refused")
    assert [row.state for row in Outbox(home.log).rows()] == ["given_up"]


def test_a_home_that_cannot_be_written_is_refused_with_the_file(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="shelfbell.lock cannot be written: No such file or directory"):
        Lock(tmp_path / "nowhere", DAEMON).acquire()


def test_a_lock_names_its_holder_and_is_free_again_when_given_up(tmp_path: Path) -> None:
    with Lock(tmp_path, DAEMON) as first:
        assert first.acquire()
        other = Lock(tmp_path, "once")
        assert not other.acquire()
        assert other.holder()[0] == DAEMON
    assert other.acquire()
    other.release()
