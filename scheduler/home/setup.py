"""The set-up of a home: everything that its files say, once they have been checked."""

from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import parse_span
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.event_cache import Clocks
from scheduler.fleet.fleet import Fleet
from scheduler.reminders.hours import Hours
from scheduler.verdicts.rule import URGENCIES, Ruleset


class Channel(NamedTuple):
    """A way to reach the operator. `url`: an Apprise address, or $NAME of one. `urgency`: what it gets.

    `after`: it is a further channel, for what was rung as `now` so long ago (microseconds) and is not seen; else 0.
    """

    name: str
    url: str
    urgency: tuple[str, ...] = URGENCIES
    after: int = 0


class Setup(NamedTuple):
    """Everything that the home's files say, checked."""

    hours: Hours
    clocks: Clocks
    channels: list[Channel]
    fleet: Fleet
    rules: Ruleset
    fingerprint: str
    heartbeat: str = ""
    """The http address, or $NAME of one, that is pinged on each healthy hour; "" for none."""
    checked: dict[str, Any] = {}  # noqa: RUF012 - never changed
    """The checked data it was made of."""

    def data(self) -> dict[str, Any]:
        """What `make_setup` makes the same of again, as JSON can hold it."""
        return self.checked | {"fleet": self.fleet.sections}

    def ordinary(self, but: str = "") -> list[str]:
        """The channels for what the bell says of itself, by name, but for one: further ones only without others."""
        channels = [channel for channel in self.channels if channel.name != but]
        return [channel.name for channel in channels if not channel.after] or [channel.name for channel in channels]


def make_setup(raw: dict, fingerprint: str) -> Setup:
    """The set-up that checked data describes."""
    settings = raw["settings"]
    CATALOGUE.where = CATALOGUE.where or raw.get("facts", {})
    zone = ZoneInfo(settings["zone"])
    channels = [_channel(name, channel) for name, channel in (settings.get("channels") or {}).items()]
    return Setup(
        hours=Hours.read(settings, zone),
        clocks=Clocks(zone, settings.get("eve", "18:00")),
        channels=channels,
        fleet=raw["fleet"] if isinstance(raw["fleet"], Fleet) else Fleet(raw["fleet"]),
        rules=Ruleset(raw["rules"], raw["adjust"], CATALOGUE),
        fingerprint=fingerprint,
        heartbeat=(settings.get("heartbeat") or {}).get("url", ""),
        checked=raw,
    )


def _channel(name: str, given: dict) -> Channel:
    urgency = ("now",) if "after" in given else tuple(given.get("urgency", URGENCIES))
    return Channel(name, given["url"], urgency, parse_span(given["after"]) if "after" in given else 0)  # type: ignore[arg-type]
