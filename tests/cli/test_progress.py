"""How far long work has come is shown to a person, and to nobody else."""

import io

import pytest

from scheduler.base.progress import counted
from scheduler.cli.progress import progress


class Screen(io.StringIO):
    """A stream that a person looks at, or does not."""

    def __init__(self, watched: bool) -> None:
        super().__init__()
        self._watched = watched

    def isatty(self) -> bool:
        return self._watched


class Clock:
    """A clock that goes on by half a second each time it is read."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        self.now += 0.5
        return self.now


def shown(screen: Screen) -> str:
    """What is left on the screen's line after each return to its beginning."""
    return screen.getvalue()


def test_a_person_sees_how_far_it_is_after_a_second_and_nothing_in_the_end() -> None:
    screen = Screen(watched=True)
    with progress("entries read", screen, Clock()) as tell:
        assert list(counted("abcd", tell)) == list("abcd")
    assert shown(screen) == "\rentries read: 2\rentries read: 3\rentries read: 4\r               \r"


def test_of_how_many_is_told_where_it_is_known() -> None:
    screen = Screen(watched=True)
    with progress("items", screen, Clock()) as tell:
        for done in (100, 1_200):
            tell(done, 10_000)
    assert shown(screen).startswith("\ritems: 1,200 of 10,000\r")


@pytest.mark.parametrize("watched", [True, False])
def test_what_is_done_at_once_or_unwatched_shows_nothing(watched: bool) -> None:
    screen = Screen(watched)
    clock = (lambda: 0.0) if watched else Clock()
    with progress("items", screen, clock) as tell:
        tell(1, 2)
        tell(2, 2)
    assert shown(screen) == ""


def test_the_line_is_wiped_when_the_work_fails() -> None:
    screen = Screen(watched=True)
    with pytest.raises(ValueError), progress("items", screen, Clock()) as tell:
        tell(1, 2)
        tell(2, 2)
        raise ValueError
    assert shown(screen).endswith("\r             \r")
