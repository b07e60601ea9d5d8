"""A small home on a bench, for commands run in this process."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from freezegun import freeze_time

import tests.read_once  # noqa: F401
from tests.homes import Bench
from tests.tiers import pytest_addoption, pytest_collection_modifyitems, pytest_ignore_collect  # noqa: F401

_KEPT = [
    "_pytest.timing",  # which would take the frozen time for the length of a test
    *("matplotlib", "numpy", "scheduler.base.instants"),  # many names, or much used
]
"""Modules loaded before the clock stops that go on with the real time. One loaded later would keep the frozen one."""


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[Bench]:
    """The small home, empty of events, at noon UTC on 10 April 2026."""
    import matplotlib.dates  # noqa: F401 - first loaded under a frozen clock, it would know only the frozen datetime

    with freeze_time("2026-04-10 12:00", ignore=_KEPT) as clock:
        yield Bench(tmp_path / "home", capsys, clock)
