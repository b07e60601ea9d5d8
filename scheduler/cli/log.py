"""`shelfbell log WHAT ITEM ...`: one event in one line, and an answer."""

from itertools import takewhile

from scheduler.answers.describe_event import describe
from scheduler.answers.desk import Desk, no_such_job, setup_or_fallback
from scheduler.answers.entry import answer, unjudged
from scheduler.answers.entry_usage import usage
from scheduler.answers.typed_entry import require_field, require_kind, typed_events, typed_values
from scheduler.base.findings import Refused
from scheduler.base.typed_times import is_bare_day
from scheduler.cli.common import clock
from scheduler.events.fields import INSTANT
from scheduler.events.kinds import Kind
from scheduler.events.taking import take, to_line
from scheduler.events.validation import problems
from scheduler.facts.jobs import all_jobs
from scheduler.home.folder import Home

_COMMENT = "#"
"""Not every shell drops what follows, as in an entry that `due` offers with "# counts from Thu on"."""


def run_words(home: Home, words: list[str]) -> int:
    """Log what the words say and print what follows from it."""
    words = list(takewhile(_COMMENT.__ne__, words))
    if not words or words[0] in ("-h", "--help"):
        print(usage(words[1] if len(words) > 1 else None))
        return 0
    kind = require_kind(words[0])
    if words[1:2] in (["--help"], ["-h"]):
        print(usage(kind.what))
        return 0
    (setup, refused), now = setup_or_fallback(home), clock()
    events = typed_events(kind, words[1:], home.log, setup, now)
    _require(kind, events, Desk(home, setup, now), refused)
    lines = [(0, to_line(event)) for event in events]
    taken = take(home.log, lines, setup.fleet, now)
    home.write_cache()
    _poke(home)
    if not taken.ids:
        print("That is logged already.")
        return 0
    noons = _noons(kind, words[1:], taken.ids)
    told = answer if refused is None or list(setup.rules) else unjudged
    print(told(home, setup, taken.ids, now, noons))
    if refused:
        print("\n".join(_while_refused(Desk(home, setup, now), refused)))
    return 0


def _while_refused(at: Desk, refused: Refused) -> list[str]:
    """What the answer rests on while files of the home are refused, what is wrong, and what the daemon does."""
    from scheduler.answers.degraded import while_refused

    judged = "This is judged by the rules as they were before"
    unjudged = "The entry is kept, but I cannot judge what follows from it"
    return while_refused(
        at, refused, at.now, judged if list(at.setup.rules) else unjudged, ", then ask `shelfbell due`"
    )


def _noons(kind: Kind, words: list[str], ids: list[str]) -> list[str]:
    """A line where days were typed without a time of day: the noon that was taken for them."""
    values = typed_values(kind, words)
    bare = [name for name, text in values.items() if require_field(kind, name).type is INSTANT and is_bare_day(text)]
    if not bare:
        return []
    days = " and ".join(f'"{values[name]}"' for name in bare)
    return [
        f"  No time given with {days}: noon is taken. "
        f'If not: the same line with "{values[bare[0]]} 09:00" and --instead_of {" or ".join(ids)}.'
    ]


def _require(kind: Kind, events: list[dict[str, object]], desk: Desk, refused: Refused | None) -> None:
    """Raises Refused where an entry binds to something that is not there: an entry of its kind whose place it takes, an
    open reminder, a booked job."""
    if any(problems(event) for event in events):  # what is malformed is told when it is taken
        return
    _require_same_kind(kind, events[0].get("instead_of"), desk)
    if kind.what == "cancelled":
        _require_booked(str(events[0]["job"]), desk)
    elif kind.what in ("seen", "snoozed"):
        if refused and not list(desk.setup.rules):
            raise refused
        from scheduler.answers.seen import require_awaited, require_open

        for event in events:
            reminder = require_open(desk, str(event["rule"]), str(event["item"]))
            if "until_next" in event:
                require_awaited(reminder, str(event["until_next"]), desk.now)


def _require_same_kind(kind: Kind, replaced: object, desk: Desk) -> None:
    """Raises Refused where the entry whose place is taken is of another kind: the id is the slip then. A wrong item is
    put right in its place."""
    log = desk.home.log
    found = None if replaced is None else log.find(str(replaced))
    if found is None or found.what == kind.what or log.taken_back_by(found.id):  # told when it is taken
        return
    told = f"{found.id} is of another kind: {describe(found, desk.setup.hours.zone)} ({desk.say(found.at)})"
    anew = f"log {kind.what} without --instead_of (--at gives its time)"
    strike = f"If it is to go: `shelfbell log struck {found.id}`, then {anew}"
    way = f"A strike is for all time: {anew}" if found.what == "struck" else strike
    raise Refused.because(f"{told}. `shelfbell history` shows the ids. {way}")


def _require_booked(name: str, desk: Desk) -> None:
    store = desk.store()
    if name not in all_jobs(store):
        raise no_such_job(store, name, desk.now)
    if all_jobs(store)[name].events[-1].what == "cancelled":
        raise Refused.because(f"{name} is cancelled already")


def _poke(home: Home) -> None:
    from scheduler.home.notify_daemon import notify_daemon

    notify_daemon(home.place)
