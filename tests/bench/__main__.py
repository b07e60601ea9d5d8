"""Print the table."""

import contextlib
import io
import sys
import tempfile
from pathlib import Path

from tests.bench.measures import MEASURES

if __name__ == "__main__":  # worker processes import this file under another name
    names = sys.argv[1:] or list(MEASURES)
    print(f"{'what':<34} {'against':<50} {'goal':<15} ratio")
    for name in names:
        with tempfile.TemporaryDirectory() as scratch:
            with contextlib.redirect_stdout(io.StringIO()):
                rows = MEASURES[name](Path(scratch))
            for row in rows:
                print(f"{row.what:<34} {row.against:<50} {row.goal:<15} {row.ratio:,.1f}  {row.note}", flush=True)
