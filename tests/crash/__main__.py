"""`python -m tests.crash --kills 500`: kill the daemon so often and print the count."""

import argparse
import random
import sys
import tempfile
from pathlib import Path

from tests.crash.harness import crash

parser = argparse.ArgumentParser(prog="tests.crash")
parser.add_argument("--kills", type=int, default=100)
parser.add_argument("--chance", type=int, default=1, help="which random instants")
given = parser.parse_args()
with tempfile.TemporaryDirectory() as scratch:
    tally = crash(Path(scratch), given.kills, random.Random(given.chance))
print(tally)
sys.exit(0 if tally.fine else 1)
