"""Lifetimes of an item, what packs that flew together share, and the fields of a job."""

import pytest

from scheduler.base.instants import DAY
from scheduler.cli import main as command
from scheduler.facts.jobs import all_jobs
from tests.support import book_of, event, fact, moment

FLEET = {
    "aircraft": [{"id": "heron", "in_service": "2026-01-01"}],
    "packs": [
        {"id": pack, "capacity": "5000 mAh", "fits": ["heron"], "in_service": "2026-01-01"} for pack in ("A", "B")
    ],
}


def test_what_was_found_at_the_instant_of_a_replacement_belongs_to_the_old_pack() -> None:
    found = event("2026-04-01 21:00", "inspected", item="A", result="doubtful", findings=["swollen"])
    replaced = event("2026-04-01 21:00", "replaced", item="A")
    store = book_of(FLEET, found, replaced)
    assert fact(store, "A", "swollen").at(moment("2026-04-02")) == "no"
    assert fact(book_of(FLEET, replaced, found), "A", "swollen").at(moment("2026-04-02")) == "yes"


def test_a_charger_s_lifetime_begins_with_its_first_charge() -> None:
    charge = event("2026-04-01 18:00", "charged", item="A", charger="bench")
    look = event("2026-04-09 18:00", "inspected", item="bench", result="doubtful")
    store = book_of(FLEET | {"chargers": [{"id": "bench"}]}, charge, look)
    assert [found.what for found in store.lifetimes(store.fleet["bench"])[0].events] == ["inspected"]
    assert fact(store, "bench", "age").at(moment("2026-04-02 18:00")) == DAY
    assert fact(store, "bench", "on_record").at(moment("2026-04-02")) == "yes"
    assert fact(store, "bench", "found_unfit").at(moment("2026-04-02")) == "no"
    assert fact(store, "bench", "found_unfit").at(moment("2026-04-10")) == "yes"


def test_a_charger_s_lifetime_begins_with_a_look_that_came_before_any_charge() -> None:
    look = event("2026-04-01 18:00", "inspected", item="bench", result="pass")
    charge = event("2026-04-09 18:00", "charged", item="A", charger="bench")
    store = book_of(FLEET | {"chargers": [{"id": "bench"}]}, look, charge)
    assert fact(store, "bench", "age").at(moment("2026-04-02 18:00")) == DAY


def test_a_replacement_is_an_event_of_neither_lifetime() -> None:
    fleet = FLEET | {"chargers": [{"id": "bench"}], "controllers": [{"id": "sticks"}]}
    entries = [event("2026-04-01", "charged", item="A", charger="bench"), event("2026-04-01", "charged", item="sticks")]
    entries += [event("2026-04-09", "replaced", item=item) for item in ("bench", "sticks")]
    store = book_of(fleet, *entries)
    assert [[found.what for found in store.events(store.fleet[item])] for item in ("bench", "sticks")] == [
        ["charged"]
    ] * 2


def test_only_the_last_flight_of_a_pilot_is_read() -> None:
    fleet = FLEET | {"pilots": [{"id": "first"}, {"id": "second"}]}
    flights = [
        event(f"2026-04-0{day} 12:00", "flown", aircraft="heron", packs=["A"], minutes=9, pilot=pilot)
        for day, pilot in enumerate(["first", "second", "first", "second"], 1)
    ]
    store = book_of(fleet, *flights, event("2026-04-05", "retired", item="second"))
    first, now = store.fleet["first"], moment("2026-04-09 12:00")
    assert (
        store.fact(first, "out_of_practice", starting_at=now).at(now)
        == fact(store, "first", "out_of_practice").at(now)
        == 6 * DAY
    )
    assert fact(store, "first", "out_of_practice").at(moment("2026-04-02 12:00")) == DAY
    assert [flight.at for flight in store.mentions(first, now)] == [moment("2026-04-03 12:00")]
    assert fact(store, "second", "retired").at(now) == "yes"
    assert len(store.events(first)) == 2 and len(store.events(store.fleet["second"])) == 3


def test_packs_that_flew_together_share_what_was_used() -> None:
    flight = event(
        "2026-04-01 12:00", "flown", aircraft="heron", packs=["A", "B"], minutes=10, percent_from=100, used_mah=3000
    )
    store = book_of(FLEET, flight)
    assert fact(store, "A", "charge").at(moment("2026-04-01 12:00")) == 70
    assert fact(store, "A", "cycles").at(moment("2026-04-01 12:00")) == pytest.approx(0.3)


def test_a_job_has_the_fields_of_its_booking_at_the_time() -> None:
    first = event("2026-04-01 12:00", "booked", job="harbour", starts="2026-04-09 09:00", airtime_minutes=300)
    second = event("2026-04-03 12:00", "booked", job="harbour", starts="2026-04-09 09:00", airtime_minutes=10)
    job = all_jobs(book_of({}, first, second))["harbour"]
    assert job.plate_at(moment("2026-04-02"))["airtime_minutes"] == 300
    assert job.plate_at(moment("2026-04-04"))["airtime_minutes"] == 10


def test_a_fault_of_the_program_is_one_line_and_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fails(_words: list[str]) -> int:
        raise KeyError("nothing")

    monkeypatch.setattr(command, "_run", fails)
    monkeypatch.delenv("SHELFBELL_DEBUG", raising=False)
    assert command.main(["due"]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "shelfbell has a fault: KeyError: 'nothing' (SHELFBELL_DEBUG=1 shows where)"
    ]
