"""Advice on files that fit the schema but look like mistakes.

Only `check` shows it; it never stops a load.
"""

import re
from collections.abc import Iterator
from datetime import date

from scheduler.base.addresses import concealed
from scheduler.base.findings import Finding, did_you_mean
from scheduler.base.instants import parse_date
from scheduler.base.strict_yaml import YamlFile
from scheduler.fleet.plates import SECTIONS
from scheduler.home.items_without_rules import all_off_line, practices_about, without_rules_line
from scheduler.verdicts.rule import URGENCIES, Ruleset

PLAUSIBLE_MAH = (100.0, 40_000.0)
"""Range of one pack's capacity, from a palm-sized aircraft to a heavy lifter. Estimate, no source."""


def advice(settings: YamlFile, fleet: YamlFile, rules: Ruleset, today: date) -> Iterator[Finding]:
    """Yield advice on files that fit their schemas. `today`: in the operator's zone."""
    channels = settings.data.get("channels") or {}
    yield from _schemes(settings, channels)
    yield from _unheard(settings, channels)
    for section, entries in (fleet.data or {}).items():
        practices = [] if rules.about(SECTIONS[section]) else practices_about(SECTIONS[section])
        for index, entry in enumerate(entries or ()):
            yield from _item(fleet, (section, index), entry, today)
            if practices:
                yield fleet.finding((section, index, "id"), without_rules_line([entry["id"]], practices))
            elif rules.all_off(SECTIONS[section], entry["id"]):
                yield fleet.finding((section, index, "id"), all_off_line([entry["id"]]))


def _schemes(settings: YamlFile, channels: dict[str, dict]) -> Iterator[Finding]:
    """Yield addresses of a kind that the sender does not know."""
    urls = {name: str(channel["url"]) for name, channel in channels.items()}
    literal = {name: url for name, url in urls.items() if not url.startswith("$")}
    if not literal:
        return
    from apprise import NotificationManager

    known = set(NotificationManager().schemas())  # type: ignore[no-untyped-call]
    for name, url in literal.items():
        found = re.match(r"([A-Za-z0-9][\w+.-]*)://", url)
        if found is None:
            text = f"{concealed(url)!r} is no address: write one such as mailto://…, or $NAME of one"
            yield settings.finding(("channels", name, "url"), text)
        elif found[1].lower() not in known:
            longer = sorted(kind for kind in known if kind.startswith(found[1].lower()))
            near = f", did you mean {min(longer, key=len)!r}?" if longer else did_you_mean(found[1], known)
            text = f"unknown kind of address {found[1] + '://'!r}{near}"
            yield settings.finding(("channels", name, "url"), text)


def _unheard(settings: YamlFile, channels: dict[str, dict]) -> Iterator[Finding]:
    """Yield a finding on urgencies that no channel takes, if there are channels."""
    taken = {word for c in channels.values() if "after" not in c for word in c.get("urgency", URGENCIES)}
    missing = [word for word in URGENCIES if word not in taken]
    if channels and missing:
        text = f"no channel takes {' or '.join(missing)}: such reminders reach nobody; only `shelfbell due` shows them"
        yield settings.finding(("channels",), text, key=True)


def _item(fleet: YamlFile, path: tuple[str, int], entry: dict, today: date) -> Iterator[Finding]:
    begun = entry.get("in_service")
    if begun is not None and parse_date(str(begun)) > today:
        text = f"{begun} is in the future: entries of {entry['id']} before that day do not count"
        yield fleet.finding((*path, "in_service"), text)
    capacity = re.match(r"[\d.]+", str(entry.get("capacity", ""))) if path[0] == "packs" else None
    if capacity and not PLAUSIBLE_MAH[0] <= float(capacity[0]) <= PLAUSIBLE_MAH[1]:
        text = f"{entry['capacity']} is an odd capacity for a pack: one digit too many, or one missing?"
        yield fleet.finding((*path, "capacity"), text)
