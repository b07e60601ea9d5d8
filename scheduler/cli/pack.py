"""`shelfbell pack B`: one page on one pack."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from scheduler.answers.desk import Desk
from scheduler.base.findings import Refused, and_then, did_you_mean
from scheduler.cli.common import asking, desk_or_fallback, print_answer, print_json
from scheduler.cli.documents import add_formats, show
from scheduler.fleet.fleet import Item
from scheduler.home.folder import Home
from scheduler.reports.pack_report import report_on_pack

COLUMNS = 78


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("pack", metavar="PACK")
    parser.add_argument("--picture", metavar="FILE", type=Path, help="draw it too, as .png or .svg")
    add_formats(parser)
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print the page, or write it; with --picture, draw it."""
    if args.json and (args.html or args.markdown):
        raise Refused.because("--json prints for programs and writes no file: leave out --html and --markdown")
    with desk_or_fallback(home, args) as at:
        _answer(at, args)
    return 0


def _answer(at: Desk, args: Namespace) -> None:
    item = _pack_named(at, args.pack)
    if args.picture:
        from scheduler.reports.pictures import check_picture

        check_picture(args.picture)
    board = at.board([item.id])
    report = report_on_pack(board.store, item, at.now)
    if args.json:
        from scheduler.reports.pack_json import to_json

        print_json(to_json(at, report, board))
    else:
        from scheduler.reports.pack_page import pack_page

        print_answer(at, show(pack_page(at, report, board), args, COLUMNS))
    if args.picture:
        from scheduler.reports.pack_page import picture_of
        from scheduler.reports.pictures import write_picture

        write_picture(picture_of(at, report, board), args.picture)


def _pack_named(at: Desk, name: str) -> Item:
    fleet = at.setup.fleet
    if fleet.kind(name) != "pack":
        what = f"{name} is no pack" if name in fleet else f"there is no pack {name!r}"
        known = fleet.ids("pack")
        there = f"there is {', '.join(known) or 'none in fleet.yaml'}"
        raise Refused.because(f"{what}{and_then(did_you_mean(name, known), there)}")
    return fleet[name]
