"""Which part of a decision goes to which channel."""

from scheduler.home.setup import Channel
from scheduler.reminders.announcements import DISTURBING, Announcement
from scheduler.reminders.decide import Decision


def part_for(decision: Decision, channel: Channel) -> Decision | None:
    """Return what of a decision a channel takes: a digest whole if it takes what only digests bring, else its words."""
    words = [word for word in decision.announcements if takes(channel, word, decision.at)]
    if not decision.digest or set(channel.urgency) <= set(DISTURBING):
        return _bare(decision, words) if words else None
    still = [reminder for reminder in decision.still_open if reminder.verdict.urgency(decision.at) in channel.urgency]
    taken = decision._replace(announcements=words, still_open=still)
    empty = not (words or still or decision.ended or decision.unknown)
    return None if empty and (decision.announcements or decision.still_open) else taken


def takes(channel: Channel, word: Announcement, now: int) -> bool:
    """Return True if a channel gets a word: a further one gets what was rung as `now` so long ago and is not seen."""
    if not channel.after:
        return word.kind != "escalated" and word.urgency in channel.urgency
    return word.urgency == "now" and word.unseen_since is not None and now - word.unseen_since >= channel.after


def _bare(decision: Decision, words: list[Announcement]) -> Decision:
    return decision._replace(announcements=words, digest=False, still_open=[], ended=[], unknown=[])
