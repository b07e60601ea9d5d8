"""Where reminders open and end, against a reading of the rules day by day; no outside source, they are our own."""

from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from scheduler.base.instants import DAY, MAX_INSTANT, MIN_INSTANT
from scheduler.facts.intervals import NO, UNKNOWN, YES, Intervals
from scheduler.verdicts.episodes import Cut, Episode, at_rest, episodes

LAST = 60
GIVEN_UP_AFTER = 14
"""Days without ground after which a reminder is closed as not judged."""
LETTERS = {"n": NO, "u": UNKNOWN, "y": YES}


def days(letters: str) -> Intervals:
    """One letter a day from day 1 on (n, u or y); the first stands before it as well, the last goes on for ever."""
    pairs = [(MIN_INSTANT, LETTERS[letters[0]])]
    return Intervals.of(pairs + [(day * DAY, LETTERS[letter]) for day, letter in enumerate(letters, 1)])


def in_days(found: list[Episode]) -> list[tuple[int, int | None, str]]:
    """(opened, ended, ending) in days; None for without end."""
    return [(s.opened // DAY, None if s.ended == MAX_INSTANT else s.ended // DAY, s.ending) for s in found]


class Lived(NamedTuple):
    """A reminder as the day-by-day reading finds it; `dark`: the days without ground."""

    opened: int
    ended: int | None
    ending: str
    dark: tuple[int, ...]


def lived_through(when: Intervals, until: Intervals | None, cuts: dict[int, str]) -> list[Lived]:
    """Day by day: open or not, armed or not, how long without ground."""
    found: list[Lived] = []
    opened: int | None = None
    armed = when.at(-DAY) != YES
    dark: list[int] = []

    def close(day: int, ending: str) -> None:
        nonlocal opened
        if opened is not None:
            found.append(Lived(opened, day, ending, tuple(dark)))
        opened = None

    for day in range(LAST + 2 * GIVEN_UP_AFTER):
        holds = when.at(day * DAY)
        leaves = YES - holds if until is None else until.at(day * DAY)
        in_the_dark = leaves == UNKNOWN and holds != YES
        if day in cuts:  # on the very day on which it would be given up, what is known of it is said
            close(day, cuts[day])
            armed = True
        if opened is not None and in_the_dark and dark[-GIVEN_UP_AFTER:] == list(range(day - GIVEN_UP_AFTER, day)):
            close(day, "not judged")
        if leaves == YES:
            close(day, "settled")
        if opened is not None and in_the_dark:
            dark.append(day)
        if opened is None and holds != YES:
            armed = True
        if opened is None and armed and holds == YES and leaves != YES:
            opened, armed, dark = day, False, []
    if opened is not None:
        found.append(Lived(opened, None, "", tuple(dark)))
    return found


@st.composite
def partitions(draw: st.DrawFn) -> Intervals:
    """Any three-valued partition with turns on whole days."""
    turns = sorted(draw(st.sets(st.integers(0, LAST), max_size=8)))
    return Intervals.of(
        [(at, draw(st.sampled_from((NO, UNKNOWN, YES)))) for at in (MIN_INSTANT, *(t * DAY for t in turns))]
    )


def dark_days(episode: Episode) -> tuple[int, ...]:
    """The days that a stretch calls unknown, as far as the reading looks."""
    horizon = (LAST + 2 * GIVEN_UP_AFTER) * DAY
    return tuple(t // DAY for start, end in episode.unknown for t in range(start, min(end, horizon), DAY))


@settings(deadline=None)
@example(Intervals([MIN_INSTANT, 20 * DAY], [YES, UNKNOWN]), None, {0: "replaced", 20 + GIVEN_UP_AFTER: "replaced"})
@given(
    partitions(),
    st.none() | partitions(),
    st.dictionaries(st.integers(0, LAST), st.sampled_from(("replaced", "retired")), max_size=3),
)
def test_the_stretches_are_what_living_day_by_day_finds(
    when: Intervals, until: Intervals | None, cuts: dict[int, str]
) -> None:
    found = episodes(when, until, [(day * DAY, reason) for day, reason in cuts.items()])

    as_lived = [Lived(*told, dark_days(episode)) for told, episode in zip(in_days(found), found, strict=True)]
    assert as_lived == lived_through(when, until, cuts)


@settings(deadline=None)
@given(
    partitions(),
    st.none() | partitions(),
    st.dictionaries(st.integers(0, LAST), st.sampled_from(("replaced", "retired")), max_size=3),
)
def test_what_comes_after_an_instant_at_rest_does_not_depend_on_what_was_before(
    when: Intervals, until: Intervals | None, cuts: dict[int, str]
) -> None:
    told = [(day * DAY, reason) for day, reason in cuts.items()]
    found = episodes(when, until, told)
    for instant in (day * DAY for day in range(LAST) if at_rest(when, until, day * DAY)):
        after = episodes(when.level_before(instant), until and until.level_before(instant), told)
        assert after == [episode for episode in found if episode.ended > instant]


@settings(deadline=None)
@given(partitions(), st.none() | partitions())
def test_stretches_follow_one_another_and_hold_where_they_say(when: Intervals, until: Intervals | None) -> None:
    found = episodes(when, until, [])

    assert all(episode.opened < episode.ended for episode in found)
    assert all(one.ended <= two.opened for one, two in zip(found, found[1:], strict=False))
    assert all(when.at(episode.opened) == YES for episode in found)
    assert all(s.holds(s.opened) and s.holds(s.ended - 1) and not s.holds(s.ended) for s in found)


CASES: dict[str, tuple[str, str | None, list[Cut], list[tuple[int, int | None, str]]]] = {
    "without until it is settled where when ceases": ("nyyn", None, [], [(2, 4, "settled")]),
    "it stays open without end while nothing settles it": ("nyyy", None, [], [(2, None, "")]),
    "until, not the end of when, settles it": ("nynnn", "nnnny", [], [(2, 5, "settled")]),
    "while it is open a second yes opens nothing new": ("nynynn", "nnnnny", [], [(2, 6, "settled")]),
    "it does not open while until holds": ("nyyy", "yyny", [], [(3, 4, "settled")]),
    "unknown until does not keep it from opening": ("nyy", "uun", [], [(2, None, "")]),
    "settled while when goes on, it waits for when to cease": (
        "nyyyyny", "nnynnnn", [], [(2, 3, "settled"), (7, None, "")],
    ),
    "unknown opens nothing": ("nuun", None, [], []),
    "unknown settles nothing": ("nyuyn", None, [], [(2, 5, "settled")]),
    "from unknown to yes it opens": ("uyn", None, [], [(2, 3, "settled")]),
    "a replacement ends it and opens another if it holds on": (
        "nyyy", None, [(3 * DAY, "replaced")], [(2, 3, "replaced"), (3, None, "")],
    ),
    "a replacement arms it anew": (
        "nyyyy", "nnynn", [(4 * DAY, "replaced")], [(2, 3, "settled"), (4, None, "")],
    ),
    "what is retired ends for that reason": ("nyyn", None, [(4 * DAY, "retired")], [(2, 4, "retired")]),
    "a cut while nothing is open leaves no trace": ("nyn", None, [(5 * DAY, "retired")], [(2, 3, "settled")]),
    "fourteen days without ground close it as not judged": ("nyu", None, [], [(2, 17, "not judged")]),
    "thirteen do not": ("ny" + 13 * "u" + "yn", None, [], [(2, 17, "settled")]),
    "days without ground count from the last one with it": (
        "ny" + 10 * "u" + "y" + 10 * "u" + "n", None, [], [(2, 24, "settled")],
    ),
    "not judged, it opens anew with the next yes": (
        "ny" + 15 * "u" + "yn", None, [], [(2, 17, "not judged"), (18, 19, "settled")],
    ),
    "given up before it is replaced": ("nyu", None, [(30 * DAY, "replaced")], [(2, 17, "not judged")]),
    "while until is plainly no it has ground, though when is unknown": ("nyu", "n", [], [(2, None, "")]),
    "while when is plainly yes it has ground, though until is unknown": ("ny", "nu", [], [(2, None, "")]),
}  # fmt: skip


@pytest.mark.parametrize("told", CASES)
def test_opening_and_settling(told: str) -> None:
    when, until, cuts, expected = CASES[told]
    assert in_days(episodes(days(when), days(until) if until else None, cuts)) == expected


def test_what_has_held_since_before_all_time_did_not_open_at_any_instant() -> None:
    assert episodes(Intervals.always(YES), None, []) == []


def test_a_stretch_tells_where_its_ground_was_unknown() -> None:
    (episode,) = episodes(days("nyuyun"), None, [])

    assert episode.unknown == ((3 * DAY, 4 * DAY), (5 * DAY, 6 * DAY))
    assert [episode.unknown_at(day * DAY) for day in range(1, 7)] == [False, False, True, False, True, False]
