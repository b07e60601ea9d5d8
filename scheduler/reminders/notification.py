"""What was told of a reminder."""

from typing import NamedTuple

from scheduler.verdicts.verdict import Key


class Notification(NamedTuple):
    """One telling of one reminder.

    `first_at`: when its first message was decided, which tells the stretch it belongs to. `kind`: first, again,
    rise, escalated or settled. `reason`: how it ended, where it is settled.
    """

    key: Key
    first_at: int
    at: int
    kind: str
    urgency: str
    reason: str = ""
