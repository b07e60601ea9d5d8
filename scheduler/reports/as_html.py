"""Write a document as one HTML page: styles and pictures inside, nothing outside.

No script, no outside address. Built as a tree with the standard library's ElementTree, which escapes whatever is put
in it; a template engine would leave that to whoever writes the template.
"""

import re
from collections.abc import Callable, Iterator
from xml.etree import ElementTree as ET

from scheduler.reports.document import Bullets, Document, Paragraph, Part, Picture, Section, Table

_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
_STYLE = """
:root { color-scheme: light; --ink: #1a1a1a; --soft: #555; --line: #c4c4c4; --band: #f3f5f7; --mark: #0b4f85; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 60rem; padding: 1rem 1.25rem 4rem; color: var(--ink); background: #fff;
  font: 1rem/1.5 system-ui, "DejaVu Sans", "Liberation Sans", sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 1rem 0 0; }
h2 { font-size: 1.25rem; margin: 2.5rem 0 .5rem; padding-top: .5rem; border-top: 2px solid var(--mark); }
h3 { font-size: 1.05rem; margin: 1.75rem 0 .25rem; }
.about { color: var(--soft); margin: .25rem 0 1rem; }
nav ul { columns: 2 16rem; padding-left: 1.2rem; }
a { color: var(--mark); }
li { margin: .2rem 0; }
table { border-collapse: collapse; width: 100%; margin: 1rem 0; font-size: .9rem; }
caption { text-align: left; font-weight: 600; padding-bottom: .4rem; }
th, td { text-align: left; vertical-align: top; padding: .35rem .6rem .35rem 0; border-bottom: 1px solid var(--line); }
thead th { border-bottom: 2px solid var(--ink); }
tbody th { font-weight: 600; }
figure { margin: 1rem 0; break-inside: avoid; }
figure svg { width: 100%; height: auto; display: block; }
figcaption { position: sticky; left: 0; color: var(--soft); font-size: .9rem; }
@media (max-width: 40rem) {
  table, tbody, tr, th, td, caption { display: block; }
  thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  tbody tr { padding: .6rem 0; border-bottom: 1px solid var(--line); }
  tbody th, tbody td { border: 0; padding: .1rem 0; }
  tbody td[data-label]::before { content: attr(data-label) ": "; color: var(--soft); }
  tbody td:empty { display: none; }
  figure { overflow-x: auto; }
  figure svg { min-width: 36rem; }
}
@media print {
  @page { margin: 15mm; }
  html { font-size: 9.5pt; }
  body { max-width: none; padding: 0; }
  figure svg { max-height: 92mm; }
  nav { display: none; }
  h2, h3, caption { break-after: avoid; }
  tr, li { break-inside: avoid; }
  a { color: inherit; text-decoration: none; }
}
"""


def as_html(document: Document) -> str:
    """Return the page. Without the library that draws, a picture is its text."""
    page = ET.Element("html", lang="en")
    head = ET.SubElement(page, "head")
    ET.SubElement(head, "meta", charset="utf-8")
    ET.SubElement(head, "meta", name="viewport", content="width=device-width, initial-scale=1")
    ET.SubElement(head, "meta", {"http-equiv": "Content-Security-Policy", "content": _POLICY})
    _text(head, "title", document.title)
    _text(head, "style", _STYLE)
    body = ET.SubElement(ET.SubElement(page, "body"), "main")
    _text(body, "h1", document.title)
    _text(body, "p", document.about).set("class", "about")
    _contents(body, document)
    places = _names()
    for number, section in enumerate(document.sections, 1):
        _part(ET.SubElement(body, "section", id=f"part-{number}"), section, 2, places)
    return f"<!DOCTYPE html>\n{ET.tostring(page, encoding='unicode', method='html')}\n"


def _text(parent: ET.Element, tag: str, text: str) -> ET.Element:
    element = ET.SubElement(parent, tag)
    element.text = text
    return element


def _contents(body: ET.Element, document: Document) -> None:
    nav = ET.SubElement(body, "nav", {"aria-label": "Contents"})
    entries = ET.SubElement(nav, "ul")
    for number, section in enumerate(document.sections, 1):
        _text(ET.SubElement(entries, "li"), "a", section.title).set("href", f"#part-{number}")


def _names() -> Callable[[], str]:
    """Return a function that gives picture-1, picture-2 and so on."""
    numbers = iter(range(1, 10**6))
    return lambda: f"picture-{next(numbers)}"


def _part(parent: ET.Element, part: Part, level: int, name: Callable[[], str]) -> None:
    match part:
        case Section(title, parts):
            _text(parent, f"h{level}", title)
            for inner in parts:
                _part(parent, inner, level + 1, name)
        case Paragraph(text):
            _text(parent, "p", text)
        case Bullets(items):
            entries = ET.SubElement(parent, "ul")
            for item in items:
                _text(entries, "li", item)
        case Picture():
            _picture(parent, part, name())
        case Table():
            _table(parent, part)


def _table(parent: ET.Element, table: Table) -> None:
    element = ET.SubElement(parent, "table")
    if table.caption:
        _text(element, "caption", table.caption)
    row = ET.SubElement(ET.SubElement(element, "thead"), "tr")
    for cell in table.head:
        _text(row, "th", cell).set("scope", "col")
    body = ET.SubElement(element, "tbody")
    for cells in table.rows:
        row = ET.SubElement(body, "tr")
        _text(row, "th", cells[0]).set("scope", "row")
        for label, cell in zip(table.head[1:], cells[1:], strict=True):
            shown = _text(row, "td", cell)
            if label:
                shown.set("data-label", label)


def _picture(parent: ET.Element, picture: Picture, name: str) -> None:
    figure = ET.SubElement(parent, "figure", tabindex="0")
    _text(figure, "figcaption", f"{picture.title}: {picture.alt}")
    try:
        svg = picture.draw()
    except ImportError:  # its caption says the same
        svg = ""
        if picture.rows:
            _text(figure, "pre", "\n".join(picture.rows))
    if svg:
        figure.append(_inline(svg, picture, name))
    if svg and picture.legend:
        _text(figure, "p", picture.legend)


def _inline(svg: str, picture: Picture, name: str) -> ET.Element:
    """Make an SVG part of the page: no namespaces, no metadata, ids of its own."""
    root = ET.fromstring(svg)
    for element in list(root.iter()):
        for child in [child for child in element if _local(child.tag) == "metadata"]:
            element.remove(child)
    for element in root.iter():
        element.tag = _local(element.tag)
        element.attrib = dict(_own(name, element.attrib))
    for size in ("width", "height"):
        root.attrib.pop(size, None)
    root.attrib |= {"role": "img", "aria-label": f"{picture.title}: {picture.alt}"}
    return root


def _own(name: str, attributes: dict[str, str]) -> Iterator[tuple[str, str]]:
    for key, value in attributes.items():
        local = _local(key)
        if local == "id":
            value = f"{name}-{value}"
        elif local == "href":
            value = value.replace("#", f"#{name}-", 1)
        yield local, re.sub(r"url\(#", f"url(#{name}-", value)


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]
