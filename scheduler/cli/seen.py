"""`shelfbell seen RULE ITEM [TIME]` and `shelfbell snooze RULE ITEM [TIME or KIND]`."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.desk import Desk, setup_or_fallback
from scheduler.answers.seen import caution_line, end_of, require_awaited, require_open
from scheduler.base.findings import Refused
from scheduler.base.instants import SECOND, rfc3339
from scheduler.base.typed_times import is_bare_day
from scheduler.base.units import show_span
from scheduler.cli.common import clock
from scheduler.events.kinds import AWAITED
from scheduler.events.taking import take, to_line
from scheduler.home.folder import Home
from scheduler.home.notify_daemon import notify_daemon
from scheduler.reminders.board import SNOOZE


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
    notify_daemon(home.path)
    print(f"{args.rule} {args.item}: {told}, unless it becomes more urgent. It stays on the board until it is settled.")
    if reminder.verdict.urgency(at.now) == "now":
        print(f"It is as urgent as can be: keeping it quiet settles nothing.{caution_line(reminder)}")
    return 0


def _desk(home: Home) -> Desk:
    """The home now; while its files are refused, by the rules that the daemon goes on by. Raises Refused without."""
    setup, refused = setup_or_fallback(home)
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
    until = end_of(typed, at.now, zone) if typed else at.now + SNOOZE
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
