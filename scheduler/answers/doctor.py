"""Check the machine, the database, the channels and the daemon."""

import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.answers.fallback import daemon_rules, fallback_zone, say_in
from scheduler.base.findings import Refused
from scheduler.base.instants import DAY
from scheduler.base.text import clean, numbered
from scheduler.base.units import show_span
from scheduler.events.database import WAY_BACK
from scheduler.events.event import Event
from scheduler.facts.event_times import begins_at
from scheduler.home.folder import Home
from scheduler.home.items_without_rules import lines_on_items_without_rules
from scheduler.home.lock import running
from scheduler.home.setup import Channel, Setup
from scheduler.messages.outbox import Outbox
from scheduler.messages.senders import address

LEAST_FREE = 100 * 2**20
"""Bytes free on the disk below which that is pointed out."""
OLD_BACKUP = 7 * DAY
_START = "Start it: `shelfbell run`, or the unit in systemd/"


class Diagnosis(NamedTuple):
    """One thing checked: fine, or the fault and what to do."""

    about: str
    fine: bool
    said: str


def diagnose(home: Home, now: int, environ: Mapping[str, str]) -> Iterator[Diagnosis]:
    """Look at everything, basics first; if files are unreadable, only at the database.

    `environ`: where an address $NAME is looked up.
    """
    if not home.path.is_dir():
        yield Diagnosis("home", False, f"there is none at {home.path}; `shelfbell init` makes one")
        return
    yield _private(home)
    yield _disk(home)
    database = _database(home)
    yield database
    try:
        setup = home.setup()
    except Refused as refused:
        seen = _Patient(home, now, environ, fallback_zone(home, refused), refused=refused.findings[0].file)
        yield Diagnosis("files", False, f"{refused.findings[0]}; `shelfbell check` lists all {len(refused.findings)}")
    else:
        seen = _Patient(home, now, environ, setup.hours.zone, setup)
        yield Diagnosis("files", True, f"{len(setup.fleet.ids())} items, {len(list(setup.rules))} rules")
        if unseen := lines_on_items_without_rules(setup, setup.fleet.ids()):
            yield Diagnosis("rules", False, "; ".join(unseen))
    if database.fine and home.log.exists():
        yield from _in_use(seen)
    elif database.fine:
        yield from _channels(seen)
        yield _daemon(seen)


class _Patient(NamedTuple):
    """The home under examination.

    `setup`: None if its file `refused` is refused: then only the database can be examined. `zone`: None if unknown.
    """

    home: Home
    now: int
    environ: Mapping[str, str]
    zone: ZoneInfo | None
    setup: Setup | None = None
    refused: str = ""

    def say(self, instant: int | None) -> str:
        """Write an instant for people."""
        return "never" if instant is None else say_in(self.zone, instant, self.now)


def _in_use(at: _Patient) -> Iterator[Diagnosis]:
    yield _clock(at)
    if at.zone:
        yield Diagnosis("zone", True, at.zone.key)
    yield from _channels(at)
    yield _daemon(at)
    yield _backup(at)
    if at.setup:
        yield from _contradictions(at, at.setup)


def _private(home: Home) -> Diagnosis:
    open_to = [path.name for path in (home.path, home.log.path) if path.exists() and path.stat().st_mode & 0o077]
    if open_to:
        return Diagnosis(
            "access", False, f"others on this machine can read {', '.join(open_to)}: chmod -R go-rwx {home.path}"
        )
    return Diagnosis("access", True, "the home is yours alone")


def _disk(home: Home) -> Diagnosis:
    free = shutil.disk_usage(home.path).free
    said = f"{free // 2**20:,} MB free"
    return Diagnosis("disk", True, said) if free >= LEAST_FREE else Diagnosis("disk", False, f"{said}: make room")


def _database(home: Home) -> Diagnosis:
    try:
        if not home.log.exists():
            return Diagnosis("database", True, "none yet: an empty log")
        verdict = home.log.connection.execute("PRAGMA integrity_check").fetchone()[0]
        events = home.log.connection.execute("SELECT count(*) FROM events").fetchone()[0]
    except Refused as refused:  # it says what to do
        return Diagnosis("database", False, str(refused))
    except sqlite3.Error as error:
        verdict, events = str(error), 0
    if verdict == "ok":
        return Diagnosis("database", True, f"whole, {numbered(events, 'event')}")
    return Diagnosis("database", False, f"damaged: {clean(verdict)}. {WAY_BACK}")


def _channels(at: _Patient) -> Iterator[Diagnosis]:
    health = Outbox(at.home.log).channel_health()
    names = [channel.name for channel in at.setup.channels] if at.setup else list(health)
    if at.setup and not names:
        yield Diagnosis("channels", False, "none in shelfbell.yaml: nothing can ring")
    for name in names:
        found = health.get(name)
        about = f"channel {name}"
        if found is None:
            yield Diagnosis(about, False, f"never tried: `shelfbell ring {name}`")
        elif found.failing_since:
            why = f"{found.last_error or 'no reason kept'}; {found.waiting} waiting"
            yield Diagnosis(about, False, f"failing since {at.say(found.failing_since)}: {why}")
        else:
            yield Diagnosis(about, True, f"last success {at.say(found.last_sent)}")
    for channel in at.setup.channels if at.setup else ():
        yield from _address(at, channel)


def _address(at: _Patient, channel: Channel) -> Iterator[Diagnosis]:
    """Note an address that this environment does not give.

    No fault while a daemon runs, which may have it.
    """
    try:
        address(channel, at.environ)
    except Refused as refused:
        about = f"address of {channel.name}"
        if running(at.home.path):
            yield Diagnosis(about, True, f"{channel.url} is not set here; the daemon may have it")
        else:
            yield Diagnosis(about, False, str(refused))


def _daemon(at: _Patient) -> Diagnosis:
    woke = Outbox(at.home.log).state("woke_at")
    if woke is None:
        return Diagnosis("daemon", False, f"has never run here: nothing rings. {_START}")
    if not running(at.home.path):
        said = f"is not running, last woke {at.say(woke)}{_ago(at.now - woke)}: nothing rings. {_START}"
        return Diagnosis("daemon", False, said)
    by = f", by {daemon_rules(at.home, at.now, at.zone)}: {at.refused} is refused" if at.refused else ""
    return Diagnosis("daemon", True, f"running{by}, last woke {at.say(woke)}")


def _ago(span: int) -> str:
    """Write how long ago something was; "" where the clock has been set back since."""
    return f" ({show_span(span)} ago)" if span >= 0 else ""


def _backup(at: _Patient) -> Diagnosis:
    last = Outbox(at.home.log).state("backed_up_at")
    if last is None:
        return Diagnosis("backup", False, "none was made yet: `shelfbell backup FILE`, or the timer in systemd/")
    said = f"last {at.say(last)}"
    return (
        Diagnosis("backup", True, said)
        if at.now - last <= OLD_BACKUP
        else Diagnosis("backup", False, f"{said}: make a new one")
    )


def _contradictions(at: _Patient, setup: Setup) -> Iterator[Diagnosis]:
    found = [
        f"{first.id} and {second.id}: {craft} in the air twice at {at.say(second.at)}"
        for craft in setup.fleet.ids("aircraft")
        for first, second in overlapping(at.home.log.of(craft, "flown"))
    ]
    if found:
        yield Diagnosis("entries", False, f"contradict each other: {'; '.join(found[:5])}. Strike the wrong one")


def overlapping(flights: list[Event]) -> Iterator[tuple[Event, Event]]:
    """Yield neighbouring flights of one aircraft whose times overlap, in order."""
    whole = [flight for flight in flights if "flights" not in flight.fields]
    return ((one, two) for one, two in zip(whole, whole[1:], strict=False) if begins_at(two) < one.at)


def _clock(at: _Patient) -> Diagnosis:
    newest = at.home.log.newest()
    if newest is not None and newest.recorded_at > at.now:
        said = f"it shows {at.say(at.now)}, before the entry {newest.id} of {at.say(newest.recorded_at)}: set the clock"
        return Diagnosis("clock", False, said)
    return Diagnosis("clock", True, at.say(at.now))
