"""kill -9 at any instant loses nothing and repeats at most the message under way."""

import os
import random
from pathlib import Path

from tests.crash.harness import crash

KILLS = int(os.environ.get("SHELFBELL_KILLS", "8"))
"""Kills in this run; `python -m tests.crash --kills 500` does more."""


def test_a_daemon_killed_again_and_again_delivers_everything_and_repeats_only_what_was_under_way(
    tmp_path: Path,
) -> None:
    tally = crash(tmp_path, kills=KILLS, chance=random.Random(4))

    assert tally.fine, str(tally)
    assert tally.messages >= 1  # some five; a busy machine puts much into few
