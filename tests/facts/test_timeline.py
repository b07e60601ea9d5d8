"""Quantities as functions of time: values, crossings solved exactly, calendar limits."""

import operator
from collections.abc import Callable
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from scheduler.base.instants import DAY, HOUR, MAX_INSTANT, MIN_INSTANT, CalendarSpan, add_span
from scheduler.facts.intervals import NO, UNKNOWN, YES, Intervals
from scheduler.facts.shapes import flags
from scheduler.facts.timeline import FALLING, NEVER, RISING, Segment, Timeline, events_of
from tests.support import moment

COMPARE: dict[str, Callable[[Fraction, Fraction], bool]] = {
    "at_least": operator.ge, "more_than": operator.gt, "at_most": operator.le, "less_than": operator.lt,
}  # fmt: skip


def numbers() -> st.SearchStrategy[int | float]:
    """Values as facts have them: whole, or any double."""
    return st.one_of(st.integers(-200, 200), st.floats(-200, 200, allow_subnormal=False))


@st.composite
def lines(draw: st.DrawFn) -> list[Segment]:
    """A few segments one after the other, sloped, constant or unknown."""
    starts = sorted(draw(st.sets(st.integers(-1000, 1000), min_size=1, max_size=4)))
    slope = st.one_of(st.none(), st.tuples(st.integers(-300, 300), st.integers(1, 400)))
    return [Segment(start, draw(st.one_of(st.none(), numbers())), draw(slope)) for start in starts]


def exact(segment: Segment, instant: int) -> Fraction:
    """The value of a segment in exact arithmetic."""
    rise, per = segment.slope or (0, 1)
    return Fraction(segment.value) + Fraction(rise, per) * (instant - segment.start)


@given(lines(), numbers(), st.sampled_from(list(COMPARE)))
@example([Segment(0, 0, (1, 3))], 1, "at_least")
@example([Segment(0, 0, (1, 3))], 1, "more_than")
@example([Segment(0, 100.0, (-1, 7))], 85, "at_most")
@example([Segment(0, 0.1, (1, 10))], 0.3, "more_than")
def test_a_comparison_turns_at_the_first_microsecond_at_which_the_exact_solution_does(
    segments: list[Segment], limit: int | float, how: str
) -> None:
    """On one segment a comparison turns at most once, so right at its ends and at every turn is right throughout."""
    timeline = Timeline(segments)
    found = timeline.compare(how, limit)

    turns = {turn + step for turn in [*found.starts[1:], *(p.start for p in segments)] for step in (-1, 0, 1)}
    for instant in [*turns, 10**12]:
        segment = timeline.segment(instant)
        truth = (
            UNKNOWN if segment.value is None else YES if COMPARE[how](exact(segment, instant), Fraction(limit)) else NO
        )
        assert found.at(instant) == truth, instant


@given(lines(), numbers(), st.sampled_from(list(COMPARE)), st.integers(-1100, 1100))
def test_a_comparison_starting_at_an_instant_equals_that_over_all_time_from_then_on(
    segments: list[Segment], limit: int | float, how: str, since: int
) -> None:
    timeline = Timeline(segments)
    assert timeline.compare(how, limit, starting_at=since) == timeline.compare(how, limit).level_before(since)
    assert timeline.matches((str(limit),), since) == timeline.matches((str(limit),)).level_before(since)


@given(lines(), st.integers(-1100, 1100))
def test_the_value_at_an_instant_is_the_exact_one_to_within_rounding(segments: list[Segment], instant: int) -> None:
    timeline = Timeline(segments)
    segment, value = timeline.segment(instant), timeline.at(instant)
    if segment.value is None:
        assert value is None
    else:
        assert value == pytest.approx(float(exact(segment, instant)), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("how", "limit", "turns"),
    [
        ("at_least", 10, [(MIN_INSTANT, UNKNOWN), (100, NO), (110, YES)]),
        ("more_than", 10, [(MIN_INSTANT, UNKNOWN), (100, NO), (111, YES)]),
        ("at_most", 10, [(MIN_INSTANT, UNKNOWN), (100, YES), (111, NO)]),
        ("less_than", 10, [(MIN_INSTANT, UNKNOWN), (100, YES), (110, NO)]),
    ],
)
def test_an_age_reaches_its_limit_to_the_microsecond(how: str, limit: int, turns: list[tuple[int, int]]) -> None:
    assert Timeline([Segment(100, 0, RISING)]).compare(how, limit) == Intervals.of(turns)


def test_a_charge_that_falls_three_percent_a_month_passes_85_from_100_after_150_days() -> None:
    charge = Timeline([Segment(0, 100.0, (-3, 30 * DAY))])

    assert charge.compare("at_most", 85) == Intervals.of([(MIN_INSTANT, UNKNOWN), (0, NO), (150 * DAY, YES)])
    assert charge.compare("less_than", 85).starts[-1] == 150 * DAY + 1
    assert charge.at(150 * DAY) == 85.0


def test_a_whole_age_stays_whole_however_old() -> None:
    assert Timeline([Segment(MIN_INSTANT, 0, RISING)]).at(MAX_INSTANT - 1) == MAX_INSTANT - 1 - MIN_INSTANT


def test_never_is_not_unknown() -> None:
    """With no job booked, `next_job_in` is infinite, so at_most is no."""
    timeline = Timeline([Segment(MIN_INSTANT, NEVER), Segment(0, 48 * HOUR, FALLING), Segment(48 * HOUR, NEVER)])

    within = Intervals.of([(MIN_INSTANT, NO), (24 * HOUR, YES), (48 * HOUR, NO)])
    assert timeline.compare("at_most", 24 * HOUR) == within
    assert timeline.compare("more_than", 24 * HOUR) == ~within


def test_before_the_first_segment_a_quantity_is_unknown_and_of_two_at_one_instant_the_later_wins() -> None:
    timeline = Timeline([Segment(5, 1), Segment(5, 2)])
    assert [timeline.at(4), timeline.at(5)] == [None, 2]


def test_a_segment_beyond_time_is_left_out() -> None:
    assert Timeline([Segment(5, "no"), Segment(MAX_INSTANT, "yes")]).matches(("yes",)).next_change(5) is None


def test_clipped_segments_start_at_the_value_reached() -> None:
    timeline = Timeline([Segment(0, 0, RISING), Segment(50, 7)])
    assert timeline.clipped(10, 60) == [Segment(10, 10, RISING), Segment(50, 7)]
    assert timeline.clipped(10, 50) == [Segment(10, 10, RISING)]


def test_words_match_one_or_several_and_unknown_matches_neither_way() -> None:
    timeline = Timeline([Segment(0, "warm"), Segment(5, "cold"), Segment(9, None)])
    assert timeline.matches(("cold",)) == Intervals.of([(MIN_INSTANT, UNKNOWN), (0, NO), (5, YES), (9, UNKNOWN)])
    assert timeline.matches(("cold", "warm")) == Intervals.of([(MIN_INSTANT, UNKNOWN), (0, YES), (9, UNKNOWN)])


def test_a_flag_of_three_values_reads_as_words() -> None:
    timeline = Timeline(flags([(0, False, None), (3, None, None), (5, True, ("why", None))]))
    assert [timeline.at(t) for t in (-1, 0, 3, 5)] == [None, "no", None, "yes"]


def test_evidence_reads_oldest_first() -> None:
    assert events_of(("newest", ("older", ("oldest", None)))) == ["oldest", "older", "newest"]


ZONE = ZoneInfo("Europe/Berlin")


def age_reaches(born: str, span: CalendarSpan, how: str = "at_least") -> int:
    """Where an age since `born` turns against a calendar span."""
    age = Timeline([Segment(moment(born), 0, RISING)])
    return age.compare(how, span, lambda origin, calendar: add_span(origin, calendar, ZONE)).starts[-1]


@pytest.mark.parametrize(
    ("born", "span", "reached"),
    [
        ("2025-02-01 12:00", CalendarSpan(1), "2025-03-01 12:00"),
        ("2024-02-29 12:00", CalendarSpan(12), "2025-02-28 12:00"),
        ("2026-01-15 12:00", CalendarSpan(6), "2026-07-15 11:00"),  # 13:00 by the local clock, summer and winter
        ("2024-01-31 12:00", CalendarSpan(24, to_month_end=True), "2026-01-31 23:00"),  # the end of that local day
    ],
)
def test_a_calendar_limit_is_reached_on_the_local_calendar(born: str, span: CalendarSpan, reached: str) -> None:
    assert age_reaches(born, span) == moment(reached)
    assert age_reaches(born, span, "less_than") == moment(reached)
    assert age_reaches(born, span, "more_than") == moment(reached) + 1


@pytest.mark.parametrize("segment", [Segment(0, 0, FALLING), Segment(0, 5), Segment(0, 0.5, RISING)])
def test_a_calendar_limit_can_only_be_compared_with_ages(segment: Segment) -> None:
    with pytest.raises(TypeError, match="only an age can be compared"):
        Timeline([segment]).compare("at_least", CalendarSpan(6), lambda origin, span: origin)
