"""Taking events in: all of what is given, or nothing."""

import json
import os
import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from datetime import datetime
from functools import cache
from itertools import chain, islice
from typing import Any, NamedTuple, Protocol

from scheduler.base.findings import Finding, Refused, did_you_mean
from scheduler.base.instants import MINUTE, SECOND, parse_rfc3339, rfc3339, to_datetime
from scheduler.events.event import concerned
from scheduler.events.kinds import KINDS
from scheduler.events.log import EventRow, Log, Transaction
from scheduler.events.plausible import ItemLike, impossible
from scheduler.events.validation import problems

FUTURE_ALLOWED = 5 * MINUTE
_LINES = 1000
"""Lines checked in one go."""
_FEW = 4
"""So many parts are checked in this process before others are asked, which take a while to start."""
_BATCH = 500
"""Rows written in one go."""
_CACHE = 64 * 1024
"""Kibibytes of the database held in memory at most: a large intake touches its indexes again and again, and takes
half the time."""
_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"


class Names(Protocol):
    """What the check of references needs to know of the fleet. A large intake hands it, pickled, to other processes."""

    def kind(self, item: str) -> str | None:
        """The kind of an item, or None."""

    def ids(self, *kinds: str) -> list[str]:
        """The ids of all items, or of those of some kinds."""

    def get(self, item: str) -> ItemLike | None:
        """The item of that id, or None."""


class Taken(NamedTuple):
    """What an intake did: ids appended, and how many were in the log already."""

    ids: list[str]
    known: int


def new_id() -> str:
    """A fresh event id: eight characters that a person can read out and type."""
    return "".join(_ALPHABET[byte % len(_ALPHABET)] for byte in os.urandom(8))


def to_line(event: dict[str, object]) -> str:
    """One event as one line of JSON."""
    return json.dumps(event, ensure_ascii=False)


def take(log: Log, lines: Iterable[tuple[int, str]], names: Names, now: int, file: str = "") -> Taken:
    """Append the events of numbered JSON lines, in one transaction.

    An id that is there already with the same content is passed over. Raises Refused with every finding, and then
    nothing of `lines` was written.
    """
    lines = iter(lines)
    parts = iter(lambda: list(islice(lines, _LINES)), [])
    intake, check = _Intake(log, file), _Check(names, now, file)
    log.connection.execute(f"PRAGMA cache_size = -{_CACHE}")
    with log.transaction() as transaction:
        for part in islice(parts, _FEW):
            intake.add(check(part), transaction)
        more = next(parts, None)
        if more is not None:
            intake.add_many(chain([more], parts), (names, now, file), transaction)
        intake.flush(transaction)
        if intake.findings:
            raise Refused(sorted(intake.findings, key=lambda finding: finding.line))
    return Taken(intake.ids, intake.known)


_Lines = list[tuple[int, str]]


_Part = tuple[list[tuple[int, tuple[Any, ...]]], list[Finding]]
"""What some lines hold: the number and row of each that is good, and what is wrong with the others.

A row is a plain tuple here: it goes from one process to another in half the time.
"""


class _Check:
    """The check of lines, which rests on nothing but the fleet and the time."""

    def __init__(self, names: Names, now: int, file: str) -> None:
        self._names = names
        self._now = now
        self._latest = now + FUTURE_ALLOWED
        self._file = file
        self._kind = cache(names.kind)
        self._findings: list[Finding] = []

    def __call__(self, lines: _Lines) -> _Part:
        self._findings = []
        rows = [(number, row) for number, line in lines if (row := self._checked(number, line)) is not None]
        return rows, self._findings

    def _checked(self, number: int, line: str) -> tuple[Any, ...] | None:
        """The row of a line; None where it holds none, or something is wrong with it."""
        if not line or line.isspace():
            return None
        try:
            event = _decoded(line)
        except (ValueError, RecursionError) as error:
            self._find(number, _broken(error), getattr(error, "colno", 0))
            return None
        wrong = problems(event) or references(event, self._kind, self._names)
        if not wrong and "recorded_at" not in event:
            wrong = impossible(event, self._names.get)
        for text in wrong:
            self._find(number, text)
        return None if wrong else self._row(number, event, line)

    def _row(self, number: int, event: dict[str, Any], line: str) -> tuple[Any, ...] | None:
        """The values of a Row."""
        at = parse_rfc3339(event["at"])
        recorded_at = parse_rfc3339(event["recorded_at"]) if "recorded_at" in event else self._now
        if at > self._latest or recorded_at > self._latest:
            name = "at" if at > self._latest else "recorded_at"
            self._find(number, f"{name} {event[name]} lies in the future; it is {_beside(event[name], self._now)}")
            return None
        if "id" not in event or "recorded_at" not in event:
            event = _completed(event, recorded_at)
            line = to_line(event)
        target = event.get("event") if event["what"] == "struck" else event.get("instead_of")
        return event["id"], at, recorded_at, event["what"], target, line.strip(), concerned(event)

    def _find(self, number: int, text: str, column: int = 0) -> None:
        self._findings.append(Finding(self._file, number, column, text))


class _Intake:
    """One intake under way: writes in batches what was checked."""

    def __init__(self, log: Log, file: str) -> None:
        self._log = log
        self._file = file
        self.findings: list[Finding] = []
        self.ids: list[str] = []
        self.known = 0
        self._batch: dict[str, tuple[int, EventRow]] = {}

    def add(self, part: _Part, transaction: Transaction) -> None:
        """Put what some lines hold with the batch."""
        rows, findings = part
        self.findings += findings
        for number, fields in rows:
            row = EventRow(*fields)
            if row.target is not None or row.id in self._batch or len(self._batch) >= _BATCH:
                self.flush(transaction)
            self._batch[row.id] = (number, row)
            if row.target is not None:
                self._correct(number, row, transaction)

    def add_many(self, parts: Iterator[_Lines], given: tuple[Names, int, str], transaction: Transaction) -> None:
        """Check many lines, on all cores, and write them; `given`: what the check is made of."""
        from scheduler.daemon.spread import spread

        with transaction.unguarded(), closing(spread(_Check, given, parts, here=True)) as checked:
            for part in checked:
                self.add(part, transaction)
            self.flush(transaction)

    def _correct(self, number: int, row: EventRow, transaction: Transaction) -> None:
        """File a correction under the names of what it corrects; only an event in force can be corrected."""
        target, gone = self._log.find(str(row.target)), self._log.taken_back_by(str(row.target))
        if target is None:
            self._find(number, f"there is no event {row.target!r} to {_verb(row)}: `shelfbell history` shows the ids")
        elif gone == row.id:
            pass
        elif gone is not None:
            self._find(number, f"event {row.target} is not in force any more: {gone} took its place or struck it")
        elif target.what == row.what == "struck":
            self._find(number, f"{row.target} is a strike, for all time: log anew what it took back")
        else:
            names = tuple(dict.fromkeys([*row.concerned, *self._log.filed_under(target)]))
            self._batch[row.id] = (number, row._replace(concerned=names))
            self.flush(transaction)
            return
        self._pass_over_known(transaction)
        self._batch.pop(row.id, None)

    def flush(self, transaction: Transaction) -> None:
        """Write the batch, less what is there already."""
        self._pass_over_known(transaction)
        rows = [row for _, row in self._batch.values()]
        self._batch.clear()
        if rows:  # whatever was found so far, so that what follows is not blamed for it: all is undone in the end
            try:
                transaction.append(rows)
            except sqlite3.Error as error:
                raise Refused.because(f"nothing was written: {error}") from None
            self.ids += [row.id for row in rows]

    def _pass_over_known(self, transaction: Transaction) -> None:
        marks = ", ".join("?" * len(self._batch))
        there = transaction.execute(f"SELECT id, body FROM events WHERE id IN ({marks})", list(self._batch))
        for event_id, body in there.fetchall():
            number, row = self._batch.pop(event_id)
            if _content(row.body) == _content(body):
                self.known += 1
            else:
                self._find(number, f"id {event_id!r} is there already with other content: {body}")

    def _find(self, number: int, text: str) -> None:
        self.findings.append(Finding(self._file, number, 0, text))


def _beside(text: object, now: int) -> str:
    """Now, written as the time beside it: with the same offset, to the second."""
    offset = str(text)[-6:]
    now = now // SECOND * SECOND
    if offset[-1] in "Zz":
        return rfc3339(now)
    return to_datetime(now).astimezone(datetime.fromisoformat(f"2000-01-01T00:00:00{offset}").tzinfo).isoformat()


def _verb(row: EventRow) -> str:
    return "strike" if row.what == "struck" else "replace"


def _completed(event: dict[str, object], recorded_at: int) -> dict[str, object]:
    """The event with its id and the time it was told, in the order in which lines are written."""
    head = {"at": event["at"], "recorded_at": event.get("recorded_at", rfc3339(recorded_at))}
    return head | {"id": event.get("id", new_id())} | {k: v for k, v in event.items() if k not in (*head, "id")}


def _content(line: str) -> dict[str, object]:
    return {name: value for name, value in json.loads(line).items() if name != "recorded_at"}


class _Twins(ValueError):
    """A key stands twice."""


def _no_twins(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        raise _Twins(f"{next(name for name in names if names.count(name) > 1)!r} stands twice")
    return found


def _no_constant(text: str) -> object:
    raise _Twins(f"{text} is not a number of JSON")


_STRICT = json.JSONDecoder(object_pairs_hook=_no_twins, parse_constant=_no_constant)
_PLAIN = json.JSONDecoder(parse_constant=_no_constant)


_HIDING = re.compile(r'"[ \t\r\n]').search


def _decoded(line: str) -> Any:
    """The JSON value of a line in which no key stands twice. Raises ValueError.

    Looking at each pair takes twice as long, so it is left out where there are as many keys as quotes before a colon,
    and no quote before a blank, that could hide another.
    """
    try:
        event, end = _PLAIN.raw_decode(line)
    except ValueError:  # the other says it of the whole line
        return _STRICT.decode(line)
    alone = isinstance(event, dict) and line.count('":') == len(event) and not _HIDING(line)
    return event if alone and not line[end:].strip() else _STRICT.decode(line)


def _broken(error: Exception) -> str:
    return str(error) if isinstance(error, _Twins) else f"is not JSON: {getattr(error, 'msg', error)}"


_NAMING = {
    what: tuple((f.name, tuple(f.type.names.split(","))) for f in kind.fields if f.type.names not in ("", "*"))
    for what, kind in KINDS.items()
}


def references(event: dict[str, Any], kind: Callable[[Any], str | None], names: Names) -> list[str]:
    """Names in the event that the fleet does not know, or knows as another kind."""
    found = []
    for field, wanted in _NAMING[event["what"]]:
        value = event.get(field, ())
        for name in (value,) if isinstance(value, str) else value:
            if kind(name) not in wanted:
                found.append(_unknown(event["what"], name, ",".join(wanted), kind(name), names))
    return found


def _unknown(what: str, name: str, wanted: str, kind: str | None, names: Names) -> str:
    if kind is not None:
        return f"{name!r} is of kind {kind}; {what} concerns {wanted.replace(',', ', ')}"
    near = did_you_mean(name, names.ids(*wanted.split(",")))
    return f"fleet.yaml knows no {wanted.replace(',', ' or ')} {name!r}{near}"
