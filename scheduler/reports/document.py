"""A document, for all renderers: sections of paragraphs, lists, tables, pictures."""

from collections.abc import Callable, Sequence
from typing import NamedTuple, Union


class Paragraph(NamedTuple):
    """Running text."""

    text: str


class Bullets(NamedTuple):
    """A list."""

    items: list[str]


class Table(NamedTuple):
    """A table under a caption ("" for none); the first cell of each row names the row."""

    caption: str
    head: list[str]
    rows: list[list[str]]

    @classmethod
    def of(cls, caption: str, head: list[str], rows: list[list[str]]) -> "Table":
        """Return the table without its empty columns."""
        kept = [index for index in range(len(head)) if index == 0 or any(row[index] for row in rows)]
        return cls(caption, [head[index] for index in kept], [[row[index] for index in kept] for row in rows])


class Picture(NamedTuple):
    """A drawing. `draw` returns it as SVG; `legend` says how to read it.

    Where it is not drawn, `rows` (a chart in characters) replaces it, or else `alt`.
    """

    title: str
    alt: str
    draw: Callable[[], str]
    legend: str = ""
    rows: Sequence[str] = ()


class Section(NamedTuple):
    """Parts under a heading."""

    title: str
    parts: list["Part"]


Part = Union[Paragraph, Bullets, Table, Picture, Section]  # noqa: UP007 - Section refers to it before it is made


class Document(NamedTuple):
    """A document. `about`: one line under its title."""

    title: str
    about: str
    sections: list[Section]
