"""The fleet: its file's schema, and nameplates as values."""

from datetime import date

import pytest
from jsonschema import Draft202012Validator

from scheduler.base.instants import DAY, HOUR, CalendarSpan
from scheduler.base.schema_check import check
from scheduler.base.strict_yaml import read
from scheduler.fleet.fleet import HOME, Fleet, Item, Nameplate, Sections, make_item, nameplates
from scheduler.fleet.plates import ITEM_KINDS, PLATES, SECTIONS, Money, fields, json_schema

EXAMPLE = """\
aircraft:
  - {id: heron, note: camera quadcopter 0.9 kg, in_service: 2025-03-01}
packs:
  - id: B
    chemistry: lipo               # lipo | lihv | li-ion
    cells: 4
    capacity: 5200 mAh
    fits: [heron]
    in_service: 2025-03-01
    rated_cycles: 300
    self_discharge: 3 %           # of capacity in 30 days
    self_drain: {after: 10 d, to: 60 %, over: 3 d}      # packs that empty themselves to storage
    price: 139 EUR
propellers:
  - {id: heron-props, fits: [heron], in_service: 2026-02-01}
gimbals:   [{id: heron-gimbal, fits: [heron]}]
pilots:    [{id: me}]
papers:
  - {id: certificate, of: me, valid_for: 24 calendar months}
  - {id: insurance, valid_for: 1 y}
spares:    [{id: spare-props, keep: 4, delivery: 10 d}]
chargers:  [{id: bench, ports: 3, power: 100 W, drain_power: 20W}]
controllers: [{id: sticks}]
guards: [{id: cage, fits: [heron]}]
filters: [{id: grey, fits: [heron]}]
places: [{id: shed}]
"""


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    document = read(EXAMPLE, "fleet.yaml")
    assert check(document, json_schema()) == []
    return Fleet(document.data)


def findings(text: str) -> list[str]:
    return [str(finding) for finding in check(read(text, "fleet.yaml"), json_schema())]


def test_the_schema_is_one_of_draft_2020_12() -> None:
    Draft202012Validator.check_schema(json_schema())
    assert json_schema()["properties"].keys() == SECTIONS.keys()  # type: ignore[attr-defined]


def test_the_example_has_an_item_of_every_kind(fleet: Fleet) -> None:
    assert {item.kind for item in fleet} == set(ITEM_KINDS) == set(PLATES)


def test_a_nameplate_reads_as_values(fleet: Fleet) -> None:
    assert fleet["B"] == Item(
        "B",
        "pack",
        {
            "id": "B", "note": None, "in_service": date(2025, 3, 1), "chemistry": "lipo", "cells": 4, "capacity": 5200,
            "fits": ("heron",), "rated_cycles": 300, "self_discharge": 3, "self_drain": (10 * DAY, 60, 3 * DAY),
            "price": Money(139.0, "EUR"),
        }
        | {name: plate.default for name, plate in PLATES["pack"].items() if name.startswith("charge_")},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("item", "name", "value"),
    [
        ("certificate", "valid_for", CalendarSpan(24, to_month_end=True)), ("insurance", "valid_for", CalendarSpan(12)),
        ("insurance", "renew_from", "issue"), ("bench", "ports", 3), ("bench", "power", 100.0),
        ("bench", "drain_power", 20.0), ("spare-props", "keep", 4), ("spare-props", "delivery", 10 * DAY),
        ("heron", "compass", "on change"), ("sticks", "fits", ()), ("me", "in_service", None),
    ],
)  # fmt: skip
def test_each_field_reads_in_its_unit_or_has_its_default(fleet: Fleet, item: str, name: str, value: object) -> None:
    assert fleet[item].plate[name] == value


@pytest.mark.parametrize("kind", ITEM_KINDS)
def test_an_item_that_tells_its_id_alone_has_every_field(kind: str) -> None:
    assert make_item(kind, {"id": "x"}).plate.keys() == fields(kind).keys()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("packs: [{id: B, capacity: 5200}]", "5200 is not a value in mAh above 0, such as '100 mAh'"),
        ("packs: [{id: B, capacity: 5.2 Ah}]", "'5.2 Ah' is not a value in mAh above 0, such as '100 mAh'"),
        ("packs: [{id: B, capacity: 0.0 mAh}]", "'0.0 mAh' is not a value in mAh above 0"),
        ("packs: [{id: B, chemistry: lipoo}]", "did you mean 'lipo'?"),
        ("packs: [{id: B, cels: 4}]", "did you mean 'cells'?"),
        ("packs: [{id: B, cells: 0}]", "0 is too small: at least 1 is needed"),
        ("packs: [{id: B, self_drain: {after: 10 d, to: 60 %}}]", "over"),
        ("packs: [{id: B, self_drain: {after: 2 months, to: 60 %, over: 3 d}}]", "a duration such as"),
        ("packs: [{cells: 4}]", "id"),
        ("packs: [{id: a b}]", "an id of letters, digits"),
        ("packs: [{id: 12}]", "id"),
        ("packs: [{id: B, in_service: 1 March}]", "a date such as 2026-03-01"),
        ("packs: [{id: B, in_service: 2026-13-01}]", "a date such as 2026-03-01"),
        ("packs: [{id: B, in_service: 2026-02-29}]", "a date such as 2026-03-01"),
        ('packs: [{id: B, capacity: "5200 mAh\\n"}]', "a value in mAh"),
        ("papers: [{id: x, valid_for: 3 fortnights}]", "a span such as"),
        ("papers: [{id: x, valid_for: 1.5 y}]", "a span such as"),
        ("papers: [{id: x, valid_for: 99999999999 d}]", "a span such as"),
        ("chargers: [{id: x, power: 100}]", "a value in W above 0, such as '100 W'"),
        ("bateries: []", "bateries"),
    ],
)
def test_one_fault_is_told_at_its_place(line: str, told: str) -> None:
    (found,) = findings(line)
    assert found.startswith("fleet.yaml:1:")
    assert told in found


@pytest.mark.parametrize(
    "text",
    [
        "24 h",
        "1 d",
        "90 min",
        "2 weeks",
        "1 week",
        "1 month",
        "24 months",
        "1 y",
        "3 years",
        "24 calendar months",
        "1.5 d",
    ],
)
def test_every_span_that_the_schema_takes_reads_as_a_value(text: str) -> None:
    assert findings(f"papers: [{{id: x, valid_for: {text}}}]") == []
    assert make_item("paper", {"id": "x", "valid_for": text}).plate["valid_for"]


def test_items_are_found_by_id_and_by_kind(fleet: Fleet) -> None:
    assert fleet.ids("pack", "propellers") == ["B", "heron-props"]
    assert fleet.ids()[:3] == ["heron", "B", "heron-props"]
    assert (fleet.kind("B"), fleet.kind("nobody"), fleet.get("nobody")) == ("pack", None, None)
    assert "B" in fleet
    assert "nobody" not in fleet
    assert fleet["B"].fits("heron")
    assert not fleet["me"].fits("heron")
    assert HOME.kind == "home"


@pytest.mark.parametrize("raw", [None, {}, {"packs": None}, {"packs": []}])
def test_an_empty_fleet_is_one(raw: dict[str, list[dict[str, object]]] | None) -> None:
    assert list(Fleet(raw)) == []


def test_spans_of_hours_are_durations(fleet: Fleet) -> None:
    assert make_item("paper", {"id": "x", "valid_for": "36 h"}).plate["valid_for"] == 36 * HOUR


def test_one_item_is_looked_up_alone_until_the_whole_is_asked_for() -> None:
    sections: Sections = {"packs": [{"id": "A"}, {"id": "B", "cells": 3}], "places": [{"id": "bench"}]}
    asked: list[str] = []

    def whole() -> Sections:
        asked.append("*")
        return sections

    def one(item: str) -> Nameplate | None:
        asked.append(item)
        return nameplates(sections).get(item)

    fleet = Fleet(whole, one)

    assert (fleet["B"].plate["cells"], fleet.kind("B"), "bench" in fleet, fleet.raw("A")) == (
        3,
        "pack",
        True,
        {"id": "A"},
    )
    assert fleet.in_order(["B"]) == ["B"]
    assert asked == ["B", "bench", "A"]
    assert "Z" not in fleet  # it may have been kept no more: the whole tells
    assert (fleet.in_order(["bench", "B"]), fleet.kind("Z"), fleet.get("A")) == (["B", "bench"], None, fleet["A"])
    assert asked == ["B", "bench", "A", "Z", "*"]
