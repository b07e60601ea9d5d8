"""`shelfbell channels`: how each channel does."""

from argparse import ArgumentParser, Namespace

from scheduler.cli.common import Desk, asking, desk, print_json
from scheduler.home import Channel, Home
from scheduler.messages.outbox import Health, Outbox


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print each channel with its last success, last error and waiting messages; exit 1 when one fails."""
    at = desk(home, args)
    health = Outbox(home.log).channel_health()
    if args.json:
        print_json([_json(at, channel, health.get(channel.name)) for channel in at.setup.channels])
    else:
        print("\n".join(_line(at, channel, health.get(channel.name)) for channel in at.setup.channels) or NONE)
    return 1 if any(health[c.name].failing_since for c in at.setup.channels if c.name in health) else 0


NONE = "No channel is named in shelfbell.yaml: nothing can ring. `shelfbell due` is all there is."


def _json(at: Desk, channel: Channel, health: Health | None) -> dict[str, object]:
    def when(instant: int | None) -> str | None:
        return None if instant is None else at.stamp(instant)

    return {
        "channel": channel.name,
        "urgency": list(channel.urgency),
        "last_sent": when(health.last_sent) if health else None,
        "failing_since": when(health.failing_since) if health else None,
        "last_error": health.last_error if health else None,
        "waiting": health.waiting if health else 0,
        "given_up": health.given_up if health else 0,
    }


def _line(at: Desk, channel: Channel, health: Health | None) -> str:
    if health is None:
        return f"{channel.name}: nothing was ever sent; `shelfbell ring {channel.name}` tries it"
    last = f"last success {at.say(health.last_sent)}" if health.last_sent else "nothing came through yet"
    parts = [last, f"{health.waiting} waiting"]
    if health.given_up:
        parts.append(f"{health.given_up} given up")
    if health.failing_since:
        parts.append(f"failing since {at.say(health.failing_since)}: {health.last_error}")
    elif health.last_error:
        parts.append(f"last error: {health.last_error}")
    return f"{channel.name}: {', '.join(parts)}"
