"""The season audit: its words, one model in three renderings, a page that needs nothing else.

The HTML is read with the standard library's parser, the Markdown by the package Markdown with its table extension.
"""

import json
import subprocess
import sys
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import markdown
import pytest

from scheduler.daemon.wake import wake
from scheduler.home.folder import Home
from scheduler.reports.as_html import as_html
from scheduler.reports.as_markdown import as_markdown
from scheduler.reports.as_text import as_text
from scheduler.reports.document import Bullets, Document, Paragraph, Picture, Section, Table
from tests.homes import RULES, Bench, golden
from tests.support import Fields, event, moment

GOLDEN = Path(__file__).parent / "golden"
SEASON = ("--from", "2026-03-01", "--to", "2026-04-10")
VOID = {"meta", "link", "br", "hr", "img", "input", "path", "use"}
STORY: list[Fields] = [
    event("2026-03-02 10:00", "renewed", item="certificate", expires="2026-04-25", id="paper"),
    event("2026-03-20 17:00", "charged", item="A", id="a1"),
    event("2026-03-22 09:00", "drained", item="A", percent=58, id="a2"),
    event("2026-03-25 17:00", "charged", item="B", id="b1"),
    event("2026-03-27 12:00", "flown", aircraft="heron", packs=["B"], minutes=18, percent_to=30, id="b2"),
    event("2026-03-27 13:00", "flown", aircraft="heron", packs=["B"], minutes=180, percent_to=30, id="slip"),
    event("2026-03-28 09:00", "struck", event="slip", note="18, not 180 <b>min</b>", id="strike"),
    event("2026-03-30 17:00", "charged", item="B", id="b3"),
    event("2026-04-07 12:00", "noticed", item="C", findings=["swollen"], id="c1"),
    event("2026-04-07 18:00", "set_aside", item="C", id="c2"),
]


@pytest.fixture
def told(bench: Bench) -> Bench:
    """The small home with the story in its log, and an adjustment without a reason beside one with."""
    bench.write("rules/own.yaml", f"{RULES}\n{ADJUST}")
    path = bench.path / "story.jsonl"
    path.write_text("\n".join(json.dumps({"recorded_at": f["at"]} | f) for f in STORY), encoding="utf-8")
    assert bench("intake", str(path)).status == 0
    return bench


ADJUST = """adjust:
  left-full: [{only: [A], limits: {sit: 36 h}}]
  unread: {limits: {long: 90 d}, because: the packs lie in a cold shed}
"""


class Page(HTMLParser):
    """A page as read: every element opened, with its attributes, and that each was closed in turn."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    def those(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.elements if name == tag]


@pytest.fixture
def page(told: Bench) -> Page:
    path = told.path / "audit.html"
    answer = told("audit", *SEASON, "--html", str(path))
    assert (answer.status, answer.err, answer.out) == (0, "", f"Written: {path}\n")
    return Page(path.read_text(encoding="utf-8"))


def test_the_words(told: Bench) -> None:
    golden(GOLDEN / "audit.txt", told("audit", *SEASON).out)


@pytest.mark.parametrize(
    ("start", "end", "corrected"),
    [("2026-03-27", "2026-03-27", 1), ("2026-03-28", "2026-03-28", 1), ("2026-03-29", "2026-04-01", 0)],
)
def test_a_correction_is_told_of_the_day_of_the_entry_and_of_its_own(
    told: Bench, start: str, end: str, corrected: int
) -> None:
    out = told("audit", "--from", start, "--to", end).out
    assert out.count("flown of 27 Mar 2026 13:00 (slip)  struck") == corrected


def test_the_words_of_an_empty_log(bench: Bench) -> None:
    golden(GOLDEN / "audit-empty.txt", bench("audit", *SEASON).out)


def test_the_markdown(told: Bench) -> None:
    path = told.path / "audit.md"

    assert told("audit", *SEASON, "--markdown", str(path)).status == 0

    golden(GOLDEN / "audit.md", path.read_text(encoding="utf-8"))


def test_conclusions_come_first(told: Bench) -> None:
    headings = [
        line for line in told("audit", *SEASON).out.splitlines() if line and not line.startswith(("-", " ", "="))
    ]

    assert headings[:3][0] == "Season audit"
    assert "In short" in headings[:5]


def test_the_page_is_whole_and_in_order(page: Page) -> None:
    """One title, headings that skip no level, table heads with a scope, pictures with words."""
    levels = [int(tag[1]) for tag, _ in page.elements if tag in ("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False))
    assert page.those("html") == [{"lang": "en"}]
    assert {"name": "viewport", "content": "width=device-width, initial-scale=1"} in page.those("meta")
    assert all(head.get("scope") in ("col", "row") for head in page.those("th"))
    pictures = page.those("svg")
    assert len(pictures) == 3
    assert all(svg["role"] == "img" and svg["aria-label"].startswith("Pack ") for svg in pictures)


def test_the_page_has_no_script_and_no_outside_address(page: Page, told: Bench) -> None:
    """Whatever could fetch: links lead within the page, ids exist once, no address stands in the style or elsewhere."""
    text = (told.path / "audit.html").read_text(encoding="utf-8")
    ids = Counter(attributes["id"] for _, attributes in page.elements if "id" in attributes)
    led_to = [value for _, attributes in page.elements for name, value in attributes.items() if name in ("href", "src")]

    assert not {"script", "link", "iframe", "object", "embed", "base", "form"} & {tag for tag, _ in page.elements}
    assert all(value.startswith("#") and value[1:] in ids for value in led_to)
    assert ids.most_common(1)[0][1] == 1
    assert "://" not in text
    assert "@import" not in text
    assert text.count("url(") == text.count("url(#")


def test_the_page_is_the_same_for_the_same_log(told: Bench) -> None:
    pages = []
    for name in ("one.html", "two.html"):
        told("audit", *SEASON, "--html", str(told.path / name))
        pages.append((told.path / name).read_text(encoding="utf-8"))

    assert pages[0] == pages[1]


def test_what_comes_from_outside_is_text_and_nothing_else(page: Page) -> None:
    assert "18, not 180 <b>min</b>" in "".join(page.text)
    assert "b" not in {tag for tag, _ in page.elements}


def test_the_three_renderings_say_the_same(told: Bench, page: Page) -> None:
    """Read by another library, the Markdown has the cells and words of the page; and the text has them too."""
    path = told.path / "audit.md"
    told("audit", *SEASON, "--markdown", str(path))
    read = Page(markdown.markdown(path.read_text(encoding="utf-8"), extensions=["tables"], output_format="html"))

    assert [len(read.those(tag)) for tag in ("table", "td", "th")] == [
        len(page.those("table")),
        len(page.those("td")) + sum(head["scope"] == "row" for head in page.those("th")),
        sum(head["scope"] == "col" for head in page.those("th")),
    ]  # fmt: skip
    apart = Counter(" ".join(read.text).split()) - Counter(" ".join(page.text).split())
    assert apart == Counter()
    text = "".join(told("audit", *SEASON).out.split())
    assert all("".join(word.split()) in text for word in ("Pack left full", "because the packs lie in a cold shed"))


NASTY = [
    "a | b",
    "*star* _under_ `code`",
    "<i>x</i> & [l](u)",
    "# not a head",
    "- not a list",
    "1. nor this",
    "",
    "back\\slash",
]


@pytest.mark.parametrize("text", NASTY)
def test_no_text_means_anything_to_markdown(text: str) -> None:
    document = Document(
        "T", "about", [Section("S", [Bullets([text, "z"]), Table("", ["h", "i"], [[text, text]]), Paragraph(text)])]
    )

    read = Page(markdown.markdown(as_markdown(document), extensions=["tables"]))

    assert {tag for tag, _ in read.elements} <= {
        "h1",
        "h2",
        "p",
        "ul",
        "li",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
    }
    assert len(read.those("td")) == 2
    if text:
        assert [part.strip() for part in read.text].count(text) == 4


def test_a_narrow_terminal_breaks_cells_and_not_the_table() -> None:
    table = Table("", ["Item", "What is to be said of it"], [["heron-spare-props", "many words " * 8], ["B", "few"]])
    document = Document("T", "about", [Section("S", [table])])

    lines = as_text(document, width=50).splitlines()

    assert max(map(len, lines)) <= 50
    assert any(line.startswith("heron-spare-props  many words") for line in lines)


def test_columns_in_which_nothing_stands_are_left_out() -> None:
    assert Table.of("", ["a", "b", "c"], [["1", "", "x"], ["2", "", ""]]) == Table(
        "", ["a", "c"], [["1", "x"], ["2", ""]]
    )


def test_without_the_library_that_draws_words_stand_in_the_place_of_a_picture() -> None:
    def draw() -> str:
        raise ImportError("no module named matplotlib")

    page = as_html(Document("T", "about", [Section("S", [Picture("Pack A", "41 flights", draw)])]))

    assert "<svg" not in page
    assert "Pack A: 41 flights" in page


def test_matplotlib_is_loaded_for_a_page_only(told: Bench) -> None:
    code = (
        "import sys, time; from scheduler.cli.main import main; "
        f"main(['--home', {str(told.path)!r}, 'audit', *{list(SEASON)!r}]); "
        "sys.exit('matplotlib' in sys.modules)"
    )
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, cwd=Path(__file__).parents[2]).returncode == 0
    )


def test_a_season_that_is_not_over_is_judged_as_of_now(told: Bench) -> None:
    out = told("audit", "--from", "2026-03-01", "--to", "2026-12-31").out

    assert "judged as of 10 Apr 2026 13:00" in out


def test_a_season_that_has_not_begun_is_refused(told: Bench) -> None:
    answer = told("audit", "--from", "2027-03-01", "--to", "2027-04-01")

    assert answer.status == 2
    assert "lies ahead" in answer.err


def test_the_longest_is_one_that_was_settled_by_then(bench: Bench) -> None:
    """B was full for a day and a half; A still is, and only a job to come will settle that."""
    bench.log("charged", "B", "--at", "2026-04-05T09:00:00Z")
    bench.log("drained", "B", "58", "--at", "2026-04-07T21:00:00Z")
    bench.log("charged", "A", "--at", "2026-04-07T09:00:00Z")
    bench.log("booked", "barn", "--starts", "2026-04-14T09:00:00Z")

    out = bench("audit", "--from", "2026-04-01", "--to", "2026-04-10").out

    assert "the longest took 36 h (pack left full: B)" in " ".join(out.split())


def test_a_rule_that_could_not_be_judged_for_some_items_is_said_to_lack_entries(bench: Bench) -> None:
    bench.log("charged", "B", "--at", "2026-04-05T09:00:00Z")

    out = " ".join(bench("audit", "--from", "2026-04-01", "--to", "2026-04-10").out.split())

    assert "1 rule could not be judged for some items (see Coverage)" in out
    assert "no rule lacked" not in out


def test_a_rule_rung_and_then_taken_back_is_not_called_never_the_case(bench: Bench) -> None:
    bench.log("noticed", "B", "swollen", "--at", "2026-04-10T09:00:00Z", "--id", "slip")
    wake(Home(bench.path), Home(bench.path).setup(), moment("2026-04-10 12:00"))
    bench.log("struck", "slip")

    out = " ".join(bench("audit", "--from", "2026-04-10", "--to", "2026-04-10").out.split())

    assert "1 rule rang, but later entries took the cause back: Pack may be swollen." in out
