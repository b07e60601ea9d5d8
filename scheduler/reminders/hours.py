"""The operator's hours: when messages may arrive."""

from datetime import time as clock
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import DAY, HOUR, next_local, parse_clock, parse_span, to_datetime

JOIN_DIGEST = 2 * HOUR
"""A held message joins the digest if that comes this soon after quiet hours, else it goes at their end."""


class Hours(NamedTuple):
    """The operator's zone, quiet hours and digest hours.

    Quiet hours may be None. The weekly digest's weekday: 0 is Monday. `escalate`: times (microseconds, ascending) after
    which what rang as `now` and is not seen goes to further channels.
    """

    zone: ZoneInfo
    quiet: tuple[clock, clock] | None
    digest: clock
    weekday: int = 0
    escalate: tuple[int, ...] = ()

    @classmethod
    def read(cls, settings: dict, zone: ZoneInfo) -> "Hours":
        """Return the hours that checked settings describe."""
        quiet = settings.get("quiet")
        span = (parse_clock(quiet["from"]), parse_clock(quiet["to"])) if quiet else None
        channels = (settings.get("channels") or {}).values()
        intervals = {parse_span(channel["after"]) for channel in channels if "after" in channel}
        steps = sorted(span for span in intervals if isinstance(span, int))
        return cls(zone, span, parse_clock(settings.get("digest", "07:00")), escalate=tuple(steps))

    @lru_cache(maxsize=4096)  # noqa: B019 - a home has one; the same few instants are asked for until they come
    def quiet_until(self, instant: int) -> int:
        """Return the end of the quiet hours around `instant`, else `instant`."""
        if self.quiet is None or self.quiet[0] == self.quiet[1]:
            return instant
        end = next_local(instant + 1, self.quiet[1], self.zone)
        begun = next_local(instant + 1, self.quiet[0], self.zone)
        return end if end < begun else instant

    @lru_cache(maxsize=4096)  # noqa: B019 - as above
    def next_digest(self, instant: int) -> int:
        """Return the first digest at or after `instant`."""
        return self.quiet_until(next_local(instant, self.digest, self.zone))

    def next_weekly(self, instant: int) -> int:
        """Return the first weekly digest at or after `instant`."""
        found = self.next_digest(instant)
        while to_datetime(found, self.zone).weekday() != self.weekday:
            found = self.next_digest(found + DAY // 24)
        return found

    def delivery(self, instant: int) -> int:
        """Return when to deliver a message that must not disturb.

        At once outside quiet hours; else with the first digest at or after their end, or at their end if that digest is
        more than two hours later.
        """
        end = self.quiet_until(instant)
        if end == instant:
            return instant
        digest = self.next_digest(end)
        return digest if digest - end <= JOIN_DIGEST else end
