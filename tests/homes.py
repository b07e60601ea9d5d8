"""A small home of our own for tests: its files, its rules ready to be asked, commands run in it within this process."""

import os
import re
from pathlib import Path
from typing import NamedTuple

import pytest
from freezegun.api import FrozenDateTimeFactory

from scheduler.base.strict_yaml import read
from scheduler.cli.main import main
from scheduler.facts.catalogue import CATALOGUE
from scheduler.verdicts.rule import Ruleset
from tests.support import rfc

SETTINGS = """\
zone: Europe/Lisbon
practice: []
channels:
  phone: {url: $SHELFBELL_PHONE, urgency: [now, today]}
  mail: {url: $SHELFBELL_MAIL}
quiet: {from: "21:30", to: "07:00"}
digest: "07:00"
"""
FLEET = """\
aircraft:
  - {id: heron, in_service: 2026-01-01}
packs:
  - {id: A, fits: [heron], in_service: 2026-01-01, self_discharge: 3 %}
  - {id: B, fits: [heron], in_service: 2026-01-01}
  - {id: C, fits: [heron], in_service: 2026-01-01}
propellers:
  - {id: heron-props, fits: [heron], in_service: 2026-01-01}
pilots:
  - {id: me}
papers:
  - {id: certificate, of: me, valid_for: 24 calendar months, in_service: 2026-01-01}
spares:
  - {id: spare-props, keep: 4}
"""
RULES = """\
rules:
  - id: left-full
    about: pack
    title: Pack left full
    limits: {full: 85 %, sit: 24 h, calm: 70 %, soon: 24 h}
    when:
      all:
        - {fact: charge, at_least: full, lasting: sit}
        - {fact: usable, is: yes}
        - not: {fact: next_job_in, at_most: soon}
    until:
      any:
        - {fact: charge, at_most: calm}
        - {fact: usable, is: no}
        - {fact: next_job_in, at_most: soon}
    urgency: today
    do: {one: "Drain pack {item}: {charge} for {since}.", many: "Drain packs {items}: {charge} for {since}."}
    why: A lithium cell ages fastest when it sits full.
    caution: Drain attended, away from anything that burns.
    basis: {kind: common practice}
    log_then: drained {item} 58
    cases:
      - {given: [{at: 2026-04-01T09:00:00Z, what: charged}], opens: 2026-04-02T09:00:00Z}
      - {given: [{at: 2026-04-01T09:00:00Z, what: charged, percent: 60}], quiet: true}

  - id: swollen
    about: pack
    title: Pack may be swollen
    when: {fact: swollen, is: yes}
    until: {fact: set_aside, is: yes}
    urgency: now
    do: "Take pack {item} out of use."
    why: Gas inside a cell means it is failing.
    basis: {kind: common practice}
    log_then: set_aside
    cases:
      - {given: [{at: 2026-04-01T09:00:00Z, what: noticed, findings: [swollen]}], opens: 2026-04-01T09:00:00Z}
      - {given: [{at: 2026-04-01T09:00:00Z, what: inspected, result: pass}], quiet: true}

  - id: unread
    about: pack
    title: Pack not looked at for long
    limits: {long: 120 d}
    when: {fact: hours_since_reading, at_least: long}
    urgency: whenever
    do: "Read pack {item}: the last reading was {hours_since_reading} ago."
    why: Charge drifts.
    basis: {kind: common practice}
    log_then: measured {item} 62
    cases:
      - {given: [{at: 2026-04-01T09:00:00Z, what: measured, percent: 60}], opens: 2026-07-30T09:00:00Z}
      - {given: [{at: 2026-04-01T09:00:00Z, what: measured, percent: 60}], quiet_until: 2026-07-30T09:00:00Z}

  - id: look-due
    about: propellers
    title: Propellers due for a look
    limits: {due: 5 h, overdue: 8 h}
    when: {fact: airtime_since_inspected, at_least: due}
    urgency: [{now: {fact: airtime_since_inspected, at_least: overdue}}, this_week]
    do: "Look over {item}: {airtime_since_inspected} in the air since the last look."
    why: Nicks grow.
    basis: {kind: common practice}
    log_then: inspected {item} pass
    cases:
      - {given: [{at: 2026-04-01T09:00:00Z, what: flown, minutes: 300}], opens: 2026-04-01T09:00:00Z}
      - {given: [{at: 2026-04-01T09:00:00Z, what: flown, minutes: 299}], quiet: true}

  - id: paper-due
    about: paper
    title: Paper runs out
    limits: {ahead: 30 d}
    when: {fact: days_to_expiry, at_most: ahead}
    urgency: [{today: {fact: days_to_expiry, at_most: 7 d}}, this_week]
    do: "Renew {item}: {days_to_expiry} left."
    why: Without it you may not fly.
    basis: {kind: common practice}
    log_then: renewed
    cases:
      - {given: [{at: 2026-04-01T09:00:00Z, what: renewed, expires: 2026-06-30}], opens: 2026-06-01T00:00:00Z}
      - {given: [{at: 2026-04-01T09:00:00Z, what: renewed, expires: 2026-06-30}], quiet_until: 2026-06-01T00:00:00Z}
"""


def ruleset(text: str = RULES, adjust: dict[str, list[dict]] | None = None) -> Ruleset:
    """The rules that a rule file holds."""
    return Ruleset(read(text, "rules.yaml").data["rules"], adjust or {}, CATALOGUE)


class Answer(NamedTuple):
    """What a command came to."""

    status: int
    out: str
    err: str


class Bench:
    """A home in a folder, its clock in hand, and commands run in it."""

    def __init__(self, path: Path, capsys: pytest.CaptureFixture[str], clock: FrozenDateTimeFactory) -> None:
        self.path = path
        self._capsys = capsys
        self._clock = clock
        write_home(path)

    def set_clock(self, short: str) -> None:
        """Let it be that instant (UTC) for every command from here on."""
        self._clock.move_to(rfc(short))

    def write(self, name: str, text: str) -> None:
        """Write one of the home's files."""
        (self.path / name).write_text(text, encoding="utf-8")

    def __call__(self, *words: str) -> Answer:
        """Run `shelfbell` with these words in this home."""
        self._capsys.readouterr()
        status = main(["--home", str(self.path), *words])
        return Answer(status, *self._capsys.readouterr())

    def watch_all(self) -> None:
        """Switch on shipped rules, so that nothing of any fleet is without one."""
        practice = "practice: [aircraft, packs, propellers, jobs, place, papers-us]"
        self.write("shelfbell.yaml", SETTINGS.replace("practice: []", practice))

    def log(self, *words: str) -> str:
        """Log an event that is taken; what was answered."""
        answer = self("log", *words)
        assert (answer.status, answer.err) == (0, "")
        return answer.out

    def exported(self) -> str:
        """The whole log as it is interchanged."""
        return self("export").out


def write_home(path: Path) -> None:
    """The files of the small home."""
    (path / "rules").mkdir(parents=True)
    for name, text in {"shelfbell.yaml": SETTINGS, "fleet.yaml": FLEET, "rules/own.yaml": RULES}.items():
        (path / name).write_text(text, encoding="utf-8")


def golden(path: Path, text: str) -> None:
    """The text is what the file holds, where "[...]" stands for anything within a line.

    With SHELFBELL_UPDATE_GOLDEN set, a file that holds something else is written anew instead.
    """
    held = path.read_text(encoding="utf-8") if path.exists() else ""
    if _alike(held, text):
        return
    if os.environ.get("SHELFBELL_UPDATE_GOLDEN"):
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    else:
        assert text == held


def _alike(held: str, text: str) -> bool:
    return re.fullmatch(".*".join(map(re.escape, held.split("[...]"))), text) is not None
