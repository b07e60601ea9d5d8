"""The heartbeat: asked for once an hour, never waited for, its failure said once and without its address."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Event, Thread

import pytest
from freezegun import freeze_time

from scheduler.daemon import loop as running
from scheduler.daemon.heartbeat import EVERY, Heartbeat, fault_of
from scheduler.home.folder import Home
from tests.messages.homes import ALARM, make_home
from tests.messages.servers import eventually, free_port


class Outside(ThreadingHTTPServer):
    """Counts who asks; `status`: what it answers; it answers when `free`."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Outside)
        self.asked: list[str] = []
        self.status = 200
        self.free = Event()
        self.free.set()

    @property
    def url(self) -> str:
        """Its address, with a secret path."""
        return f"http://127.0.0.1:{self.server_port}/ping/t0ken4711"


class _Outside(BaseHTTPRequestHandler):
    server: Outside

    def do_GET(self) -> None:
        self.server.free.wait(10)
        self.server.asked.append(self.path)
        self.send_response(self.server.status)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@contextmanager
def listening() -> Iterator[Outside]:
    """Somebody outside who listens."""
    with Outside() as server:
        Thread(target=server.serve_forever, args=[0.01], daemon=True).start()
        yield server
        server.free.set()
        server.shutdown()


def test_it_is_due_once_an_hour() -> None:
    with listening() as outside, freeze_time(tick=True) as clock:
        beat = Heartbeat(lambda _: None, {})
        assert beat.due()
        beat.ping(outside.url)
        assert not beat.due()
        eventually(lambda: outside.asked == ["/ping/t0ken4711"])
        clock.tick(EVERY)
        eventually(beat.due)


def test_it_is_never_waited_for_and_one_that_hangs_is_not_joined_by_another() -> None:
    with listening() as outside, freeze_time(tick=True) as clock:
        outside.free.clear()
        beat = Heartbeat(lambda _: None, {})
        start = time.monotonic()
        beat.ping(outside.url)
        assert time.monotonic() - start < 0.5
        clock.tick(2 * EVERY)
        assert not beat.due()


def test_a_failure_is_said_once_and_that_it_is_over_too() -> None:
    said: list[str] = []
    with listening() as outside:
        beat = Heartbeat(said.append, {"OUTSIDE": outside.url})
        for status in (500, 503, 200, 200, 404):
            outside.status = status
            beat.ping("$OUTSIDE")
            assert beat._thread is not None
            beat._thread.join()

    assert said == [
        "heartbeat: HTTPError: HTTP Error 500: Internal Server Error",
        "heartbeat: well again",
        "heartbeat: HTTPError: HTTP Error 404: Not Found",
    ]


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("http://127.0.0.1:{port}/t0ken4711", "Connection refused"),
        ("$NOWHERE", "NOWHERE is neither in the environment nor a credential"),
        ("http://t0ken4711:bad port/", "InvalidURL"),
        ("file:///etc/t0ken4711", "its address is not one of http or https"),
        ("http://[t0ken4711", "ValueError"),
    ],
)
def test_why_it_failed_is_told_without_the_address(url: str, said: str) -> None:
    fault = fault_of(url.format(port=free_port()), {})

    assert said in fault
    assert "t0ken4711" not in fault


class Idle:
    """A daemon whose beat alone is asked for."""

    def __init__(self, path: Path, url: str) -> None:
        self.home = make_home(path, {"mail": {"url": "json://127.0.0.1/"}}, ALARM)
        text = (path / "shelfbell.yaml").read_text()
        (path / "shelfbell.yaml").write_text(f'{text[:-1]}, "heartbeat": {{"url": "{url}"}}}}')
        self.daemon = running.Daemon(Home(path), Home(path).setup())
        self.pings: list[str] = []
        self.daemon._heartbeat.ping = self.pings.append  # type: ignore[method-assign]

    def close(self) -> None:
        """Let go of everything."""
        self.daemon._wakeups.close()
        self.daemon._home.log.close()
        self.home.log.close()


@pytest.fixture
def idle(tmp_path: Path) -> Iterator[Idle]:
    """A daemon with a heartbeat."""
    found = Idle(tmp_path / "home", "http://127.0.0.1:1/")
    yield found
    found.close()


def test_a_healthy_daemon_pings(idle: Idle) -> None:
    idle.daemon._on_beat()
    assert idle.pings == ["http://127.0.0.1:1/"]


@pytest.mark.parametrize("fault", ["wake", "send", "plan"])
def test_a_daemon_in_trouble_does_not(idle: Idle, fault: str) -> None:
    idle.daemon._reported[fault] = "the database cannot be used"
    idle.daemon._on_beat()
    assert idle.pings == []


def test_a_daemon_that_does_not_trust_its_clock_does_not(idle: Idle) -> None:
    idle.daemon._trusted = False
    idle.daemon._on_beat()
    assert idle.pings == []


def test_a_daemon_none_of_whose_channels_works_does_not(idle: Idle) -> None:
    from scheduler.messages.outbox import Message

    outbox = idle.daemon._outbox
    with outbox.writing() as transaction:
        row = outbox.row(outbox.add(transaction, Message("mail", "first", "T", "B"), running.now()))
    claimed = outbox.claim(row, running.now())
    assert claimed is not None
    outbox.failed(claimed, running.now(), "no connection")

    idle.daemon._on_beat()

    assert idle.pings == []
