"""Write a document for the terminal: plain text of a given width."""

import textwrap
from itertools import zip_longest

from scheduler.reports.document import Bullets, Document, Paragraph, Part, Picture, Section, Table

WIDTH = 100
_GAP = 2
_LONGEST_KEPT = 20
"""A word up to so long is not broken to make a column narrower."""


def as_text(document: Document, width: int = WIDTH) -> str:
    """Return the document, wrapped."""
    head = [document.title, "=" * len(document.title), *_wrapped(document.about, width)]
    return "\n".join([*head, *(line for part in document.sections for line in _part(part, width, "-"))])


def _part(part: Part, width: int, rule: str) -> list[str]:
    match part:
        case Section(title, parts):
            lines = [line for inner in parts for line in _part(inner, width, ".")]
            return ["", title, rule * len(title), *(lines if isinstance(parts[0], Section) else lines[1:])]
        case Paragraph(text):
            return ["", *_wrapped(text, width)]
        case Bullets(items):
            return ["", *(line for item in items for line in _wrapped(item, width, "- "))]
        case Picture(rows=rows) if rows:
            return ["", *rows]
        case Picture(title, alt):
            return ["", *_wrapped(f"{title}: {alt}", width)]
        case Table():
            return ["", *_table(part, width)]


def _wrapped(text: str, width: int, mark: str = "") -> list[str]:
    return textwrap.wrap(text, width, initial_indent=mark, subsequent_indent=" " * len(mark), break_on_hyphens=False)


def _table(table: Table, width: int) -> list[str]:
    widths = _widths(table, width)
    lines = [f"{table.caption}:"] if table.caption else []
    for row in (table.head, ["-" * size for size in widths], *table.rows):
        cells = [textwrap.wrap(cell, size, break_on_hyphens=False) for cell, size in zip(row, widths, strict=True)]
        for parts in zip_longest(*cells, fillvalue=""):
            lines.append(
                (" " * _GAP).join(f"{part:<{size}}" for part, size in zip(parts, widths, strict=True)).rstrip()
            )
    return lines


def _widths(table: Table, width: int) -> list[int]:
    """Return column widths: the widest cells, narrowed to fit if words allow."""
    columns = list(zip(table.head, *table.rows, strict=True))
    widths = [max(map(len, column)) for column in columns]
    least = [
        min(_LONGEST_KEPT, max(len(word) for cell in column for word in [*cell.split(), ""])) for column in columns
    ]
    while sum(widths) + _GAP * (len(widths) - 1) > width and any(
        size > low for size, low in zip(widths, least, strict=True)
    ):
        widest = max((size, index) for index, size in enumerate(widths) if size > least[index])[1]
        widths[widest] -= 1
    return widths
