"""A small home on a bench, for commands run in this process."""

from pathlib import Path

import pytest

import tests.read_once  # noqa: F401
from tests.homes import Bench
from tests.tiers import pytest_addoption, pytest_collection_modifyitems, pytest_ignore_collect  # noqa: F401


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Bench:
    """The small home, empty of events, at noon UTC on 10 April 2026."""
    return Bench(tmp_path / "home", capsys, monkeypatch)
