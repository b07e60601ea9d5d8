"""`shelfbell log WHAT ITEM ...`: one event in one line, and an answer."""

from scheduler.answers.entry import log_words
from scheduler.answers.entry_usage import usage
from scheduler.answers.typed_entry import require_kind
from scheduler.cli.common import clock, print_logged
from scheduler.home.folder import Home

_HELP = ("-h", "--help")


def run_words(home: Home, words: list[str]) -> int:
    """Log what the words say and print what follows from it."""
    if not words or words[0] in _HELP:
        print(usage(words[1] if len(words) > 1 else None))
    elif words[1:2] and words[1] in _HELP:
        print(usage(require_kind(words[0]).what))
    else:
        print_logged(log_words(home, words, clock()).lines)
    return 0
