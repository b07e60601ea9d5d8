"""Log an entry and return what follows from it: the one way in for typed words."""

from itertools import takewhile
from typing import NamedTuple

from scheduler.answers.describe_event import describe
from scheduler.answers.desk import Desk, no_such_job
from scheduler.answers.entry_effects import Effects, effects_of
from scheduler.answers.entry_text import effect_lines, logged_lines
from scheduler.answers.fallback import refused_lines, setup_or_fallback
from scheduler.answers.typed_entry import require_field, require_kind, typed_events, typed_values
from scheduler.base.findings import Refused
from scheduler.base.typed_times import is_bare_day
from scheduler.events.fields import INSTANT
from scheduler.events.kinds import Kind
from scheduler.events.taking import take, to_line
from scheduler.events.validation import problems
from scheduler.facts.jobs import all_jobs
from scheduler.home.folder import Home
from scheduler.home.notify_daemon import notify_daemon

_COMMENT = "#"
"""Not every shell drops what follows, as in an entry that `due` offers with "# counts from Thu on"."""


class LoggedAnswer(NamedTuple):
    """The answer to logging: ids of the new events, lines for people, what changed.

    `ids` is empty where all was logged already; `effects` is None then, and where no rules can judge.
    """

    ids: list[str]
    lines: list[str]
    effects: Effects | None = None


def log_words(home: Home, words: list[str], now: int, via: str = "log") -> LoggedAnswer:
    """Log the entry that typed words mean: a kind, then fields by position or name.

    `via`: how they came. While files of the home are refused, the answer follows the files that last passed, and says
    so. Raises Refused; nothing was written then.
    """
    kind, typed = _split(words)
    setup, refused = setup_or_fallback(home)
    desk = Desk(home, setup, now)
    events = typed_events(kind, typed, home.log, setup, now)
    _require_bound(kind, events, desk, refused)
    ids = log_events(desk, events, via)
    if not ids:
        return LoggedAnswer([], ["Already logged."])
    try:
        answer = _answer(desk, ids, _noon_lines(kind, typed, ids), judged=refused is None or bool(list(setup.rules)))
        return answer._replace(lines=[*answer.lines, *_while_refused(desk, refused)]) if refused else answer
    except Exception as error:  # the entry is in the log: no fault of the answer may read as if it were not
        return LoggedAnswer(ids, _bare_lines(kind, ids, error))


def log_events(desk: Desk, events: list[dict[str, object]], via: str) -> list[str]:
    """Append events, all or none, wake the daemon, return the new ids. Raises Refused."""
    lines = [(0, to_line(event | {"via": via})) for event in events]
    ids = take(desk.home.log, lines, desk.setup.fleet, desk.now).ids
    desk.home.write_cache()
    notify_daemon(desk.home.place)
    return ids


def _split(words: list[str]) -> tuple[Kind, list[str]]:
    what, *rest = [*takewhile(_COMMENT.__ne__, words)] or [""]
    return require_kind(what), rest


def _answer(desk: Desk, ids: list[str], assumed: list[str], judged: bool) -> LoggedAnswer:
    """Return the answer to new events; without rules, leave out their effects."""
    events = [event for event in map(desk.home.log.find, ids) if event is not None]
    store = desk.store()
    effects = effects_of(desk, store, events) if judged else None
    lines = logged_lines(desk, store, events, assumed)
    return LoggedAnswer(ids, lines + (effect_lines(desk, effects) if effects else []), effects)


def _bare_lines(kind: Kind, ids: list[str], error: Exception) -> list[str]:
    """Say that the entry was logged, after a failure of the answer."""
    return [
        f"Logged: {kind.what} ({', '.join(ids)}).",
        f"What follows from it I cannot say, for the answer broke: {type(error).__name__}: {error}. "
        "The entry is kept; `shelfbell doctor` looks closer.",
    ]


def _while_refused(at: Desk, refused: Refused) -> list[str]:
    judged = "This is judged by the rules as they were before"
    unjudged = "The entry is kept, but I cannot judge what follows from it"
    return refused_lines(
        at, refused, at.now, judged if list(at.setup.rules) else unjudged, ", then ask `shelfbell due`"
    )


def _noon_lines(kind: Kind, words: list[str], ids: list[str]) -> list[str]:
    """Say that noon was assumed for days typed without a time of day."""
    values = typed_values(kind, words)
    bare = [name for name, text in values.items() if require_field(kind, name).type is INSTANT and is_bare_day(text)]
    if not bare:
        return []
    days = " and ".join(f'"{values[name]}"' for name in bare)
    return [
        f"  No time given with {days}: noon is taken. "
        f'If not: the same line with "{values[bare[0]]} 09:00" and --instead_of {" or ".join(ids)}.'
    ]


def _require_bound(kind: Kind, events: list[dict[str, object]], desk: Desk, refused: Refused | None) -> None:
    """Raise Refused if an entry refers to something that does not exist.

    That is an entry of its kind to replace, an open reminder, or a booked job.
    """
    if any(problems(event) for event in events):  # `take` says what is malformed
        return
    _require_same_kind(kind, events[0].get("instead_of"), desk)
    if kind.what == "cancelled":
        _require_booked(str(events[0]["job"]), desk)
    elif kind.what in ("seen", "snoozed"):
        if refused and not list(desk.setup.rules):
            raise refused
        from scheduler.answers.open_reminder import require_awaited, require_open

        for event in events:
            reminder = require_open(desk, str(event["rule"]), str(event["item"]))
            if "until_next" in event:
                require_awaited(reminder, str(event["until_next"]), desk.now)


def _require_same_kind(kind: Kind, replaced: object, desk: Desk) -> None:
    """Raise Refused if the replaced entry is of another kind: the id is wrong then.

    A wrong item, however, is corrected by replacing its entry.
    """
    log = desk.home.log
    found = None if replaced is None else log.find(str(replaced))
    if found is None or found.what == kind.what or log.taken_back_by(found.id):  # `take` refuses the first and last
        return
    other = f"{found.id} is of another kind: {describe(found, desk.setup.hours.zone)} ({desk.say(found.at)})"
    new = f"log {kind.what} without --instead_of (--at gives its time)"
    strike = f"If it is to go: `shelfbell log struck {found.id}`, then {new}"
    way = f"A strike is for all time: {new}" if found.what == "struck" else strike
    raise Refused.because(f"{other}. `shelfbell history` shows the ids. {way}")


def _require_booked(name: str, desk: Desk) -> None:
    store = desk.store()
    if name not in all_jobs(store):
        raise no_such_job(store, name, desk.now)
    if all_jobs(store)[name].events[-1].what == "cancelled":
        raise Refused.because(f"{name} is cancelled already")
