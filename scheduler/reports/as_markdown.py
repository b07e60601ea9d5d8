"""Write a document as Markdown with the tables of GitHub Flavored Markdown.

See https://github.github.com/gfm/. Written here and not by a library: libraries read Markdown, and the tests read
this back with one.
"""

import re

from scheduler.reports.document import Bullets, Document, Paragraph, Part, Picture, Section, Table

_MEANT = re.compile(r"([\\`*_\[\]])")
"""Characters with a meaning within a line that a backslash takes away."""
_ENTITIES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", "|": "&#124;", "~": "&#126;"})
"""Characters that every reader of Markdown takes as plain text only in this form."""
_AT_START = re.compile(r"^(\d*)([#+\-.)])(?=[ #]|$)")
"""The start of a line that would make it a heading or a list."""


def as_markdown(document: Document) -> str:
    """Return the document, ending with a line end."""
    parts = [f"# {_plain(document.title)}", _plain(document.about)]
    parts += [text for section in document.sections for text in _part(section, 2)]
    return "\n\n".join(parts) + "\n"


def _part(part: Part, level: int) -> list[str]:
    match part:
        case Section(title, parts):
            return [f"{'#' * level} {_plain(title)}", *(text for inner in parts for text in _part(inner, level + 1))]
        case Paragraph(text):
            return [_plain(text)]
        case Bullets(items):
            return ["\n".join(f"- {_plain(item)}" for item in items)]
        case Picture(rows=rows) if rows:
            return ["\n".join(f"    {row}" for row in rows)]
        case Picture(title, alt):
            return [f"**{_plain(title)}:** {_plain(alt)}"]
        case Table(caption, head, rows):
            lines = [_row(head), _row_of(["---"] * len(head)), *map(_row, rows)]
            return [f"**{_plain(caption)}**", "\n".join(lines)] if caption else ["\n".join(lines)]


def _row(cells: list[str]) -> str:
    return _row_of([_plain(cell) for cell in cells])


def _row_of(cells: list[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _plain(text: str) -> str:
    """Escape the characters that mean something to Markdown."""
    line = _MEANT.sub(r"\\\1", " ".join(text.split()).translate(_ENTITIES))
    return _AT_START.sub(r"\1\\\2", line)
