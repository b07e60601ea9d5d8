"""A small home on a bench, for commands run in this process."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.homes import Bench

_NOT_SEARCHED = [
    "_pytest.timing",  # which would take the frozen time for the length of a test
    *("scheduler.base", "scheduler.events", "scheduler.facts", "scheduler.verdicts"),
    *(
        "apprise",
        "icalendar",
        "jsonschema",
        "matplotlib",
        "numpy",
        "PIL",
        "requests",
        "sqlite_utils",
        "urllib3",
        "yaml",
    ),
]
"""Modules that read no clock. freezegun searches all others at every start: milliseconds in each test."""


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[Bench]:
    """The small home, empty of events, at noon UTC on 10 April 2026."""
    import matplotlib.dates  # noqa: F401 - first loaded under a frozen clock, it would know only the frozen datetime

    with freeze_time("2026-04-10 12:00", ignore=_NOT_SEARCHED) as clock:
        yield Bench(tmp_path / "home", capsys, clock)
