"""How each channel is doing."""

from scheduler.answers.desk import Desk
from scheduler.base.text import numbered
from scheduler.base.units import show_span
from scheduler.home.setup import Channel
from scheduler.messages.outbox import GIVE_UP_AFTER, ChannelHealth


def channel_json(at: Desk, channel: Channel, health: ChannelHealth | None) -> dict[str, object]:
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
    """What did not go out and is not tried again, with what to do."""
    parts = []
    if health.gave_up_at is not None:
        count = f"{numbered(health.given_up, 'message')} given up after {show_span(GIVE_UP_AFTER)}"
        parts.append(f"{count}, the last of {at.say(health.gave_up_at)} (`shelfbell due` shows what is open)")
    if health.trial_failed_at is not None and health.trial_failed_at > (health.last_sent or 0):
        trial = f"the trial of {at.say(health.trial_failed_at)} failed and is tried no more"
        parts.append(f"{trial} (`shelfbell ring {channel.name}` sends another)")
    return parts


def channel_line(at: Desk, channel: Channel, health: ChannelHealth | None) -> str:
    if health is None:
        return f"{channel.name}: nothing was ever sent; `shelfbell ring {channel.name}` tries it"
    last = f"last success {at.say(health.last_sent)}" if health.last_sent else "nothing came through yet"
    until = health.waiting_until
    parts = [last, f"{health.waiting} waiting{f' until {at.say(until)}' if until and until > at.now else ''}"]
    parts += _given_up(at, channel, health)
    if health.failing_since:
        parts.append(f"failing since {at.say(health.failing_since)}: {health.last_error or 'no reason kept'}")
    elif health.failed_at:
        parts.append(f"last failure {at.say(health.failed_at)}, sent since: {health.last_error}")
    return f"{channel.name}: {', '.join(parts)}"
