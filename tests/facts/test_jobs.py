"""Booked jobs: which is next, which is under way, and their eve and morning on the local clock."""

import pytest

from scheduler.base.instants import DAY, HOUR
from scheduler.facts.intervals import Intervals
from scheduler.facts.item_events import item_named, names_of
from scheduler.facts.timeline import NEVER, Timeline
from tests.support import Entries, Fields, book_of, event, fact, moment, reasons

FLEET = {
    "aircraft": [{"id": "heron"}, {"id": "wagtail"}],
    "packs": [{"id": "B", "fits": ["heron"]}, {"id": "W", "fits": ["wagtail"]}, {"id": "any"}],
    "propellers": [{"id": "props", "fits": ["heron", "wagtail"]}, {"id": "wagtail-props", "fits": ["wagtail"]}],
    "pilots": [{"id": "me"}],
    "papers": [{"id": "licence", "of": "me"}, {"id": "heron-mark", "of": "heron"}, {"id": "insurance"}],
    "places": [{"id": "bench"}],
}


def booked(at: str, starts: str, job: str = "wedding", **fields: object) -> Fields:
    return event(at, "booked", job=job, starts=starts, **fields)


def cancelled(at: str, job: str = "wedding") -> Fields:
    return event(at, "cancelled", job=job)


def of(name: str, *entries: Fields, item: str = "B", zone: str = "UTC") -> Timeline:
    return fact(book_of(FLEET, *entries, zone=zone), item, name)


def holds(timeline: Timeline) -> list[tuple[int, int]]:
    """The intervals in which a flag is yes."""
    return [(start, end) for start, end, value in timeline.matches(("yes",)) if value == 2]


def episode(start: str, end: str) -> tuple[int, int]:
    return moment(start), moment(end)


# --- the next one ---------------------------------------------------------------------------------------------------


def test_with_no_job_booked_the_next_is_never_which_is_not_unknown() -> None:
    found = of("next_job_in")
    assert found.at(moment("2026-04-01")) == NEVER
    assert found.compare("at_most", DAY) == Intervals.always(0)


def test_time_to_the_next_job_falls_from_its_booking_to_its_start() -> None:
    found = of("next_job_in", booked("2026-04-01", "2026-04-03 09:00"))
    assert [found.at(moment(t)) for t in ("2026-03-31", "2026-04-01", "2026-04-03 08:00", "2026-04-03 09:00")] == [
        NEVER, 57 * HOUR, HOUR, NEVER,
    ]  # fmt: skip
    assert found.compare("at_most", DAY).next_change(moment("2026-04-01")) == moment("2026-04-02 09:00")


def test_of_several_jobs_the_nearest_counts() -> None:
    found = of("next_job_in", booked("2026-04-01", "2026-04-09"), booked("2026-04-02", "2026-04-05", "roof"))
    assert [found.at(moment(f"2026-04-0{day}")) for day in (1, 2, 5, 9)] == [8 * DAY, 3 * DAY, 4 * DAY, NEVER]
    assert [reasons(found, moment(f"2026-04-0{day}")) for day in (1, 2, 5)] == [["e1"], ["e2"], ["e1"]]


def test_a_job_counts_only_as_it_was_known_then() -> None:
    """Booked, put off, taken back: each from its own instant on."""
    found = of(
        "next_job_in", booked("2026-04-01", "2026-04-10"), booked("2026-04-02", "2026-04-20"), cancelled("2026-04-03")
    )
    assert [found.at(moment(f"2026-04-0{day}")) for day in (1, 2, 3)] == [9 * DAY, 18 * DAY, NEVER]


def test_a_job_booked_after_its_start_is_next_for_nobody() -> None:
    found = of("next_job_in", booked("2026-04-05", "2026-04-03"))
    assert {found.at(moment(f"2026-04-0{day}")) for day in range(1, 9)} == {NEVER}


def test_a_job_cancelled_and_booked_again_counts_again() -> None:
    found = of(
        "next_job_in", booked("2026-04-01", "2026-04-10"), cancelled("2026-04-02"), booked("2026-04-04", "2026-04-10")
    )
    assert [found.at(moment(f"2026-04-0{day}")) for day in (1, 3, 4)] == [9 * DAY, NEVER, 6 * DAY]


def test_cancelling_what_was_never_booked_books_nothing() -> None:
    store = book_of(FLEET, cancelled("2026-04-01"))
    assert names_of(store, "job") == []


@pytest.mark.parametrize(
    ("aircraft", "concerned"),
    [
        ("heron", {"heron", "B", "any", "props", "me", "licence", "heron-mark", "insurance", "bench"}),
        ("wagtail", {"wagtail", "W", "any", "props", "wagtail-props", "me", "licence", "insurance", "bench"}),
        (None, {"heron", "wagtail", "B", "W", "any", "props", "wagtail-props", "me", "licence", "heron-mark",
                "insurance", "bench"}),
    ],
)  # fmt: skip
def test_a_job_concerns_what_fits_its_aircraft(aircraft: str | None, concerned: set[str]) -> None:
    fields = {} if aircraft is None else {"aircraft": aircraft}
    store = book_of(FLEET, booked("2026-04-01", "2026-04-03", **fields))
    now = moment("2026-04-02")
    assert {item.id for item in store.fleet if fact(store, item.id, "next_job_in").at(now) != NEVER} == concerned


def test_a_job_concerns_a_part_while_it_is_fitted_to_its_aircraft() -> None:
    fitted = event("2026-03-01", "fitted", item="wagtail-props", aircraft="heron")
    removed = event("2026-04-02", "removed", item="wagtail-props")
    job = booked("2026-04-01", "2026-04-03", aircraft="heron")
    ahead = of("next_job_in", fitted, job, removed, item="wagtail-props")
    assert [ahead.at(moment(at)) for at in ("2026-04-01", "2026-04-02")] == [2 * DAY, NEVER]


def test_a_job_booked_before_a_part_is_fitted_concerns_it_from_then_on() -> None:
    fitted = event("2026-04-02", "fitted", item="wagtail-props", aircraft="heron")
    ahead = of("next_job_in", booked("2026-04-01", "2026-04-03", aircraft="heron"), fitted, item="wagtail-props")
    assert [ahead.at(moment(at)) for at in ("2026-04-01", "2026-04-02")] == [NEVER, DAY]


def test_a_job_s_own_time_to_start_and_its_home_s() -> None:
    store = book_of(
        FLEET, booked("2026-04-01", "2026-04-03"), booked("2026-04-01", "2026-04-09", "roof", near_people=True)
    )
    roof, home = item_named(store, "job", "roof"), item_named(store, "home", "home")
    assert store.fact(roof, "starts_in").at(moment("2026-04-02")) == 7 * DAY
    assert store.fact(home, "next_job_in").at(moment("2026-04-02")) == DAY
    assert roof.plate == {"id": "roof", "aircraft": None, "airtime_minutes": None, "near_people": True}


# --- under way ------------------------------------------------------------------------------------------------------


def test_a_job_is_under_way_from_its_start_to_its_end_and_twelve_hours_of_grace() -> None:
    timed = of("job_under_way", booked("2026-04-01", "2026-04-03 09:00", ends="2026-04-03 15:00"))
    open_ended = of("job_under_way", booked("2026-04-01", "2026-04-03 09:00"))
    assert holds(timed) == [episode("2026-04-03 09:00", "2026-04-04 03:00")]
    assert holds(open_ended) == [episode("2026-04-03 09:00", "2026-04-03 21:00")]


def test_two_jobs_on_end_are_under_way_without_a_break() -> None:
    found = of(
        "job_under_way", booked("2026-04-01", "2026-04-03 09:00"), booked("2026-04-01", "2026-04-03 20:00", "roof")
    )
    assert holds(found) == [episode("2026-04-03 09:00", "2026-04-04 08:00")]


def test_a_job_put_off_or_cancelled_before_its_start_is_not_under_way_then() -> None:
    put_off = of("job_under_way", booked("2026-04-01", "2026-04-03"), booked("2026-04-02", "2026-04-08"))
    taken_back = of("job_under_way", booked("2026-04-01", "2026-04-03"), cancelled("2026-04-02"))
    assert holds(put_off) == [episode("2026-04-08", "2026-04-08 12:00")]
    assert holds(taken_back) == []


def test_a_cancelled_job_is_not_under_way_and_one_booked_late_is_from_its_booking() -> None:
    broken_off = of("job_under_way", booked("2026-04-01", "2026-04-03"), cancelled("2026-04-03 02:00"))
    told_late = of("job_under_way", booked("2026-04-03 05:00", "2026-04-03"))
    assert holds(broken_off) == [episode("2026-04-03", "2026-04-03 02:00")]
    assert holds(told_late) == [episode("2026-04-03 05:00", "2026-04-03 12:00")]


# --- what keeps it from being flown ---------------------------------------------------------------------------------


def hindrance(*entries: Fields, at: str = "2026-04-08", fleet: dict[str, Entries] = FLEET) -> tuple[object, ...]:
    """How many grounded items and lapsing papers a job counts at an instant, and its words for them."""
    store = book_of(fleet, *entries)
    facts = ("grounded_items", "papers_lapsing", "not_fit")
    return tuple(store.fact(item_named(store, "job", "wedding"), name).at(moment(at)) for name in facts)


ANY = booked("2026-04-01", "2026-04-09")
FREE = (0, 0, "nothing")
HERON_DOWN = event("2026-04-02", "warned", item="heron", of="motor")
WAGTAIL_DOWN = event("2026-04-03", "warned", item="wagtail", of="link")


def test_a_job_for_no_one_aircraft_is_in_trouble_once_none_could_take_it() -> None:
    look = event("2026-04-05", "inspected", item="heron", result="pass")
    warned = "(gave a warning and has not been looked at since)"
    down = f"heron {warned}; wagtail {warned}"
    assert hindrance(ANY, HERON_DOWN) == FREE
    assert hindrance(ANY, HERON_DOWN, WAGTAIL_DOWN) == (2, 0, down)
    assert hindrance(ANY, HERON_DOWN, WAGTAIL_DOWN, look) == FREE


def test_one_aircraft_on_the_ground_and_a_lapsed_paper_of_the_other_leave_none() -> None:
    mark = event("2026-03-01", "renewed", item="heron-mark", expires="2026-04-08")
    assert hindrance(ANY, mark) == FREE
    assert hindrance(ANY, mark, WAGTAIL_DOWN) == (
        1, 1, "wagtail (gave a warning and has not been looked at since); heron-mark (not valid when the job starts)",
    )  # fmt: skip


def test_a_paper_of_the_pilot_that_lapses_keeps_every_aircraft_from_a_job() -> None:
    licence = event("2026-03-01", "renewed", item="licence", expires="2026-04-08")
    assert hindrance(ANY, licence) == (0, 1, "licence (not valid when the job starts)")


def test_an_aircraft_out_of_service_takes_no_job_and_one_does_that_comes_before_it() -> None:
    gone = event("2026-04-04", "retired", item="wagtail")
    assert hindrance(ANY, HERON_DOWN, gone) == (1, 0, "heron (gave a warning and has not been looked at since)")
    assert hindrance(booked("2026-04-01", "2026-04-09", aircraft="wagtail"), gone) == (1, 0, "wagtail (not in service)")
    told_later = event("2026-04-05", "moved", item="wagtail", how="driven")
    assert hindrance(ANY, HERON_DOWN, told_later, at="2026-04-04") == FREE
    comes = ({"id": "wagtail", "in_service": f"2026-04-{day}"} for day in ("07", "10"))
    bought = [FLEET | {"aircraft": [{"id": "heron"}, craft]} for craft in comes]
    assert [hindrance(ANY, HERON_DOWN, at="2026-04-06", fleet=fleet)[0] for fleet in bought] == [0, 1]


def test_with_every_pack_for_an_aircraft_on_the_ground_it_takes_no_job() -> None:
    swollen = [event("2026-04-02", "noticed", item=pack, findings=["swollen"]) for pack in ("B", "any")]
    job = booked("2026-04-01", "2026-04-09", aircraft="heron")
    assert hindrance(job, swollen[0]) == FREE
    assert hindrance(job, *swollen) == (
        2, 0, "B (swollen, leaking or smelling); any (swollen, leaking or smelling)",
    )  # fmt: skip
    assert hindrance(ANY, *swollen) == FREE
    gone = [event("2026-04-03", "retired", item=pack) for pack in ("B", "any")]
    assert hindrance(job, *swollen, gone[0])[0] == 1
    assert hindrance(job, *swollen, *gone) == (2, 0, "B (not in service); any (not in service)")


def test_a_job_needs_a_controller_in_order_while_it_is_in_service() -> None:
    fleet = FLEET | {"controllers": [{"id": "sticks", "fits": ["heron"]}, {"id": "other", "fits": ["wagtail"]}]}
    job = booked("2026-04-01", "2026-04-09", aircraft="heron")
    failed = [event("2026-04-02", "inspected", item=name, result="fail") for name in ("sticks", "other")]
    gone = event("2026-04-03", "retired", item="sticks")
    assert hindrance(job, *failed, fleet=fleet) == (1, 0, "sticks (found unfit and not put right)")
    assert hindrance(job, *failed, gone, fleet=fleet) == FREE


def test_damaged_propellers_count_no_more_once_others_are_fitted() -> None:
    nicked = event("2026-04-02", "inspected", item="wagtail-props", result="fail", findings=["nicked"])
    fitted = event("2026-04-05", "fitted", item="props", aircraft="wagtail")
    job = booked("2026-04-01", "2026-04-09", aircraft="wagtail")
    assert [hindrance(job, nicked, fitted, at=at)[0] for at in ("2026-04-04", "2026-04-06")] == [1, 0]


def test_the_evidence_for_what_keeps_a_job_from_being_flown_is_its_events() -> None:
    store = book_of(FLEET, ANY, HERON_DOWN, WAGTAIL_DOWN)
    assert reasons(store.fact(item_named(store, "job", "wedding"), "grounded_items"), moment("2026-04-08")) == [
        "e1",
        "e2",
        "e3",
    ]


# --- eve and morning ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("starts", "eve", "morning"),
    [
        # Lisbon is on UTC in winter, an hour ahead in summer; its clock changes at 01:00 UTC (tzdata 2026f).
        ("2026-02-03 09:00", "2026-02-02 18:00", "2026-02-03 06:30"),
        ("2026-06-03 08:00", "2026-06-02 17:00", "2026-06-03 05:30"),
        ("2026-03-29 08:00", "2026-03-28 18:00", "2026-03-29 05:30"),  # 09:00 of the day that begins summer time
        ("2026-10-25 09:00", "2026-10-24 17:00", "2026-10-25 06:30"),  # 09:00 of the day that ends it
        ("2026-06-03 23:30", "2026-06-03 17:00", "2026-06-03 21:00"),  # already 4 June there
    ],
)
def test_eve_and_morning_follow_the_local_clock(starts: str, eve: str, morning: str) -> None:
    job = booked("2026-01-01", starts)
    assert holds(of("job_eve", job, zone="Europe/Lisbon")) == [episode(eve, morning)]
    assert holds(of("job_morning", job, zone="Europe/Lisbon")) == [episode(morning, starts)]


def test_a_job_booked_on_its_eve_has_the_rest_of_it() -> None:
    job = booked("2026-04-02 20:00", "2026-04-03 09:00")
    assert holds(of("job_eve", job)) == [episode("2026-04-02 20:00", "2026-04-03 06:30")]


def test_a_job_cancelled_on_its_eve_has_no_morning() -> None:
    entries = [booked("2026-04-01", "2026-04-03 09:00"), cancelled("2026-04-02 22:00")]
    assert holds(of("job_eve", *entries)) == [episode("2026-04-02 18:00", "2026-04-02 22:00")]
    assert holds(of("job_morning", *entries)) == []


@pytest.mark.parametrize("starts", ["1970-01-01 00:00", "2199-12-31 23:59"])
def test_a_job_at_the_end_of_time_is_handled(starts: str) -> None:
    entries = [booked("2026-04-01", starts)]
    for zone in ("Pacific/Honolulu", "Pacific/Kiritimati"):
        assert of("job_eve", *entries, zone=zone).at(moment("2026-04-02")) == "no"
