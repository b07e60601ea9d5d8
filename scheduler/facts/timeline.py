"""A quantity as a function of time: constant, linear or unknown segments.

Time is whole microseconds; a slope is an exact ratio. So crossings are solved in whole numbers and never rounded the
wrong way: the result is the first microsecond at which the comparison is true.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator
from operator import ge, gt, le, lt
from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT, CalendarSpan
from scheduler.events.event import Event
from scheduler.facts.intervals import NO, UNKNOWN, YES, Intervals

Value = int | float | str | None
Slope = tuple[int, int] | None
"""Change of the value per microsecond, as numerator and denominator; None for a constant."""
Evidence = tuple | None
"""The events behind a value, newest first, as nested pairs (event, rest): adding one shares all the earlier ones."""

RISING: Slope = (1, 1)
FALLING: Slope = (-1, 1)
_ROUNDING = 2.0**-50
"""The relative error of a value computed in floating point, at most."""
NEVER = float("inf")
"""A duration longer than any: "no job booked"."""


class Segment(NamedTuple):
    """A value from `start` to the next segment, changing by `slope`; None is unknown.

    `evidence`: the events that say so.
    """

    start: int
    value: Value
    slope: Slope = None
    evidence: Evidence = None

    def at(self, instant: int) -> Value:
        """Return the value at an instant within the segment."""
        if self.slope is None or self.value is None:
            return self.value
        moved = self.slope[0] * (instant - self.start)
        if isinstance(self.value, int) and self.slope[1] == 1:
            return self.value + moved
        return self.value + moved / self.slope[1]  # type: ignore[operator]


def _in_order(segments: list[Segment]) -> list[Segment]:
    """Drop segments that lie beyond time, or that a later one replaces."""
    kept: list[Segment] = []
    for segment in segments:
        if segment.start >= MAX_INSTANT:
            continue
        while kept and kept[-1].start >= segment.start:
            kept.pop()
        kept.append(segment)
    return kept


class Timeline:
    """Segments that cover all time, in order, the first from MIN_INSTANT."""

    __slots__ = ("segments", "_starts", "_compared")

    def __init__(self, segments: list[Segment]) -> None:
        """Take segments in order of time; of two that start together the later wins.

        Before the first the value is unknown. A segment that would start at MAX_INSTANT or later is left out.
        """
        if not segments or segments[0].start > MIN_INSTANT:
            segments = [Segment(MIN_INSTANT, None), *segments]
        starts = [segment.start for segment in segments]
        if not all(map(lt, starts, [*starts[1:], MAX_INSTANT])):
            segments = _in_order(segments)
            starts = [segment.start for segment in segments]
        self.segments = segments
        self._starts = starts
        self._compared: dict[tuple[str, object, int], Intervals] = {}

    def __iter__(self) -> Iterator[tuple[Segment, int]]:
        """Yield each segment with its end."""
        return zip(self.segments, [*self._starts[1:], MAX_INSTANT], strict=True)

    def segment(self, instant: int) -> Segment:
        """Return the segment at an instant."""
        return self.segments[self._place(instant)]

    def at(self, instant: int) -> Value:
        """Return the value at an instant; None where unknown."""
        return self.segment(instant).at(instant)

    def next_segment(self, instant: int) -> int:
        """Return where the segment at an instant ends; MAX_INSTANT for the last."""
        place = bisect_right(self._starts, instant)
        return self._starts[place] if place < len(self._starts) else MAX_INSTANT

    def starts_in(self, start: int, end: int) -> list[int]:
        """Return where segments start within (start, end)."""
        return self._starts[bisect_right(self._starts, start) : bisect_left(self._starts, end)]

    def clipped(self, start: int, end: int) -> list[Segment]:
        """Return the segments within [start, end)."""
        place = self._place(start)
        first, later = self.segments[place], self.segments[place + 1 : bisect_left(self._starts, end)]
        return [first._replace(start=start, value=first.at(start)), *later] if start < end else []

    def compare(
        self,
        operator: str,
        limit: object,
        reach: Callable[[int, CalendarSpan], int] | None = None,
        starting_at: int = MIN_INSTANT,
    ) -> Intervals:
        """Return where `value OPERATOR limit` is true; unknown where the value is.

        Before `starting_at` the answer is the one at that instant. `reach(origin, span)` returns the instant a calendar
        span after an origin, for limits that are calendar spans.
        """
        asked = operator, limit, starting_at
        if asked not in self._compared:
            solved = self._compare(operator, limit, reach, self._place(starting_at))
            self._compared[asked] = solved.level_before(starting_at)
        return self._compared[asked]

    def _place(self, instant: int) -> int:
        """Return the index of the segment at an instant."""
        return bisect_right(self._starts, instant) - 1

    def _compare(
        self, operator: str, limit: object, reach: Callable[[int, CalendarSpan], int] | None, first: int
    ) -> Intervals:
        """Compare from the segment at index `first` on."""
        test, rising_from = _OPERATORS[operator], operator in ("at_least", "more_than")
        strict = operator in ("more_than", "less_than")
        bound, calendar = limit, isinstance(limit, CalendarSpan)
        starts: list[int] = []
        values: list[int] = []
        before = None
        for place, segment in enumerate(self.segments[first:], first):
            start, value, slope, _ = segment
            if calendar and value is not None:
                bound = _calendar_bound(segment, limit, reach)  # type: ignore[arg-type]
            here = UNKNOWN if value is None else YES if test(value, bound) else NO
            if here != before:
                starts.append(start)
                values.append(here)
                before = here
            if slope is None or value is None or value == NEVER:
                continue
            end = self._starts[place + 1] if place + 1 < len(self._starts) else MAX_INSTANT
            if _comes_near(segment, end, bound):
                rises = slope[0] > 0
                turn = _crossing(segment, bound, strict if rises == rising_from else not strict)
                there = YES if rises == rising_from else NO
                if turn is not None and start < turn < end and there != before:
                    starts.append(turn)
                    values.append(there)
                    before = there
        return Intervals(starts, values)

    def matches(self, words: tuple[str, ...], starting_at: int = MIN_INSTANT) -> Intervals:
        """Return where the value is one of some words; unknown where it is.

        Before `starting_at` the answer is the one at that instant.
        """
        segments = self.segments[self._place(starting_at) :]
        return Intervals.of(
            [(p.start, UNKNOWN if p.value is None else YES if p.value in words else NO) for p in segments]
        ).level_before(starting_at)


_OPERATORS: dict[str, Callable] = {"at_least": ge, "more_than": gt, "at_most": le, "less_than": lt}


def _calendar_bound(segment: Segment, span: CalendarSpan, reach: Callable[[int, CalendarSpan], int] | None) -> int:
    """Return the calendar span as a duration from where a rising age was 0."""
    if segment.slope != RISING or not isinstance(segment.value, int) or reach is None:
        raise TypeError("only an age can be compared with a calendar span")
    origin = segment.start - segment.value
    return reach(origin, span) - origin


def _comes_near(segment: Segment, end: int, limit: object) -> bool:
    """Return False if a sloped segment stays well away from the limit: a cheap test."""
    start, value, (rise, per), _ = segment  # type: ignore[misc]
    last = value + rise * (end - start) / per  # type: ignore[operator]
    low, high = (value, last) if value < last else (last, value)  # type: ignore[operator]
    slack = 1 + abs(last) * _ROUNDING
    return low - slack <= limit <= high + slack


def _crossing(segment: Segment, limit: object, strict: bool) -> int | None:
    """Return when a sloped segment first reaches (`strict`: passes) the limit.

    In its own direction. With value v, slope n/d and limit l, all exact ratios: (l - v) * d / n microseconds later,
    rounded up.
    """
    rise, per = segment.slope  # type: ignore[misc]
    if rise == 0:
        return None
    value_over, value_under = segment.value.as_integer_ratio()  # type: ignore[union-attr]
    limit_over, limit_under = limit.as_integer_ratio()  # type: ignore[attr-defined]
    over = (limit_over * value_under - value_over * limit_under) * per
    under = limit_under * value_under * rise
    if under < 0:
        over, under = -over, -under
    delay = over // under + 1 if strict else -(-over // under)
    return segment.start + delay


def evidence_of(events: Iterable[Event]) -> Evidence:
    """Return some events as evidence; give the oldest first."""
    evidence: Evidence = None
    for event in events:
        evidence = (event, evidence)
    return evidence


def events_of(evidence: Evidence) -> list[Event]:
    """Return the events of some evidence, oldest first."""
    events = []
    while evidence is not None:
        events.append(evidence[0])
        evidence = evidence[1]
    return events[::-1]
