"""Gather the data of an audit."""

from collections import Counter

from scheduler.answers.desk import Desk
from scheduler.base.progress import Progress, nobody
from scheduler.base.shipped import folder
from scheduler.base.strict_yaml import read
from scheduler.events.event import Event
from scheduler.facts.event_times import airtime_of, flights_of
from scheduler.home.folder import Home
from scheduler.messages.outbox import TRIAL, Outbox
from scheduler.reports.season import Logged, Season
from scheduler.reports.season_watch import look


def season_of(at: Desk, start: int, end: int, tell: Progress = nobody) -> Season:
    """Gather all that the audit of an interval shows."""
    judged_at = min(end, at.now)
    return Season(
        at, start, end, judged_at, *look(at, start, judged_at, tell), _logged(at, start, judged_at),
        _corrected(at, start, judged_at), _sent(at, start, judged_at), files_off(at.home),
        frozenset(line.key.rule for line in Outbox(at.home.log).ledger().rings() if start <= line.at <= judged_at),
    )  # fmt: skip


def _logged(at: Desk, start: int, end: int) -> Logged:
    """Count the entries in [start, end) that were not taken back."""
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
    """Pair entries with what took them back, if either falls in [start, end)."""
    found = [(was, at.home.log.find(by)) for was, by in at.home.log.history() if by]
    pairs = [(was, by) for was, by in found if by and (start <= was.at < end or start <= by.recorded_at < end)]
    return sorted(pairs, key=lambda pair: pair[1].recorded_at)


def _sent(at: Desk, start: int, end: int) -> tuple[int, int]:
    rows = [row for row in Outbox(at.home.log).rows() if row.kind != TRIAL and start <= row.decided_at < end]
    return sum(row.state == "sent" for row in rows), sum(row.state == "given_up" for row in rows)


def files_off(home: Home) -> list[str]:
    """Return the shipped rule files that the home does not switch on."""
    name, path = home.files()[0]
    on = read(path.read_bytes(), name).data.get("practice") or []
    return [path.stem for path in sorted(folder("rules").glob("*.yaml")) if path.stem not in on]
