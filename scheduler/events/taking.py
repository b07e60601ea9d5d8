"""Intakes of events: all of what is given, or nothing."""

import json
import os
import re
import sqlite3
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import closing
from datetime import datetime
from functools import cache, reduce
from itertools import chain, islice
from typing import Any, NamedTuple, Protocol

from scheduler.base.findings import Finding, Refused, did_you_mean
from scheduler.base.instants import MINUTE, SECOND, parse_rfc3339, rfc3339, to_datetime
from scheduler.events.event import Event, concerned, target_of
from scheduler.events.kinds import KINDS
from scheduler.events.log import EventRow, Log, Transaction
from scheduler.events.plausible import ItemLike, impossible
from scheduler.events.validation import problems

FUTURE_ALLOWED = 5 * MINUTE
_LINES = 1000
"""Lines checked in one go."""
_FEW = 4
"""Parts checked in this process before others are started, which takes a while."""
_BATCH = 500
"""Rows written in one go."""
_CACHE = 64 * 1024
"""Kibibytes of the database held in memory at most: a large intake touches its indexes again and again, and takes
half the time."""
_ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"
"""In the order of their codes: ids sort as the numbers they were made of."""
_LENGTH = 8
_IDS = len(_ALPHABET) ** _LENGTH
_APART = len(_ALPHABET) ** 3
"""The distance of two ids made one after the other, on average: they differ in more than the last character."""


class Names(Protocol):
    """The fleet as the check knows it.

    It can be pickled: a large intake hands it to other processes.
    """

    def kind(self, item: str) -> str | None:
        """Return the kind of an item, or None."""

    def ids(self, *kinds: str) -> list[str]:
        """Return the ids of all items, or of those of some kinds."""

    def get(self, item: str) -> ItemLike | None:
        """Return the item of that id, or None."""


class Taken(NamedTuple):
    """What an intake did: ids appended, and how many were in the log already."""

    ids: list[str]
    known: int


class NewIds:
    """Maker of an intake's ids: eight characters that a person can read out and type.

    Of two lines the later has the greater id, whichever process makes it, and all are greater than the one they come
    `after`: entries recorded at the same instant are then in the order in which they were written.
    """

    def __init__(self, after: str = "") -> None:
        self._first = int.from_bytes(os.urandom(8)) % (_IDS - _IDS // 8)
        if len(after) == _LENGTH and set(after) <= set(_ALPHABET):
            self._first = 1 + reduce(lambda number, digit: number * len(_ALPHABET) + _ALPHABET.index(digit), after, 0)

    def __call__(self, place: int) -> str:
        """Return the id of the line at a place in the intake, from 0 on."""
        number = (self._first + place * _APART + int.from_bytes(os.urandom(8)) % _APART) % _IDS
        digits = []
        for _ in range(_LENGTH):
            number, digit = divmod(number, len(_ALPHABET))
            digits.append(_ALPHABET[digit])
        return "".join(reversed(digits))


def to_line(event: dict[str, object]) -> str:
    """Return one event as one line of JSON."""
    return json.dumps(event, ensure_ascii=False)


Part = tuple[int, list[tuple[int, str]]]
"""Some lines with their numbers, and how many lines of the intake come before them."""
Checked = tuple[list[tuple[int, tuple[Any, ...], bool]], list[Finding]]
"""What came of a part: of each good line its number, its row, and whether it is new (it carried no
`recorded_at`); and what is wrong with the others.

A row is a plain tuple here: it goes from one process to another in half the time.
"""
Check = Callable[[Part], Checked]


def check_here(check: Check, parts: Iterable[Part]) -> Generator[Checked, None, None]:
    """Check parts in this process, in order."""
    yield from map(check, parts)


def take(
    log: Log,
    lines: Iterable[tuple[int, str]],
    names: Names,
    now: int,
    file: str = "",
    check_parts: Callable[[Check, Iterable[Part]], Generator[Checked, None, None]] = check_here,
    all_new: bool = False,
) -> Taken:
    """Append the events of numbered JSON lines, in one transaction.

    An id that is there already with the same content is skipped. The result for lines that carry `id` and `recorded_at`
    does not depend on their order, nor on how they are split over intakes, as long as no id comes with two
    `recorded_at`: then the first to arrive stays. A line without `recorded_at` is new: it can correct only an event
    that counts, by the log and the lines before it. `all_new`: the same for all lines. `check_parts`: applies a check,
    which can be pickled, to each of many parts and yields the results in order. Raises Refused with every finding, and
    then nothing of `lines` was written.
    """
    parts = _parts(iter(lines))
    intake = _Intake(log, file, all_new)
    log.connection.execute(f"PRAGMA cache_size = -{_CACHE}")
    with log.transaction() as transaction:
        place, check = log.place(), _Check(names, now, file, NewIds(log.last_id(now)))
        for part in islice(parts, _FEW):
            intake.add(check(part), transaction)
        more = next(parts, None)
        if more is not None:
            with transaction.unguarded(), closing(check_parts(check, chain([more], parts))) as checked:
                for result in checked:
                    intake.add(result, transaction)
                intake.flush(transaction)
        intake.flush(transaction)
        if intake.findings:
            raise Refused(sorted(intake.findings, key=lambda finding: finding.line))
        transaction.file_corrections(place)
    return Taken(intake.ids, intake.known)


def _parts(lines: Iterator[tuple[int, str]]) -> Iterator[Part]:
    before = 0
    while part := list(islice(lines, _LINES)):
        yield before, part
        before += len(part)


class _Check:
    """The check of lines, which needs nothing but the fleet and the time."""

    def __init__(self, names: Names, now: int, file: str, new_id: NewIds) -> None:
        self._names = names
        self._now = now
        self._latest = now + FUTURE_ALLOWED
        self._file = file
        self._kind = cache(names.kind)
        self._new_id = new_id
        self._findings: list[Finding] = []

    def __reduce__(self) -> tuple[object, ...]:
        return _Check, (self._names, self._now, self._file, self._new_id)  # the cache cannot be pickled

    def __call__(self, part: Part) -> Checked:
        before, lines = part
        self._findings = []
        rows = [
            checked
            for place, (number, line) in enumerate(lines, before)
            if (checked := self._checked(place, number, line)) is not None
        ]
        return rows, self._findings

    def _checked(self, place: int, number: int, line: str) -> tuple[int, tuple[Any, ...], bool] | None:
        """Check one line; None where it is empty, or something is wrong with it."""
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
        row = None if wrong else self._row(place, number, event, line)
        return None if row is None else (number, row, "recorded_at" not in event)

    def _row(self, place: int, number: int, event: dict[str, Any], line: str) -> tuple[Any, ...] | None:
        """Return the values of an EventRow."""
        at = parse_rfc3339(event["at"])
        recorded_at = parse_rfc3339(event["recorded_at"]) if "recorded_at" in event else self._now
        if at > self._latest or recorded_at > self._latest:
            name = "at" if at > self._latest else "recorded_at"
            self._find(number, f"{name} {event[name]} lies in the future; it is {_beside(event[name], self._now)}")
            return None
        parted = [name for name in _WHOLE[event["what"]] if isinstance(event.get(name), float)]
        if parted or "id" not in event or "recorded_at" not in event:
            event = self._completed(event, recorded_at, place) | {name: int(event[name]) for name in parted}
            line = to_line(event)
        return event["id"], at, recorded_at, event["what"], target_of(event), line.strip(), concerned(event)

    def _completed(self, event: dict[str, Any], recorded_at: int, place: int) -> dict[str, Any]:
        """Return the event with its id and `recorded_at`, its fields in the written order."""
        head = {"at": event["at"], "recorded_at": event.get("recorded_at", rfc3339(recorded_at))}
        head["id"] = event["id"] if "id" in event else self._new_id(place)
        return head | {k: v for k, v in event.items() if k not in head}

    def _find(self, number: int, text: str, column: int = 0) -> None:
        self._findings.append(Finding(self._file, number, column, text))


class _Intake:
    """One intake under way: writes in batches what was checked."""

    def __init__(self, log: Log, file: str, all_new: bool) -> None:
        self._log = log
        self._file = file
        self._all_new = all_new
        self.findings: list[Finding] = []
        self.ids: list[str] = []
        self.known = 0
        self._batch: dict[str, tuple[int, EventRow]] = {}

    def add(self, checked: Checked, transaction: Transaction) -> None:
        """Put the good lines of a part with the batch."""
        rows, findings = checked
        self.findings += findings
        for number, fields, is_new in rows:
            row = EventRow(*fields)
            corrects = (is_new or self._all_new) and row.target is not None
            if corrects or row.id in self._batch or len(self._batch) >= _BATCH:
                self.flush(transaction)
            if corrects and (wrong := self._uncorrectable(row)):
                self._find(number, wrong)
            else:
                self._batch[row.id] = (number, row)

    def _uncorrectable(self, row: EventRow) -> str:
        """Return why a new row cannot correct its target; "" where it can."""
        name = str(row.target)
        target, gone = self._log.find(name), self._log.taken_back_by(name)
        if self._log.find(row.id) is not None:  # held against what is there later on
            return ""
        if target is None:
            verb = "strike" if row.what == "struck" else "replace"
            return f"there is no event {name!r} to {verb}: `shelfbell history` shows the ids"
        if gone is not None:
            by: Event = self._log.find(gone)  # type: ignore[assignment]
            if by.what == "struck":
                return f"event {name} was struck already, by {gone}: to undo that, log the event again"
            done = "was replaced already, by" if by.target == name else "does not count, in its place there is"
            return f"event {name} {done} {gone}: use that id"
        if target.what == row.what == "struck":
            return f"{name} is a strike, for all time: log the event again that it took back"
        return ""

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
    """Return now with the offset of another time, to the second."""
    offset = str(text)[-6:]
    now = now // SECOND * SECOND
    if offset[-1] in "Zz":
        return rfc3339(now)
    return to_datetime(now).astimezone(datetime.fromisoformat(f"2000-01-01T00:00:00{offset}").tzinfo).isoformat()


def _content(line: str) -> dict[str, object]:
    return {name: value for name, value in json.loads(line).items() if name != "recorded_at"}


class _Twins(ValueError):
    """A key occurs twice."""


def _no_twins(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        raise _Twins(f"{next(name for name in names if names.count(name) > 1)!r} is given twice")
    return found


def _no_constant(text: str) -> object:
    raise _Twins(f"{text} is not a number of JSON")


_STRICT = json.JSONDecoder(object_pairs_hook=_no_twins, parse_constant=_no_constant)
_PLAIN = json.JSONDecoder(parse_constant=_no_constant)


_HIDING = re.compile(r'"[ \t\r\n]').search


def _decoded(line: str) -> Any:
    """Return the JSON value of a line without repeated keys. Raises ValueError.

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


_WHOLE = {
    what: tuple(f.name for f in kind.fields if f.type.schema.get("type") == "integer") for what, kind in KINDS.items()
}
"""The fields that hold whole numbers: JSON may write one as 2.0, the log holds it as 2."""
_NAMING = {
    what: tuple((f.name, tuple(f.type.names.split(","))) for f in kind.fields if f.type.names not in ("", "*"))
    for what, kind in KINDS.items()
}


def references(event: dict[str, Any], kind: Callable[[Any], str | None], names: Names) -> list[str]:
    """Return the names in an event that the fleet does not know as the right kind."""
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
