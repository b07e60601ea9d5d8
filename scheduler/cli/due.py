"""`shelfbell due`: the board."""

from typing import TYPE_CHECKING

from scheduler.answers.board import BoardView, current_board, solve_board, to_json, to_text
from scheduler.answers.desk import Desk
from scheduler.cli.common import asking, desk_or_fallback, print_answer, print_json
from scheduler.home.folder import Home

if TYPE_CHECKING:
    from argparse import ArgumentParser, Namespace


def add_arguments(parser: "ArgumentParser", _name: str) -> None:
    """Add the options."""
    asking(parser, as_known=True)


def run(home: Home, args: "Namespace") -> int:
    """Print the open reminders; exit 1 if there are any."""
    with desk_or_fallback(home, args) as at:
        return _show(at, solve_board(at) if args.at or args.as_known else current_board(at), args.json)


def run_alone(home: Home) -> int:
    """Print the same, for a call without options."""
    with desk_or_fallback(home) as at:
        return _show(at, current_board(at))


def _show(at: Desk, view: BoardView, as_json: bool = False) -> int:
    print_json(to_json(at, view)) if as_json else print_answer(at, to_text(at, view))
    return 1 if view.opened else 0
