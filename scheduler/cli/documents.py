"""Show a document in the terminal, or write it as Markdown or as one HTML page."""

import sys
from argparse import ArgumentParser, Namespace
from importlib.util import find_spec
from pathlib import Path

from scheduler.reports.as_text import as_text
from scheduler.reports.document import Document


def add_formats(parser: ArgumentParser) -> None:
    """Add --markdown and --html."""
    parser.add_argument("--markdown", metavar="FILE", type=Path, help="write it as Markdown instead of printing it")
    parser.add_argument("--html", metavar="FILE", type=Path, help="write it as one HTML page instead of printing it")


def show(document: Document, args: Namespace, width: int | None = None) -> str:
    """Write the files that options name; return the document or what was written."""
    written = []
    if args.markdown:
        from scheduler.reports.as_markdown import as_markdown

        written.append(_write(args.markdown, as_markdown(document)))
    if args.html:
        from scheduler.reports.as_html import as_html

        written.append(_write(args.html, as_html(document)))
        _say_where_no_pictures()
    return "\n".join(written) or (as_text(document, width) if width else as_text(document))


def _write(path: Path, text: str) -> str:
    path.write_text(text, encoding="utf-8")
    return f"Written: {path}"


def _say_where_no_pictures() -> None:
    if find_spec("matplotlib") is None:
        hint = "in the folder of the program: pip install '.[pictures]'"
        print(
            f"Without pictures, in words instead: they are drawn with matplotlib, which is not installed ({hint}).",
            file=sys.stderr,
        )
