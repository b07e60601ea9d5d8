"""Errors in one line each, for whoever looks after the machine."""

import os
import sqlite3
import traceback

from scheduler.base.findings import Refused
from scheduler.events.database import WAY_BACK


class WorkerFailed(Exception):
    """A worker process gave no answer; the text says why."""


class WorkerTimeout(WorkerFailed):
    """A worker process was ended because it was silent for too long."""


def fault_line(error: Exception) -> str:
    """Return one line on an error; SHELFBELL_DEBUG=1 also prints a traceback (stderr)."""
    if os.environ.get("SHELFBELL_DEBUG") == "1":
        traceback.print_exception(error)
    if isinstance(error, WorkerFailed | Refused):
        return str(error)
    if isinstance(error, sqlite3.Error):
        damaged = isinstance(error, sqlite3.DatabaseError) and not isinstance(error, sqlite3.OperationalError)
        return f"the database cannot be used: {error}{f'. {WAY_BACK}' if damaged else ''}"
    return str(error) if isinstance(error, OSError) else f"{type(error).__name__}: {error}"
