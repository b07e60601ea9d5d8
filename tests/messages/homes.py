"""Small homes for tests of delivery: one pack, one or two rules, channels as the test wants them."""

import json
from pathlib import Path

from scheduler.base.instants import parse_rfc3339, rfc3339
from scheduler.base.strict_yaml import read
from scheduler.events.taking import take
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import Home
from tests.support import rfc

FLEET = """\
aircraft: [{id: heron, in_service: 2026-01-01}]
packs:
  - {id: A, chemistry: lipo, cells: 4, capacity: 5200 mAh, fits: [heron], in_service: 2026-01-01, rated_cycles: 300}
  - {id: B, chemistry: lipo, cells: 4, capacity: 5200 mAh, fits: [heron], in_service: 2026-01-01, rated_cycles: 300}
"""
RULE = """\
  - id: {id}
    about: pack
    title: {title}
    when: {{fact: charge, at_least: {least} %}}
    urgency: {urgency}
    do: "{title}: {{item}} at {{charge}}."
    why: It matters.
    basis: {{kind: common practice}}
"""
FULL = RULE.format(id="full", title="Pack is full", least=90, urgency="today")
ALARM = RULE.format(id="alarm", title="Pack is alarming", least=90, urgency="now")
SLOW = RULE.format(id="slow", title="Pack can wait", least=90, urgency="this_week")


def make_home(path: Path, channels: dict[str, dict[str, object]], *rules: str, quiet: bool = False) -> Home:
    """A home in UTC with these channels and rules."""
    (path / "rules").mkdir(parents=True)
    settings: dict[str, object] = {"zone": "UTC", "channels": channels}
    if quiet:
        settings["quiet"] = {"from": "21:30", "to": "07:00"}
    (path / "shelfbell.yaml").write_text(json.dumps(settings))
    (path / "fleet.yaml").write_text(FLEET)
    (path / "rules" / "own.yaml").write_text("rules:\n" + "".join(rules))
    return Home(path)


def charge(home: Home, item: str, at: str, percent: int = 100, recorded_at: str = "", now: int | None = None) -> None:
    """Log that a pack was charged; its times may be short."""
    event = {"at": rfc(at), "recorded_at": rfc(recorded_at or at), "what": "charged", "item": item, "percent": percent}
    instant = parse_rfc3339(rfc(recorded_at or at)) if now is None else now
    take(home.log, [(1, json.dumps(event))], Fleet(read(FLEET.encode(), "fleet.yaml").data), instant)


def charge_now(home: Home, item: str, now: int) -> None:
    """Log that a pack was charged to the full this instant."""
    charge(home, item, rfc3339(now), now=now)
