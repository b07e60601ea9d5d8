"""The set-up of a home: the content of its files, checked."""

from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import parse_span
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.event_cache import Clocks
from scheduler.fleet.fleet import Fleet
from scheduler.reminders.hours import Hours
from scheduler.verdicts.rule import URGENCIES, Ruleset


class Channel(NamedTuple):
    """A way to reach the operator.

    `url`: an Apprise address, or $NAME of one. `urgency`: the urgencies it gets. `after`: not 0 for a further channel,
    which gets only what rang as `now` that long ago (microseconds) and is not seen.
    """

    name: str
    url: str
    urgency: tuple[str, ...] = URGENCIES
    after: int = 0


class Setup(NamedTuple):
    """The content of the home's files, checked."""

    hours: Hours
    clocks: Clocks
    channels: list[Channel]
    fleet: Fleet
    rules: Ruleset
    fingerprint: str
    heartbeat: str = ""
    """The http address, or $NAME of one, to ping on each healthy hour; "" for none."""
    checked: dict[str, Any] = {}  # noqa: RUF012 - never changed
    """The data that `make_setup` was given."""

    def data(self) -> dict[str, Any]:
        """Return data, fit for JSON, from which `make_setup` makes this set-up again."""
        return {name: part for name, part in self.checked.items() if name != "cases"} | {"fleet": self.fleet.sections}

    def notice_channels(self, except_for: str = "") -> list[str]:
        """Return channels for notices about the bell; further ones only without others."""
        channels = [channel for channel in self.channels if channel.name != except_for]
        return [channel.name for channel in channels if not channel.after] or [channel.name for channel in channels]


def make_setup(raw: dict, fingerprint: str) -> Setup:
    """Return the set-up that checked data describes."""
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
