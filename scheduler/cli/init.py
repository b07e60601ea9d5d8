"""`shelfbell init [DIR]`: a commented starter home."""

import os
from argparse import ArgumentParser, Namespace
from pathlib import Path
from shlex import quote

from scheduler.base.findings import Refused
from scheduler.base.instants import local_date
from scheduler.base.shipped import folder
from scheduler.home.folder import FLEET, SETTINGS, Home, default_home


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("dir", nargs="?", metavar="DIR", help="where; the home folder unless given")


def run(home: Home, args: Namespace) -> int:
    """Write the starter files, none over an existing one."""
    path = Path(args.dir) if args.dir else home.path
    for name in (SETTINGS, FLEET):
        if (path / name).exists():
            raise Refused.because(f"{path / name} is there already: nothing was written")
    (path / "rules").mkdir(parents=True, exist_ok=True, mode=0o700)
    path.chmod(0o700)
    for name, text in starters().items():
        target = path / name
        if not target.exists():
            target.touch(mode=0o600)
            target.write_text(text, encoding="utf-8")
    print(f"A home at {path}: fill in {FLEET}, name your channels in {SETTINGS}, then `{_command(path)} check`.")
    return 0


def _command(path: Path) -> str:
    """Return how a command for a home begins: with its folder unless it is found."""
    return "shelfbell" if path == Path(default_home()) else f"shelfbell --home {quote(str(path))}"


def starters() -> dict[str, str]:
    """Return the starter files, by name."""
    shipped = [path.stem for path in sorted(folder("rules").glob("*.yaml"))]
    papers = [name for name in shipped if name.startswith("papers")]
    practice = ", ".join(name for name in shipped if name not in papers)
    settings = _SETTINGS.replace("ZONE", local_zone()).replace("PRACTICE", practice)
    texts = {
        SETTINGS: ("shelfbell", settings.replace("PAPERS", ", ".join(papers))),
        FLEET: ("fleet", _FLEET.replace("TODAY", _today())),
        "rules/own.yaml": ("rules", _OWN),
    }
    return {name: f"{_for_editors(schema)}{text}" for name, (schema, text) in texts.items()}


def _for_editors(schema: str) -> str:
    """Return the line by which an editor finds the schema of a file, for completion."""
    return f"# yaml-language-server: $schema={folder('rules') / schema}.schema.json\n"


def local_zone() -> str:
    """Return the machine's time zone, or UTC if unknown."""
    named = os.environ.get("TZ", "").lstrip(":")
    if not named:
        target = os.path.realpath("/etc/localtime")
        named = target.partition("zoneinfo/")[2]
    from zoneinfo import available_timezones

    return named if named in available_timezones() else "UTC"


def _today() -> str:
    from zoneinfo import ZoneInfo

    from scheduler.cli.common import clock

    return local_date(clock(), ZoneInfo(local_zone())).isoformat()


_SETTINGS = """\
# Settings of this home. `shelfbell check` looks them over; a running daemon takes a change in by itself.

zone: ZONE                        # your time zone: every hour below is local

practice: [PRACTICE]              # shipped rule files that are on
# Your papers are watched once you add the file of the law you fly under, one of: PAPERS

# Where the bell rings. A url is an Apprise address (mailto://, ntfy://, json:// and many more), best kept out of this
# file: $NAME is taken from the environment, or from a credentials file of that name.
# `shelfbell ring mail` sends a trial message.
channels: {}
#   mail:  {url: $SHELFBELL_MAIL}
#   phone: {url: $SHELFBELL_PHONE, urgency: [now, today]}     # gets only these
#   loud:  {url: $SHELFBELL_LOUD, after: 1 h}     # only `now`, when it was rung an hour ago and nobody has seen it

quiet:  {from: "21:30", to: "07:00"}      # only `now`, opened by something you logged, rings in these hours
digest: "07:00"                           # what can wait comes in one message, on days that have something new
eve:    "18:00"                           # the evening before a job begins here

# heartbeat: {url: $SHELFBELL_OUTSIDE}    # an http address pinged on each healthy hour: its keeper notices silence
"""
_FLEET = """\
# The fleet: what you have, with what is printed on it. Ids are what you type: shelfbell log charged A

aircraft:
  - {id: one, note: my first quadcopter, in_service: TODAY}

packs:
  - id: A
    chemistry: lipo               # lipo, lihv or li-ion
    cells: 4
    capacity: 5000 mAh
    fits: [one]
    in_service: TODAY
    rated_cycles: 300             # the maker's figure
    self_discharge: 3 %           # of capacity in 30 days; the maker's figure, or watch two readings
    # self_drain: {after: 10 d, to: 60 %, over: 3 d}    # only for packs that empty themselves
    # price: 139 EUR

propellers:
  - {id: one-props, fits: [one], in_service: TODAY}

gimbals:
  - {id: one-gimbal, fits: [one], in_service: TODAY}

pilots:
  - {id: me}

papers: []
#  - {id: certificate, of: me, valid_for: 24 calendar months}   # then: shelfbell log renewed certificate --issued DATE
#  - {id: insurance, valid_for: 1 y}

spares:
  - {id: spare-props, keep: 4}    # then: shelfbell log counted spare-props 4
"""
_OWN = """\
# Your own rules and your adjustments of the shipped ones. `shelfbell rules` lists what is on.

rules: []

adjust: {}
#  pack-left-full:
#    limits: {sit: 36 h}
#    because: I charge on Thursdays for Saturdays
#  pack-unread: {off: true, because: they lie in another house, only: [A]}
"""
