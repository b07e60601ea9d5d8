"""A real broker: mosquitto, as Debian ships it, over mqtt:// (MQTT 3.1.1, OASIS standard 2014)."""

import os
import queue
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from scheduler.base.instants import HOUR
from scheduler.daemon.once import deliver_once
from scheduler.daemon.wake import wake
from scheduler.messages.outbox import Outbox
from scheduler.messages.senders import SENT, TEMPORARY, send
from tests.messages.homes import FULL, charge, make_home
from tests.messages.servers import eventually, free_port
from tests.support import moment

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
LACKING = [name for name, found in {"mosquitto": MOSQUITTO, "paho-mqtt": find_spec("paho")}.items() if not found]
pytestmark = pytest.mark.skipif(
    bool(LACKING) and not os.environ.get("CI"), reason=f"not installed here: {', '.join(LACKING)}"
)
NOW = moment("2026-04-01 09:00")
TOPIC = "shelf/bell"


class Broker:
    """A broker that can be switched off, and what a subscriber gets of it."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.letters: queue.Queue[str] = queue.Queue()
        self._config = folder / "mosquitto.conf"
        self._config.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n")
        self._process: subprocess.Popen[bytes] | None = None
        self._subscriber: Any = None

    @property
    def address(self) -> str:
        """Its Apprise address, with quality of service 1: the broker has to confirm."""
        return f"mqtt://127.0.0.1:{self.port}/{TOPIC}?qos=1&session=no"

    def on(self) -> None:
        """Switch it on, and subscribe."""
        assert MOSQUITTO is not None, "CI has to have a broker: see .ci/run"
        self._process = subprocess.Popen([MOSQUITTO, "-c", str(self._config)], stderr=subprocess.DEVNULL)
        self._subscriber = subscribed(self.port, self.letters)

    def off(self) -> None:
        """Switch it off."""
        if self._subscriber is not None:
            self._subscriber.loop_stop()
            self._subscriber.disconnect()
            self._subscriber = None
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


def subscribed(port: int, letters: "queue.Queue[str]") -> Any:
    """A subscriber that is ready."""
    import paho.mqtt.client as mqtt

    client, ready = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2), queue.Queue[int]()
    client.on_message = lambda _client, _data, message: letters.put(message.payload.decode())
    client.on_subscribe = lambda *_: ready.put(1)

    def connected() -> bool:
        try:
            client.connect("127.0.0.1", port)
        except ConnectionRefusedError:
            return False
        return True

    eventually(connected)
    client.loop_start()
    client.subscribe(TOPIC, qos=1)
    ready.get(timeout=10)
    return client


@contextmanager
def _broker(folder: Path) -> Iterator[Broker]:
    found = Broker(folder)
    try:
        yield found
    finally:
        found.off()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A broker, switched off."""
    with _broker(tmp_path) as found:
        yield found


def test_a_message_arrives_whole_through_a_broker(broker: Broker) -> None:
    broker.on()

    outcome = send(broker.address, "Pack B: מלא 🔋", "Drain it.\n" + "wörd " * 1000)

    assert outcome.result == SENT
    arrived = broker.letters.get(timeout=10)
    assert "Pack B: מלא 🔋" in arrived
    assert arrived.count("wörd") == 1000


def test_hours_without_the_broker_lose_nothing_and_what_comes_late_says_when_it_was_decided(
    broker: Broker, tmp_path: Path
) -> None:
    home = make_home(tmp_path / "home", {"broker": {"url": broker.address}}, FULL)
    charge(home, "A", "2026-04-01 09:00")
    wake(home, home.setup(), NOW)
    for hours in (0, 1, 5):
        (row,) = deliver_once(home, home.setup(), NOW + hours * HOUR)
        assert (row.state, row.last_error) == ("waiting", "no connection: Connection refused")
        assert send(broker.address, "T", "B").result == TEMPORARY
    broker.on()

    (row,) = deliver_once(home, home.setup(), NOW + 9 * HOUR)

    assert (row.state, row.attempts) == ("sent", 4)
    arrived = broker.letters.get(timeout=10)
    assert "Pack is full: A at 100 %." in arrived
    assert f"Decided Wed 1 Apr 09:00, delivered late. Reference {row.ref}." in arrived
    assert broker.letters.empty()
    assert Outbox(home.log).channel_health()["broker"].failing_since is None
    home.log.close()
