"""Describe an entry: "charged B to 95 %", "booked job, Thu 26 Nov 09:00, heron"."""

from collections.abc import Callable
from datetime import datetime, tzinfo
from typing import Any

from scheduler.base.instants import moment_near, parse_rfc3339
from scheduler.base.text import clean, is_blank, listed
from scheduler.events.event import Event
from scheduler.events.fields import FLAG, INSTANT
from scheduler.events.kinds import COMMON, KINDS

_HIDDEN = {f.name for f in COMMON}
_WORDS: dict[str, str] = {
    "lights": "{} lights", "rest_volts": "{} V", "cell_volts": "cells {} V",
    "rested_minutes": "rested {} min", "resistance_mohm": "{} mOhm", "capacity_mah": "{} mAh",
    "temperature_c": "{} °C", "airtime_total": "{} min in all", "cycles_total": "{} cycles in all",
    "packs": "with {}", "carries": "with {}", "minutes": "{} min", "percent_to": "down to {} %",
    "percent_from": "from {} %", "used_mah": "{} mAh used", "lowest_volts": "{} V at the lowest",
    "pilot": "pilot {}", "flights": "{} flights", "injury": "injury {}",
    "others_repair_cost": "repair for others {}", "others_value": "worth {}", "of": "{} warning",
    "version": "version {}", "from_spares": "from {}", "expires": "good till {}", "issued": "issued {}",
    "airtime_minutes": "{} min in the air", "ends": "to {}", "leaves": "leaves {}", "until": "until {}",
    "until_next": "until it is {} next", "charger": "on {}", "from": "from {}", "to": "to {}",
}  # fmt: skip
"""How a field is written; the others by their value alone."""
_FLAGS = {"looked_before": "looked over before"}
"""How a flag is written; the others by their names alone."""
_PLACE = {what: ["starts", "ends", *(f.name for f in kind.fields)] for what, kind in KINDS.items()}
"""The order in which the fields of a kind are written: an end beside its start."""
_CHOSEN = ("severity", "findings")
_RUNNING_ON = ("to", "with", "from", "down", "good", "on", "until", "leaves")
"""First words of a part that follows the item without a comma."""


def describe(event: Event, zone: tzinfo | None = None, subject: str | None = None) -> str:
    """Describe an event in a few words.

    `zone`: for its times, their own offset when absent; `subject`: replaces its item.
    """
    kind = KINDS[event.what]
    named = subject or event.get(kind.subject) or ""
    shown = set(event.fields) - {*_HIDDEN, kind.subject}
    names = sorted(shown, key=_PLACE[kind.what].index)
    parts = [part for part in (_part(event, name, zone) for name in names) if not is_blank(part)]
    head = f"{event.what} {named}".strip()
    if not parts:
        return clean(head)
    joint = " " if not named or parts[0].split()[0] in _RUNNING_ON else ", "
    return clean(f"{head}{joint}{', '.join(parts)}".replace(", to ", " to "))


def naming_packs(mishap: Event) -> str:
    """Return the command that replaces a mishap by one that names its packs."""
    return f"shelfbell log mishap {mishap.get('item')} {mishap.get('severity')} PACK --instead_of {mishap.id}"


def _part(event: Event, name: str, zone: tzinfo | None) -> str:
    value = event.fields[name]
    if name == "percent":
        return f"{_shown(value)} %" if event.what == "measured" else f"to {_shown(value)} %"
    field = next((f for f in KINDS[event.what].fields if f.name == name), None)
    if field is not None and field.type is FLAG:
        return f"{'' if value else 'not '}{_FLAGS.get(name, name.replace('_', ' '))}"
    if field is not None and field.type is INSTANT:
        when = _moment(event, str(value), zone)
        same_day = name == "ends" and when[:-5] == _moment(event, str(event.get("starts")), zone)[:-5]
        return _WORDS.get(name, "{}").format(when[-5:] if same_day else when)
    text = str(_shown(value)).replace("_", " ") if name in _CHOSEN else _shown(value)
    return _WORDS.get(name, "{}").format(text)


def _shown(value: Any) -> str:
    if not isinstance(value, list):
        return str(value)
    join: Callable[[list[str]], str] = listed if value and isinstance(value[0], str) else ", ".join
    return join([str(one) for one in value])


def _moment(event: Event, text: str, zone: tzinfo | None) -> str:
    near = zone or datetime.fromisoformat(f"2000-01-01T00:00:00{'+00:00' if text[-1] in 'Zz' else text[-6:]}").tzinfo
    return moment_near(parse_rfc3339(text), event.at, near)  # type: ignore[arg-type]
