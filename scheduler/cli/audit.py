"""`shelfbell audit --from TIME --to TIME`: the season audit, in the terminal, as Markdown and as one HTML page."""

import sys
from argparse import ArgumentParser, Namespace
from collections import Counter
from pathlib import Path

from scheduler.base.findings import Refused
from scheduler.base.shipped import folder
from scheduler.base.strict_yaml import read
from scheduler.cli.common import Desk, desk
from scheduler.cli.rehearse import stretch
from scheduler.events.event import Event
from scheduler.facts.wear import airtime_of, flights_of
from scheduler.home.folder import Home
from scheduler.messages.outbox import TRIAL, Outbox
from scheduler.reports.as_text import as_text
from scheduler.reports.audit import audit
from scheduler.reports.season import Logged, Season
from scheduler.reports.season_watch import look


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("--from", dest="start", metavar="TIME", required=True)
    parser.add_argument("--to", dest="end", metavar="TIME", required=True)
    parser.add_argument("--markdown", metavar="FILE", type=Path, help="write it as Markdown instead of printing it")
    parser.add_argument("--html", metavar="FILE", type=Path, help="write it as one HTML page instead of printing it")


def run(home: Home, args: Namespace) -> int:
    """Print the document, or write it."""
    at = desk(home)
    start, end = stretch(at, args.start, args.end)
    if start >= at.now:
        raise Refused.because(f"--from {args.start} lies ahead: an audit looks back (`shelfbell outlook` looks ahead)")
    document = audit(season_of(at, start, end))
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


def season_of(at: Desk, start: int, end: int) -> Season:
    """All that the audit of a stretch is made from."""
    judged_at = min(end, at.now)
    return Season(
        at, start, end, judged_at, *look(at, start, judged_at), _logged(at, start, judged_at),
        _corrected(at, start, judged_at), _sent(at, start, judged_at), files_off(at.home),
        frozenset(line.key.rule for line in Outbox(at.home.log).ledger().rung() if start <= line.at <= judged_at),
    )  # fmt: skip


def _logged(at: Desk, start: int, end: int) -> Logged:
    """What was logged of [start, end), as far as it is in force."""
    entries = flights = airtime = mishaps = 0
    by_pack: Counter[str] = Counter()
    for event, gone in at.home.log.history():
        if gone or event.what == "struck" or not start <= event.at < end:
            continue
        entries += 1
        mishaps += event.what == "mishap"
        if event.what == "flown":
            flights += flights_of(event)
            airtime += airtime_of(event)
            by_pack.update(dict.fromkeys(event.get("packs") or (), flights_of(event)))
    return Logged(entries, flights, airtime, mishaps, by_pack)


def _corrected(at: Desk, start: int, end: int) -> list[tuple[Event, Event]]:
    """What of [start, end) was taken back, or was taken back in it, each with the entry that did."""
    found = [(was, at.home.log.find(by)) for was, by in at.home.log.history() if by]
    pairs = [(was, by) for was, by in found if by and (start <= was.at < end or start <= by.recorded_at < end)]
    return sorted(pairs, key=lambda pair: pair[1].recorded_at)


def _sent(at: Desk, start: int, end: int) -> tuple[int, int]:
    rows = [row for row in Outbox(at.home.log).rows() if row.kind != TRIAL and start <= row.decided_at < end]
    return sum(row.state == "sent" for row in rows), sum(row.state == "given_up" for row in rows)


def files_off(home: Home) -> list[str]:
    """The shipped rule files that the home does not switch on."""
    name, path = home.files()[0]
    on = read(path.read_bytes(), name).data.get("practice") or []
    return [path.stem for path in sorted(folder("rules").glob("*.yaml")) if path.stem not in on]
