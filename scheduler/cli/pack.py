"""`shelfbell pack B`: one page on one pack."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from scheduler.answers.desk import Desk
from scheduler.cli.common import asking, desk_or_fallback, print_answer, print_json
from scheduler.home.folder import Home
from scheduler.reports.pack_json import asked, to_json
from scheduler.reports.pack_report import sheet_of


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("pack", metavar="PACK")
    parser.add_argument("--picture", metavar="FILE", type=Path, help="draw it too, as .png or .svg")
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print the page; with --picture, draw it."""
    with desk_or_fallback(home, args) as at:
        _tell(at, args)
    return 0


def _tell(at: Desk, args: Namespace) -> None:
    item = asked(at, args.pack)
    if args.picture:
        from scheduler.reports.pack_picture import check_picture, draw

        check_picture(args.picture)
    board = at.board([item.id])
    sheet = sheet_of(board.store, item, at.now)
    if args.json:
        print_json(to_json(at, sheet, board))
    else:
        from scheduler.reports.pack_page import page

        print_answer(at, page(at, sheet, board))
    if args.picture:
        draw(sheet, args.picture, at.setup.hours.zone)
