"""Read options by argparse. `log` has its own reader, so it need not load this."""

import argparse
import re
from types import ModuleType

from scheduler.base.findings import Refused


def parse(module: ModuleType, name: str, meaning: str, words: list[str]) -> argparse.Namespace:
    """Read the options that a command's module declares. Raises Refused."""
    parser = _Parser(prog=f"shelfbell {name}", description=meaning, allow_abbrev=False)
    module.add_arguments(parser, name)
    return parser.parse_args(joined(words))


def joined(words: list[str]) -> list[str]:
    """Return the words with "--from -2h" joined: "-2h" alone reads as an option."""
    found: list[str] = []
    for word in words:
        if found and re.match(r"-\d", word) and re.fullmatch(r"--[a-z-]+", found[-1]):
            found[-1] += f"={word}"
        else:
            found.append(word)
    return found


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> None:  # type: ignore[override]
        raise Refused.because(f"{message}; `{self.prog} --help` says more")
