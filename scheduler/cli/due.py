"""`shelfbell due`: the board."""

from typing import TYPE_CHECKING

from scheduler.answers.board import Found, current, to_json, to_text, whole
from scheduler.answers.desk import Desk
from scheduler.cli.common import asking, desk_or_fallback, print_answer, print_json
from scheduler.home.folder import Home

if TYPE_CHECKING:
    from argparse import ArgumentParser, Namespace


def add_arguments(parser: "ArgumentParser", _name: str) -> None:
    """The options."""
    asking(parser, as_known=True)


def run(home: Home, args: "Namespace") -> int:
    """Print what is open; exit 1 when anything is."""
    with desk_or_fallback(home, args) as at:
        return _show(at, whole(at) if args.at or args.as_known else current(at), args.json)


def run_alone(home: Home) -> int:
    """The same where no option is given."""
    with desk_or_fallback(home) as at:
        return _show(at, current(at))


def _show(at: Desk, found: "Found", as_json: bool = False) -> int:
    print_json(to_json(at, found)) if as_json else print_answer(at, to_text(at, found))
    return 1 if found.opened else 0
