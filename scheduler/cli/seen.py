"""`shelfbell seen RULE ITEM [TIME]` and `shelfbell snooze RULE ITEM [TIME or KIND]`."""

from argparse import ArgumentParser, Namespace
from zoneinfo import ZoneInfo

from scheduler.base.findings import Refused, did_you_mean
from scheduler.base.instants import SECOND, rfc3339
from scheduler.base.typed_times import is_bare_day, is_span, parse_time
from scheduler.base.units import show_span
from scheduler.cli.common import Desk, clock, setup_or_spare
from scheduler.events.event import HOME
from scheduler.events.kinds import AWAITED, KINDS
from scheduler.events.taking import take, to_line
from scheduler.facts.condition import bars
from scheduler.home.folder import Home
from scheduler.home.notify_daemon import poke
from scheduler.reminders.board import SNOOZE, Reminder
from scheduler.verdicts.verdict import Key

_TIME = "give a time such as 2d or 'sat 09:00'"
_USES = {"pack": ("charged", "drained", "flown"), "aircraft": ("flown",)}
"""What waits, by the kind of item, while something keeps it out of use."""


def add_arguments(parser: ArgumentParser, name: str) -> None:
    """The options."""
    parser.add_argument("rule", metavar="RULE")
    parser.add_argument("item", metavar="ITEM")
    given = "never unless given" if name == "seen" else f"{show_span(SNOOZE)} from now unless given"
    known = "" if name == "seen" else f"; or the next entry of a kind: {', '.join(AWAITED)}"
    meaning = f"when repeats go on, such as 2d or 'sat 09:00': {given}{known}"
    parser.add_argument("time", nargs="?", metavar="TIME", help=meaning)
    parser.add_argument("--until", metavar="TIME", help="the same by name")
    parser.add_argument("--note", metavar="TEXT")
    parser.set_defaults(what="seen" if name == "seen" else "snoozed")


def run(home: Home, args: Namespace) -> int:
    """Log it, when such a reminder is open."""
    at = _desk(home)
    zone = at.setup.hours.zone
    reminder = require_open(at, args.rule, args.item)
    end, told = _end(at, args)
    if "until_next" in end:
        require_awaited(reminder, end["until_next"], at.now)
    event = {"at": rfc3339(at.now, zone), "what": args.what, "item": args.item, "rule": args.rule} | end
    if args.note:
        event["note"] = args.note
    take(home.log, [(0, to_line(event))], at.setup.fleet, at.now)
    poke(home.path)
    print(f"{args.rule} {args.item}: {told}, unless it becomes more urgent. It stays on the board until it is settled.")
    if reminder.verdict.urgency(at.now) == "now":
        print(f"It is as urgent as can be: keeping it quiet settles nothing.{_caution(reminder)}")
    return 0


def _caution(reminder: Reminder) -> str:
    caution = reminder.verdict.rule.caution
    return f"\n  Caution: {caution}" if caution else ""


def _desk(home: Home) -> Desk:
    """The home now; while its files are refused, by the rules that the daemon goes on by. Raises Refused without."""
    setup, refused = setup_or_spare(home)
    if refused and not list(setup.rules):
        raise refused
    return Desk(home, setup, clock())


def _end(at: Desk, args: Namespace) -> tuple[dict[str, str], str]:
    """The fields that say until when, and what is answered."""
    zone, typed = at.setup.hours.zone, _typed(args)
    if args.what == "snoozed" and typed in AWAITED:
        return {"until_next": typed}, f"quiet until {args.item} is {typed} next"
    if args.what == "seen" and not typed:
        return {}, "no repeats"
    until = _until(typed, at.now, zone) if typed else at.now + SNOOZE
    until = until // SECOND * SECOND
    noon = " (no time given: noon)" if typed and is_bare_day(typed) else ""
    if until <= at.now:
        raise Refused.because(f"{typed}{noon} lies in the past")
    return {"until": rfc3339(until, zone)}, f"quiet until {at.say(until)}{noon}"


def _typed(args: Namespace) -> str:
    """The time or kind as it was typed, "" where none was. Raises Refused for two."""
    if args.time and args.until:
        raise Refused.because(f"{args.time!r} and --until {args.until!r}: one of them is enough")
    return args.time or args.until or ""


def _until(typed: str, now: int, zone: ZoneInfo) -> int:
    """The instant of a typed end; a span alone counts from now on."""
    return parse_time(f"in {typed}" if is_span(typed) else typed, now, zone, ahead=True)


def require_open(at: Desk, rule: str, item: str) -> Reminder:
    """The open reminder. Raises Refused unless it is open: seen and snoozed bind to one that is."""
    if rule not in at.setup.rules:
        raise Refused.because(f"there is no rule {rule!r}{did_you_mean(rule, at.setup.rules)}")
    board = at.board([item])
    if item not in at.setup.fleet and item not in (*board.book.jobs, HOME):
        known = [*at.setup.fleet.ids(), *board.book.jobs]
        raise Refused.because(f"there is no item {item!r}{did_you_mean(item, known)}")
    opened = {reminder.key: reminder for reminder in board.open_at(at.now)}
    if (rule, item) not in opened:
        names = ", ".join(f"{key.rule} {key.item}" for key in opened) or "nothing"
        raise Refused.because(f"no reminder {rule} is open on {item}; open on it: {names}")
    return opened[Key(rule, item)]


def require_awaited(reminder: Reminder, awaited: str, now: int) -> None:
    """Raises Refused where the kind of entry that a snooze would wait for is none of its item's, or must not come."""
    item = reminder.verdict.item
    named = _named_by(awaited)
    if item.kind not in named:
        known = ", ".join(what for what in AWAITED if item.kind in _named_by(what))
        other = f", or wait for {known}" if known else ""
        raise Refused.because(
            f"{awaited} is logged of {', '.join(named)}, not of {item.id} ({item.kind}): {_TIME}{other}"
        )
    ground = _out_of_use(reminder, now)
    if ground and awaited in _USES.get(item.kind, ()):
        raise Refused.because(f"do not wait until {item.id} is {awaited}, for {ground}: {_TIME}")


def _named_by(what: str) -> list[str]:
    """The kinds of items that a kind of entry can name."""
    return [kind for field in KINDS[what].fields if field.type.names for kind in field.type.names.split(",")]


def _out_of_use(reminder: Reminder, now: int) -> str:
    """What keeps the item of a reminder from being used before it is settled; "" for nothing."""
    rule, item = reminder.verdict.rule, reminder.verdict.item
    if rule.grounds:
        return f"{rule.id} grounds it"
    book = reminder.verdict.book
    barring = {name: value for name, value in bars(item.kind).items() if item.kind in book.catalogue[name].about}
    barred = any(book.fact(item, name).at(now) == value for name, value in barring.items())
    return "it is out of use" if barred else ""
