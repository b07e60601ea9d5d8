"""The tiers of the tests: which are slow, and why. `sh tests/run.sh --quick` leaves the slow ones out.

Whole files are named in `_FILES`. In all other files a test is marked by the names that it, or a helper of the tests
that it calls, uses; so a new test that starts a process is marked without anyone thinking of it.
"""

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import CodeType, FunctionType

import pytest

TESTS = Path(__file__).parent
_FILES = {
    "corpus": "command",
    "crash": "process",
    "daemon/test_daemon.py": "process",
    "daemon/test_living_long.py": "process",
    "home/test_process_pool.py": "process",
    "daemon/test_subprocess_worker.py": "process",
    "test_wheel.py": "process",
    "messages/test_broker.py": "server",
    "messages/test_rude.py": "server",
    "messages/test_senders.py": "server",
    "cells/test_accuracy.py": "lives",
    "messages/test_time.py": "lives",
    "answers/test_groups.py": "lives",
    "reminders/test_rehearse.py": "lives",
    "reports/test_audit.py": "lives",
    "reports/test_pack.py": "lives",
}
_USED = {
    "process": {"subprocess", "multiprocessing", "Popen", "call_in_process", "map_in_processes"},
    "server": {"letterbox", "socketserver", "http", "aiosmtpd"},
    "lives": {"Random", "random", "Clockwork"},
}


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add --quick, for `sh tests/run.sh --quick`."""
    parser.addoption(
        "--quick", action="store_true", help="leave out processes, servers, random lives and whole commands"
    )


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Do not even import a file that --quick leaves out."""
    return True if config.getoption("--quick") and _of_file(collection_path) else None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark every test that is slow, and leave it out of a quick run."""
    slow: list[pytest.Item] = []
    for item in items:
        marks = set(_marks(item))
        for mark in marks:
            item.add_marker(mark)
        if marks and config.getoption("--quick"):
            slow.append(item)
    if slow:
        left_out = set(slow)
        items[:] = [item for item in items if item not in left_out]
        config.hook.pytest_deselected(items=slow)


def _of_file(path: Path) -> str | None:
    """Return the mark of a whole file or folder."""
    inside = path.relative_to(TESTS) if path.is_relative_to(TESTS) else Path()
    return _FILES.get(inside.as_posix()) or _FILES.get(inside.parts[0] if inside.parts else "")


def _marks(item: pytest.Item) -> Iterator[str]:
    """Yield the marks of one test; a test of hypothesis draws at random."""
    if mark := _of_file(item.path):
        yield mark
    function = item.function
    if hasattr(function, "hypothesis"):
        yield "lives"
    if "bench" in item.fixturenames:
        yield "command"
    fixtures = [getattr(function.__globals__.get(name), "__wrapped__", None) for name in item.fixturenames]
    used = set().union(*(_names_in(each) for each in (function, *fixtures)))
    yield from (mark for mark, names in _USED.items() if names & used)


@cache
def _names_in(function: object) -> set[str]:
    """Return every name that a function uses, with those that helpers of the tests use for it."""
    return _names(function, set())


def _names(function: object, seen: set[object]) -> set[str]:
    if not isinstance(function, FunctionType) or function in seen:
        return set()
    seen.add(function)
    names = set(_names_of(function.__code__))
    for name in names.copy():
        helper = function.__globals__.get(name)
        if getattr(helper, "__module__", "").startswith("tests."):
            parts = vars(helper).values() if isinstance(helper, type) else [helper]
            for part in parts:
                names |= _names(part, seen)
    return names


def _names_of(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield from _names_of(inner)
