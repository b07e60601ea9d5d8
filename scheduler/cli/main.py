"""The command `shelfbell`.

A command is a module of this package, in one of these forms, and a line in COMMANDS:

- `add_arguments(parser, name)` and `run(home, args)`: options by argparse, like most;
- `run_alone(home)` besides: what it does without any option, where argparse would take longer than the answer (`due`);
- `run_words(home, words)` instead: it reads its words itself (`log`).

Each returns the exit status, and raises Refused where it cannot do what was asked.
"""

import gc
import io
import os
import sqlite3
import sys
from importlib import import_module

from scheduler import __version__
from scheduler.base.findings import FilesRefused, Refused, and_then, did_you_mean

COMMANDS = {
    "init": "a commented starter home",
    "check": "every file, every rule's cases; exit 1 on any finding",
    "log": "one event, in one line",
    "intake": "read events from JSON Lines",
    "export": "write all events as JSON Lines",
    "history": "what happened, corrections shown",
    "ready": "can I fly, with which packs, for how long, and what comes first",
    "due": "the board: what is open now, most urgent first, and what cannot be judged",
    "explain": "why a rule fires or stays silent for an item",
    "pack": "one page on one pack: charge, wear, health, cost, what is next",
    "rehearse": "what would have been, or will be, sent in an interval of time",
    "audit": "the season audit: in the terminal, as Markdown, as one HTML page",
    "outlook": "what will fall due, by the calendar and by expected use",
    "case": "one case of a rule from real history, ready to be pasted",
    "seen": "stop the repeats of an open reminder",
    "snooze": "keep an open reminder quiet for a while",
    "run": "the daemon",
    "ring": "send a trial message",
    "channels": "how each channel is doing: last success, last error, what waits",
    "doctor": "is all well with the home, and what to do where it is not",
    "backup": "one archive of the home, without secrets",
    "restore": "an archive into an empty home",
    "rules": "the rules that are on, with their limits and basis",
}
_MODULES = {"snooze": "seen", "restore": "backup"}
_USAGE = "usage: shelfbell [--home DIR] COMMAND ...\n\nKeeps a fleet fit to fly, and rings when something needs you.\n"


def main(argv: list[str] | None = None) -> int:
    """Run one command; return its exit status.

    0: fine. 1: findings. 2: bad usage or bad input; nothing was written.
    """
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        _show_what_the_terminal_cannot()
        return _run(words)
    except Refused as refused:
        print(refused, file=sys.stderr)
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except sqlite3.Error as error:
        print(f"the database says: {error}; `shelfbell doctor` looks closer", file=sys.stderr)
        return 2
    except OSError as error:
        print(f"{error.strerror or error}: {error.filename or ''}".rstrip(": "), file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    except Exception as error:
        if os.environ.get("SHELFBELL_DEBUG") == "1":
            raise
        print(
            f"shelfbell has a fault: {type(error).__name__}: {error} (SHELFBELL_DEBUG=1 shows where)", file=sys.stderr
        )
        return 2


def _show_what_the_terminal_cannot() -> None:
    """Print a mark instead of failing on a character the terminal lacks."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and stream.errors == "strict":
            stream.reconfigure(errors="replace")


def _require_readable(words: list[str]) -> None:
    """Raise Refused where a word is not text in the terminal's encoding."""
    for word in words:
        if not word.isascii() and any("\ud800" <= letter <= "\udfff" for letter in word):
            raise Refused.because(f"{ascii(word)} cannot be read: it is not text in the encoding of this terminal")


def _run(words: list[str]) -> int:
    home: str | None = None
    while words and words[0].startswith("-"):
        option = words.pop(0)
        if option in ("-h", "--help"):
            print(_help(), end="")
            return 0
        if option == "--version":
            print(f"shelfbell {__version__}")
            return 0
        if option == "--home" and words:
            home = words.pop(0)
        elif option.startswith("--home="):
            home = option.partition("=")[2]
        elif option == "--home":
            raise Refused.because("--home needs a folder")
        else:
            raise Refused.because(f"there is no option {option!r} before the command{did_you_mean(option, ['--home'])}")
    if not words:
        print(_help(), end="", file=sys.stderr)
        return 2
    name, *rest = words
    if name not in COMMANDS:
        raise Refused.because(
            f"there is no command {name!r}{and_then(did_you_mean(name, COMMANDS), '`shelfbell --help` lists them')}"
        )
    _require_readable(rest)
    gc.disable()  # a command lives for a moment, and neither it nor what it imports makes circles worth looking for
    module = import_module(f"scheduler.cli.{_MODULES.get(name, name)}")
    from scheduler.home.folder import Home, default_home

    opened = Home(default_home() if home is None else home)
    if name == "run":
        gc.enable()
    try:
        if hasattr(module, "run_words"):
            return module.run_words(opened, rest)
        if not rest and hasattr(module, "run_alone"):
            return module.run_alone(opened)
        from scheduler.cli.options import parse

        return module.run(opened, parse(module, name, COMMANDS[name], rest))
    except FilesRefused as refused:
        from scheduler.answers.fallback import with_daemon
        from scheduler.cli.common import clock

        raise with_daemon(opened, refused, clock()) from None
    finally:
        opened.log.close()
        gc.freeze()  # an ending interpreter looks for circles too, at a tenth of what `log` costs


def _help() -> str:
    width = max(map(len, COMMANDS))
    lines = [f"  {name:<{width}}  {text}" for name, text in COMMANDS.items()]
    return "\n".join([_USAGE, *lines, ""])
