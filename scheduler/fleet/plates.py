"""The fields of nameplates: declared once for schema, reading and documentation."""

from typing import NamedTuple

from scheduler.base.instants import parse_date, parse_span
from scheduler.base.units import CELSIUS, MILLIAMP_HOURS, PERCENT, Unit, parse


class Plate(NamedTuple):
    """A nameplate field: its JSON Schema, how its text becomes a value, what it means."""

    schema: dict[str, object]
    read: object
    meaning: str
    required: bool = False
    default: object = None


class Money(NamedTuple):
    """An amount in a currency."""

    amount: float
    currency: str


def _text(pattern: str, expects: str) -> dict[str, object]:
    # `$` alone would let a final line break pass in Python's reading of a JSON Schema.
    return {"type": "string", "pattern": rf"^(?:{pattern})(?!\n)$", "x-expects": expects}


_AMOUNT = r"[0-9]{1,9}(\.[0-9]{1,9})? ?"
_EXACT = rf"{_AMOUNT}(s|min|h|d|weeks?)"
_CALENDAR = r"[0-9]{1,9} ?(months?|calendar months|y|years?)"
_SPAN = _text(rf"{_EXACT}|{_CALENDAR}", "a span such as '24 h', '10 d', '24 calendar months' or '1 y'")
_DURATION = _text(_EXACT, "a duration such as '50 min', '24 h' or '10 d'")
_DAY = _text(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", "a date such as 2026-03-01") | {"format": "date"}
_PERCENT = _text(rf"{_AMOUNT}%", "a percentage such as '60 %'")
ID = _text(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}", "an id of letters, digits, '-', '_' or '.'")
_IDS = {"type": "array", "items": ID, "minItems": 1}
_WHOLE = {"type": "integer", "minimum": 0}


def _measure(unit: str) -> dict[str, object]:
    return _text(rf"{_AMOUNT}{unit}", f"a value in {unit}, such as '100 {unit}'")


def _above_nought(unit: str) -> dict[str, object]:
    return _text(rf"(?=.*[1-9]){_AMOUNT}{unit}", f"a value in {unit} above 0, such as '100 {unit}'")


def _in(unit: Unit) -> object:
    return lambda text: parse(text, unit)


def _money(text: str) -> Money:
    return Money(float(text[:-3]), text[-3:])


def _self_drain(plate: dict) -> tuple[int, float, int]:
    return parse_span(plate["after"]), parse(plate["to"], PERCENT), parse_span(plate["over"])  # type: ignore[return-value]


def _same(value: object) -> object:
    return value


COMMON = {
    "id": Plate(ID, _same, "the short name used everywhere", required=True),
    "note": Plate({"type": "string", "maxLength": 500}, _same, "free text"),
    "in_service": Plate(_DAY, parse_date, "the day it came into use: counts begin here"),
}
_FITS = Plate(
    _IDS, tuple, "the aircraft it fits; a part that fits one only counts as fitted from in_service", default=()
)
_PRICE = Plate(_text(rf"{_AMOUNT}[A-Z]{{3}}", "a price such as '139 EUR'"), _money, "what a new one costs")

PLATES: dict[str, dict[str, Plate]] = {
    "aircraft": {
        "compass": Plate(
            {"enum": ["on change", "each flight", "after a journey"]},
            _same,
            "when its compass is calibrated; published advice differs, so follow the maker's manual",
            default="on change",
        ),
    },
    "pack": {
        "chemistry": Plate({"enum": ["lipo", "lihv", "li-ion"]}, _same, "of the cells", default="lipo"),
        "cells": Plate({"type": "integer", "minimum": 1, "maximum": 24}, _same, "in series", default=4),
        "capacity": Plate(_above_nought("mAh"), _in(MILLIAMP_HOURS), "as printed on it", default=5000),
        "fits": _FITS,
        "rated_cycles": Plate({"type": "integer", "minimum": 1}, _same, "the maker's cycle rating", default=300),
        "self_discharge": Plate(_PERCENT, _in(PERCENT), "of capacity lost in 30 days on the shelf", default=0),
        "self_drain": Plate(
            {
                "type": "object",
                "additionalProperties": False,
                "required": ["after", "to", "over"],
                "properties": {"after": _DURATION, "to": _PERCENT, "over": _DURATION},
            },
            _self_drain,
            "for packs that empty themselves: after so long at rest, down to so much, over so long",
        ),
        "price": _PRICE,
        "charge_from": Plate(_measure("C"), _in(CELSIUS), "coldest charging temperature", default=0),
        "charge_to": Plate(_measure("C"), _in(CELSIUS), "hottest charging temperature", default=40),
    },
    "propellers": {"fits": _FITS, "price": _PRICE},
    "gimbal": {"fits": _FITS, "price": _PRICE},
    "guards": {"fits": _FITS},
    "filter": {"fits": _FITS},
    "pilot": {},
    "paper": {
        "of": Plate(ID, _same, "the pilot or aircraft it belongs to"),
        "valid_for": Plate(_SPAN, parse_span, "from its issue to its last good day"),
        "renew_from": Plate(
            {"enum": ["issue", "expiry"]}, _same, "whether a renewal counts from its own date or from the old expiry",
            default="issue",
        ),
        "sort": Plate(
            {"enum": ["certificate", "registration", "insurance", "waiver", "operator id", "flyer id", "other"]},
            _same,
            "what kind of paper it is",
            default="other",
        ),
    },
    "spares": {
        "keep": Plate(_WHOLE, _same, "how many to have in the house", default=0),
        "fits": _FITS,
        "delivery": Plate(_DURATION, parse_span, "how long an order takes"),
        "price": _PRICE,
    },
    "charger": {
        "ports": Plate({"type": "integer", "minimum": 1}, _same, "packs at a time", default=1),
        "power": Plate(_above_nought("W"), lambda t: float(t.rstrip("W ")), "charging power of a port"),
        "drain_power": Plate(_above_nought("W"), lambda t: float(t.rstrip("W ")), "draining power of a port"),
    },
    "controller": {"fits": _FITS},
    "place": {},
}  # fmt: skip
SECTIONS = {
    "aircraft": "aircraft", "packs": "pack", "propellers": "propellers", "gimbals": "gimbal", "pilots": "pilot",
    "papers": "paper", "spares": "spares", "chargers": "charger", "controllers": "controller", "guards": "guards",
    "filters": "filter", "places": "place",
}  # fmt: skip
ITEM_KINDS = tuple(SECTIONS.values())


def fields(kind: str) -> dict[str, Plate]:
    """Return the nameplate fields of an item kind, common ones first."""
    return COMMON | PLATES.get(kind, {})


def json_schema() -> dict[str, object]:
    """Return the JSON Schema (2020-12) of fleet.yaml."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "The fleet: items and their nameplates",
        "type": "object",
        "additionalProperties": False,
        "properties": {section: {"type": "array", "items": _item(kind)} for section, kind in SECTIONS.items()},
    }


def _item(kind: str) -> dict[str, object]:
    plates = fields(kind)
    return {
        "type": "object",
        "additionalProperties": False,
        "required": ["id"],
        "properties": {name: plate.schema | {"description": plate.meaning} for name, plate in plates.items()},
    }
