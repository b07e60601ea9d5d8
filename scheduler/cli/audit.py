"""`shelfbell audit --from TIME --to TIME`: the season audit, in the terminal, as Markdown and as one HTML page."""

import sys
from argparse import ArgumentParser, Namespace
from pathlib import Path

from scheduler.answers.rehearse import typed_interval
from scheduler.base.findings import Refused
from scheduler.cli.common import desk
from scheduler.cli.progress import progress
from scheduler.home.folder import Home
from scheduler.reports.as_text import as_text
from scheduler.reports.audit import audit
from scheduler.reports.season_audit import season_of


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("--from", dest="start", metavar="TIME", required=True)
    parser.add_argument("--to", dest="end", metavar="TIME", required=True)
    parser.add_argument("--markdown", metavar="FILE", type=Path, help="write it as Markdown instead of printing it")
    parser.add_argument("--html", metavar="FILE", type=Path, help="write it as one HTML page instead of printing it")


def run(home: Home, args: Namespace) -> int:
    """Print the document, or write it."""
    at = desk(home)
    start, end = typed_interval(at, args.start, args.end)
    if start >= at.now:
        raise Refused.because(f"--from {args.start} lies ahead: an audit looks back (`shelfbell outlook` looks ahead)")
    with progress("Items looked at") as tell:
        document = audit(season_of(at, start, end, tell))
    if args.markdown:
        from scheduler.reports.as_markdown import as_markdown

        _write(args.markdown, as_markdown(document))
    if args.html:
        from scheduler.reports.as_html import as_html

        _write(args.html, as_html(document))
        _say_where_no_pictures()
    if not (args.markdown or args.html):
        print(as_text(document))
    return 0


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
    print(f"Written: {path}")


def _say_where_no_pictures() -> None:
    from importlib.util import find_spec

    if find_spec("matplotlib") is None:
        hint = "in the folder of the program: pip install '.[pictures]'"
        print(
            f"Without pictures, told in words: they are drawn with matplotlib, which is not installed ({hint}).",
            file=sys.stderr,
        )
