"""`shelfbell log WHAT ITEM ...`: one event in one line, and an answer."""

from functools import partial
from itertools import takewhile

from scheduler.answers.entry import answer, unjudged
from scheduler.answers.entry_usage import TYPED, short_usage, usage
from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import SECOND, moment_near, parse_rfc3339, rfc3339
from scheduler.base.typed_times import is_bare_day, is_recurring, parse_day, parse_time
from scheduler.cli.common import Desk, clock, describe, no_such_job, setup_or_spare
from scheduler.events.check import problems
from scheduler.events.fields import DAY, INSTANT
from scheduler.events.kinds import KINDS, Field, Kind, field
from scheduler.events.log import Log
from scheduler.events.taking import FUTURE_ALLOWED, take, to_line
from scheduler.fleet.id_ranges import expand
from scheduler.home.folder import Home
from scheduler.home.setup import Setup

_AHEAD = ("starts", "ends", "leaves", "until", "from", "to")
_COMMENT = "#"
"""Not every shell drops what follows, as in an entry that `due` offers with "# counts from Thu on"."""
_ENDS = {"ends": "starts", "to": "from"}
"""The fields that end what another begins: a bare clock time or weekday is the next one after it."""


def run_words(home: Home, words: list[str]) -> int:
    """Log what the words say and print what follows from it."""
    words = list(takewhile(_COMMENT.__ne__, words))
    if not words or words[0] in ("-h", "--help"):
        print(usage(words[1] if len(words) > 1 else None))
        return 0
    kind = _kind(words[0])
    if words[1:2] in (["--help"], ["-h"]):
        print(usage(kind.what))
        return 0
    (setup, refused), now = setup_or_spare(home), clock()
    events = typed_events(kind, words[1:], home.log, setup, now)
    _require(kind, events, Desk(home, setup, now), refused)
    lines = [(0, to_line(event)) for event in events]
    taken = take(home.log, lines, setup.fleet, now)
    home.keep()
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
    return while_refused(at, refused, judged if list(at.setup.rules) else unjudged, ", then ask `shelfbell due`")


def _noons(kind: Kind, words: list[str], ids: list[str]) -> list[str]:
    """A line where days were typed without a time of day: the noon that was taken for them."""
    values = _typed_values(kind, words)
    bare = [name for name, text in values.items() if _field(kind, name).type is INSTANT and is_bare_day(text)]
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
        from scheduler.cli.seen import require_awaited, require_open

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
    book = desk.book()
    if name not in book.jobs:
        raise no_such_job(book, name, desk.now)
    if book.jobs[name].events[-1].what == "cancelled":
        raise Refused.because(f"{name} is cancelled already")


def _kind(word: str) -> Kind:
    if word not in KINDS:
        near = did_you_mean(word, KINDS)
        raise Refused.because(f"there is no kind of event {word!r}{near}; `shelfbell log --help` lists them")
    return KINDS[word]


def typed_events(kind: Kind, words: list[str], log: Log, setup: Setup, now: int) -> list[dict[str, object]]:
    """The events that typed words mean: one for each item where several are given. What takes the place of an entry of
    the log has its time unless another is given. Raises Refused."""
    values = _typed_values(kind, words)
    event: dict[str, object] = {"at": rfc3339(_at(values, log, setup, now), setup.hours.zone), "what": kind.what}
    for name, text in values.items():
        if name != "at":
            event[name] = _read(_field(kind, name), text, setup, now)
    for end, start in _ENDS.items():
        if end in values and start in event and field(kind, end).type is INSTANT:  # type: ignore[union-attr]
            event[end] = _after(str(event[start]), str(event[end]), values[end], setup)
    _require_no_item_astray(kind, values, event, setup)
    subjects = event.get("item") if kind.subject == "item" else None
    if isinstance(subjects, str) and field(kind, "item").type.names != "*":  # type: ignore[union-attr]
        return [event | {"item": item} for item in expand(subjects, setup.fleet)]
    return [event]


def _after(start: str, end: str, text: str, setup: Setup) -> str:
    """An end typed as a bare clock time or weekday, moved on where it would come before its start."""
    began, zone = parse_rfc3339(start), setup.hours.zone
    if parse_rfc3339(end) > began or not is_recurring(text):
        return end
    return rfc3339(parse_time(text, began, zone, ahead=True), zone)


def _require_no_item_astray(kind: Kind, values: dict[str, str], event: dict[str, object], setup: Setup) -> None:
    """Raises Refused for "charged O1 O2": an item where the next field was expected."""
    for name, text in values.items():
        wanted = _field(kind, name).type
        if not wanted.names and wanted.check(event.get(name)) is not None and text in setup.fleet:
            first = next((str(values[f]) for f in ("packs", "item", "carries") if f in values), "")
            right = f"several items go by comma: {first},{text}" if first else short_usage(kind)
            raise Refused.because(f"{text} stands where {name} is expected; {right}")


def _typed_values(kind: Kind, words: list[str]) -> dict[str, str]:
    values: dict[str, str] = {}
    loose: list[str] = []
    rest = iter(words)
    for word in rest:
        if word.startswith("--"):
            name, equals, value = word[2:].partition("=")
            name = name.replace("-", "_")
            _field(kind, name)
            values[name] = value if equals else _following(rest, kind, name)
        else:
            loose.append(word)
    _require_no_stray_comma(kind, loose)
    free = [f.name for f in kind.fields if f.name not in values]
    if len(loose) > len(free):
        raise Refused.because(f"{loose[len(free)]!r} is one word too many: {short_usage(kind)}")
    return dict(zip(free, loose, strict=False)) | values


def _require_no_stray_comma(kind: Kind, words: list[str]) -> None:
    """Raises Refused for "A, B" and ",A", with the words as they would be right."""
    if not any(word.startswith(",") or word.endswith(",") for word in words):
        return
    joined: list[str] = []
    for word in words:
        if joined and (joined[-1].endswith(",") or word.startswith(",")):
            joined[-1] += word
        else:
            joined.append(word)
    right = [",".join(filter(None, word.split(","))) for word in joined if word.strip(",")]
    if right:
        from shlex import join

        raise Refused.because(f"several go by comma, without blanks: {join([kind.what, *right])}")


def _following(rest: object, kind: Kind, name: str) -> str:
    try:
        return next(rest)  # type: ignore[call-overload]
    except StopIteration:
        raise Refused.because(f"--{name} needs a value: {short_usage(kind)}") from None


def _field(kind: Kind, name: str) -> Field:
    found = field(kind, name)
    if found is None or name in ("what", "recorded_at"):
        known = [f.name for f in kind.fields] + list(TYPED)
        raise Refused.because(f"{kind.what} has no field {name!r}{did_you_mean(name, known)}; {short_usage(kind)}")
    return found


def _at(values: dict[str, str], log: Log, setup: Setup, now: int) -> int:
    if "at" not in values:
        replaced = log.find(values["instead_of"]) if "instead_of" in values else None
        return now if replaced is None else replaced.at
    at, say = parse_time(values["at"], now, setup.hours.zone), partial(moment_near, now=now, zone=setup.hours.zone)
    if at > now + FUTURE_ALLOWED:
        raise Refused.because(f"--at {values['at']!r}: {say(at)} lies in the future; it is {say(now)}")
    return at // SECOND * SECOND


def _read(found: Field, text: str, setup: Setup, now: int) -> object:
    zone = setup.hours.zone
    if found.type is INSTANT:
        return rfc3339(parse_time(text, now, zone, ahead=found.name in _AHEAD) // SECOND * SECOND, zone)
    if found.type is DAY:
        return parse_day(text, now, zone)
    if isinstance(value := found.type.read(text), list) and found.type.names:
        return [item for part in value for item in expand(str(part), setup.fleet)]
    return value


def _poke(home: Home) -> None:
    from scheduler.home.notify_daemon import poke

    poke(home.place)
