"""Which part of a decision goes to which channel."""

from scheduler.home.setup import Channel
from scheduler.reminders.announcements import DISTURBING, Announcement
from scheduler.reminders.decide import Decision


def part_for(decision: Decision, channel: Channel) -> Decision | None:
    """Return a channel's part of a decision.

    A digest whole if the channel takes digest urgencies, else what rings.
    """
    taken = [each for each in decision.announcements if takes(channel, each, decision.at)]
    if not decision.digest or set(channel.urgency) <= set(DISTURBING):
        return _bare(decision, taken) if taken else None
    still = [reminder for reminder in decision.still_open if reminder.verdict.urgency(decision.at) in channel.urgency]
    part = decision._replace(announcements=taken, still_open=still)
    empty = not (taken or still or decision.ended or decision.unknown)
    return None if empty and (decision.announcements or decision.still_open) else part


def takes(channel: Channel, announcement: Announcement, now: int) -> bool:
    """Return True if a channel gets an announcement.

    A channel with `after` gets what rang as `now` that long ago and is unseen.
    """
    if not channel.after:
        return announcement.kind != "escalated" and announcement.urgency in channel.urgency
    return (
        announcement.urgency == "now"
        and announcement.unseen_since is not None
        and now - announcement.unseen_since >= channel.after
    )


def _bare(decision: Decision, announcements: list[Announcement]) -> Decision:
    return decision._replace(announcements=announcements, digest=False, still_open=[], ended=[], unknown=[])
