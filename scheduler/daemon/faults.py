"""What went wrong, in a line for whoever looks after the machine."""

import os
import sqlite3
import traceback

from scheduler.base.findings import Refused
from scheduler.events.log import WAY_BACK


class WorkerFailed(Exception):
    """The process gave no answer; the text says why."""


class WorkerTimeout(WorkerFailed):
    """The process was ended, for nothing was heard of it for so long."""


def fault_line(error: Exception) -> str:
    """One line on an error; its traceback on standard error too where SHELFBELL_DEBUG is 1."""
    if os.environ.get("SHELFBELL_DEBUG") == "1":
        traceback.print_exception(error)
    if isinstance(error, WorkerFailed | Refused):
        return str(error)
    if isinstance(error, sqlite3.Error):
        damaged = isinstance(error, sqlite3.DatabaseError) and not isinstance(error, sqlite3.OperationalError)
        return f"the database cannot be used: {error}{f'. {WAY_BACK}' if damaged else ''}"
    return str(error) if isinstance(error, OSError) else f"{type(error).__name__}: {error}"
