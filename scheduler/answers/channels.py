"""Say how each channel is doing."""

from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.base.text import numbered
from scheduler.base.units import show_span
from scheduler.home.setup import Channel
from scheduler.messages.outbox import GIVE_UP_AFTER, ChannelHealth, Outbox


class ChannelState(NamedTuple):
    """A channel and the health of its messages; `health` is None before the first."""

    channel: Channel
    health: ChannelHealth | None

    @property
    def failing(self) -> bool:
        """True if its last attempt failed."""
        return self.health is not None and bool(self.health.failing_since)


def channel_states(at: Desk) -> list[ChannelState]:
    """Return how each channel of the settings is doing."""
    health = Outbox(at.home.log).channel_health()
    return [ChannelState(channel, health.get(channel.name)) for channel in at.setup.channels]


def to_json(at: Desk, state: ChannelState) -> dict[str, object]:
    """Return the state of a channel for programs."""
    channel, health = state

    def when(instant: int | None) -> str | None:
        return None if instant is None else at.stamp(instant)

    return {
        "channel": channel.name,
        "urgency": list(channel.urgency),
        "last_sent": when(health.last_sent) if health else None,
        "failing_since": when(health.failing_since) if health else None,
        "last_error": health.last_error if health else None,
        "last_failed": when(health.failed_at) if health else None,
        "waiting": health.waiting if health else 0,
        "waiting_until": when(health.waiting_until) if health else None,
        "given_up": health.given_up if health else 0,
        "last_given_up": when(health.gave_up_at) if health else None,
        "trial_failed": when(health.trial_failed_at) if health else None,
    }


def _given_up(at: Desk, channel: Channel, health: ChannelHealth) -> list[str]:
    """Say what was given up and is not tried again, and what to do."""
    parts = []
    if health.gave_up_at is not None:
        count = f"{numbered(health.given_up, 'message')} given up after {show_span(GIVE_UP_AFTER)}"
        parts.append(f"{count}, the last of {at.say(health.gave_up_at)} (`shelfbell due` shows what is open)")
    if health.trial_failed_at is not None and health.trial_failed_at > (health.last_sent or 0):
        trial = f"the trial of {at.say(health.trial_failed_at)} failed and is not tried again"
        parts.append(f"{trial} (`shelfbell ring {channel.name}` sends another)")
    return parts


NONE = "No channel is named in shelfbell.yaml: nothing can ring. `shelfbell due` is all there is."


def to_text(at: Desk, states: list[ChannelState]) -> str:
    """Return the states of all channels for people, a line each."""
    return "\n".join(_line(at, state) for state in states) or NONE


def _line(at: Desk, state: ChannelState) -> str:
    channel, health = state
    if health is None:
        return f"{channel.name}: nothing sent yet; `shelfbell ring {channel.name}` tries it"
    last = f"last success {at.say(health.last_sent)}" if health.last_sent else "nothing came through yet"
    until = health.waiting_until
    parts = [last, f"{health.waiting} waiting{f' until {at.say(until)}' if until and until > at.now else ''}"]
    parts += _given_up(at, channel, health)
    if health.failing_since:
        parts.append(f"failing since {at.say(health.failing_since)}: {health.last_error or 'no reason kept'}")
    elif health.failed_at:
        parts.append(f"last failure {at.say(health.failed_at)}, sent since: {health.last_error}")
    return f"{channel.name}: {', '.join(parts)}"
