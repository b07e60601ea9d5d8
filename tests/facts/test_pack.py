"""Packs: latched findings, the watch after a knock, what is usable, health, and the aircraft's mishaps."""

import pytest

from scheduler.base.instants import DAY, MAX_INSTANT
from scheduler.facts.fact_store import FactStore
from scheduler.facts.service import retired_at
from scheduler.facts.timeline import Timeline
from tests.support import Fields, book_of, event, fact, moment, reasons

FLEET = {
    "aircraft": [{"id": "heron"}, {"id": "wagtail"}],
    "packs": [{"id": name, "capacity": "5000 mAh", "in_service": "2026-01-01"} for name in "ABC"],
}
NOON = "2026-04-01 12:00"


def known(*entries: Fields) -> FactStore:
    return book_of(FLEET, *entries)


def on(at: str, what: str, item: str = "B", **fields: object) -> Fields:
    return event(at, what, item=item, **fields)


def flown(at: str, *packs: str, minutes: float = 20, aircraft: str = "heron", **fields: object) -> Fields:
    return event(at, "flown", aircraft=aircraft, packs=list(packs), minutes=minutes, **fields)


def days(timeline: Timeline, *numbers: int) -> list[object]:
    """The values at noon of some days of April."""
    return [timeline.at(moment(f"2026-04-{number:02} 12:00")) for number in numbers]


def test_when_a_look_ends_the_watch_is_known_until_then() -> None:
    dented = on("2026-04-02 06:00", "noticed", findings=["dented"])
    store = book_of(FLEET, on(NOON, "mishap", severity="dropped"), dented, zone="Europe/Lisbon")
    found = fact(store, "B", "look_counts")
    instants = (
        "2026-04-01 11:00",
        NOON,
        "2026-04-02 05:00",
        "2026-04-02 06:00",
        "2026-04-03 05:59",
        "2026-04-03 06:00",
    )
    assert [found.at(moment(at)) for at in instants] == [
        "now", "from Thu 2 Apr 13:00 on", "from Thu 2 Apr 13:00 on", "from Fri 3 Apr 07:00 on",
        "from Fri 3 Apr 07:00 on", "now",
    ]  # fmt: skip


@pytest.mark.parametrize("finding", ["swollen", "leaking", "smell", "discoloured"])
@pytest.mark.parametrize("what", ["inspected", "noticed"])
def test_a_stop_sign_is_latched_and_no_later_pass_clears_it(what: str, finding: str) -> None:
    result = {"result": "doubtful"} if what == "inspected" else {}
    found = fact(known(on(NOON, what, findings=[finding], **result), on("2026-04-09", "inspected", result="pass")),
                 "B", "swollen")  # fmt: skip
    assert days(found, 1, 20) == ["yes", "yes"]
    assert found.at(moment(NOON) - 1) == "no"
    assert reasons(found, moment("2026-05-01")) == ["e1"]


def test_a_dent_is_no_stop_sign() -> None:
    assert days(fact(known(on(NOON, "noticed", findings=["dented"])), "B", "swollen"), 1) == ["no"]


def test_water_is_latched_for_the_pack_that_was_in_flight() -> None:
    store = known(flown(NOON, "B"), on(NOON, "mishap", "heron", severity="water"))
    assert [days(fact(store, pack, "wet"), 2) for pack in "AB"] == [["no"], ["yes"]]


@pytest.mark.parametrize(
    ("chemistry", "fields", "deep"),
    [
        ("lipo", {"rest_volts": 11.9}, "yes"),  # 4 cells, 2.975 V each
        ("lipo", {"rest_volts": 12.0}, "no"),
        ("lipo", {"cell_volts": [3.6, 3.6, 2.9, 3.6]}, "yes"),  # the lowest cell counts
        ("li-ion", {"rest_volts": 11.9}, "no"),
        ("li-ion", {"rest_volts": 9.9}, "yes"),
    ],
)
def test_a_cell_at_rest_below_its_floor_is_latched(chemistry: str, fields: Fields, deep: str) -> None:
    fleet = {"packs": [{"id": "B", "chemistry": chemistry}]}
    store = book_of(fleet, on(NOON, "measured", **fields), on("2026-04-02", "measured", rest_volts=15.2))
    assert days(fact(store, "B", "too_deep"), 1, 2) == [deep, deep]


def test_the_deepest_cell_is_that_of_the_deepest_reading_so_far() -> None:
    readings = [(1, 2.9), (2, 2.4), (3, 2.7), (4, 3.5)]
    store = known(
        *(on(f"2026-04-0{day} 09:00", "measured", cell_volts=[volts, 3.4, 3.4, 3.4]) for day, volts in readings)
    )
    assert days(fact(store, "B", "deep_cell"), 1, 2, 3, 4) == [2.9, 2.4, 2.4, 2.4]


def test_the_lowest_cell_is_that_of_the_last_resting_voltage() -> None:
    store = known(
        on(NOON, "measured", cell_volts=[3.8, 3.7, 3.81, 3.8]), on("2026-04-02 12:00", "measured", percent=50),
                 on("2026-04-03 12:00", "measured", rest_volts=15.2))  # fmt: skip
    found = fact(store, "B", "lowest_cell")
    assert days(found, 1, 2, 3) == [3.7, 3.7, 3.8]
    assert found.at(moment(NOON) - 1) is None


def test_health_is_unknown_before_the_first_capacity_test() -> None:
    found = fact(known(on(NOON, "measured", capacity_mah=4100)), "B", "health")
    assert found.at(moment(NOON) - 1) is None
    assert found.at(moment(NOON)) == 82


# --- the watch ------------------------------------------------------------------------------------------------------


def test_a_knock_is_watched_until_a_look_passed_a_day_or_more_after_it() -> None:
    store = known(
        on("2026-04-05 12:00", "mishap", severity="dropped"),
        on("2026-04-06 11:59", "inspected", result="pass"),  # too early
        on("2026-04-07 10:00", "inspected", result="doubtful"),
        on("2026-04-08 10:00", "inspected", result="pass"),
    )
    found = fact(store, "B", "under_watch")
    assert days(found, 4, 5, 6, 7, 8) == ["no", "yes", "yes", "yes", "no"]
    assert reasons(found, moment("2026-04-07 12:00")) == ["e1"]


def test_a_look_passed_exactly_a_day_after_counts() -> None:
    store = known(on(NOON, "mishap", severity="dropped"), on("2026-04-02 12:00", "inspected", result="pass"))
    assert days(fact(store, "B", "under_watch"), 1, 2) == ["yes", "no"]


def test_a_second_knock_restarts_the_watch() -> None:
    store = known(
        on(NOON, "mishap", severity="dropped"),
        on("2026-04-02 10:00", "noticed", findings=["dented"]),
        on("2026-04-02 13:00", "inspected", result="pass"),
    )
    assert days(fact(store, "B", "under_watch"), 3) == ["yes"]


@pytest.mark.parametrize(
    ("mishap_at", "concerned"),
    [
        ("2026-04-01 11:39", ""),  # before the take-off
        ("2026-04-01 11:40", "B"),
        ("2026-04-01 12:30", "B"),
        ("2026-04-01 12:31", ""),  # more than half an hour after the landing
    ],
)
def test_a_mishap_concerns_the_packs_of_a_flight_under_way_or_just_landed(mishap_at: str, concerned: str) -> None:
    store = known(flown(NOON, "B"), flown(NOON, "C", aircraft="wagtail"),
                 on(mishap_at, "mishap", "heron", severity="hard_landing"))  # fmt: skip
    watched = "".join(pack for pack in "ABC" if days(fact(store, pack, "under_watch"), 2) == ["yes"])
    assert watched == concerned


def test_of_two_packs_that_flew_one_after_the_other_only_the_last_is_concerned() -> None:
    store = known(flown("2026-04-01 11:40", "A"), flown(NOON, "B"),
                 on("2026-04-01 12:05", "mishap", "heron", severity="hard_landing"))  # fmt: skip
    assert [days(fact(store, pack, "under_watch"), 2) for pack in "AB"] == [["no"], ["yes"]]


@pytest.mark.parametrize(
    ("mishap", "words"),
    [
        (on(NOON, "mishap", "heron", severity="hard_landing"), "hard landing of heron"),
        (
            on("2026-04-01 12:12", "mishap", "heron", severity="hard_landing"),
            "hard landing of heron; inferred: the last flight before it, landed 12 min earlier, was with B",
        ),
        (on("2026-04-01 12:12", "mishap", "heron", severity="crash", packs=["B"]), "crash of heron"),
        (on("2026-04-01 12:12", "mishap", severity="dropped"), "dropped"),
        (on("2026-04-01 12:12", "noticed", findings=["dented"]), "a dent was found"),
    ],
)
def test_the_words_for_a_knock_say_where_the_pack_is_inferred(mishap: Fields, words: str) -> None:
    assert days(fact(known(flown(NOON, "B"), mishap), "B", "knock"), 2) == [words]


def test_a_mishap_that_names_its_packs_concerns_those_and_no_other() -> None:
    store = known(flown(NOON, "B"), on(NOON, "mishap", "heron", severity="crash", packs=["A"]))
    assert [days(fact(store, pack, "under_watch"), 2) for pack in "AB"] == [["yes"], ["no"]]


def test_two_packs_that_flew_together_are_both_concerned() -> None:
    store = known(flown(NOON, "A", "B"), on(NOON, "mishap", "heron", severity="tip_over"))
    assert [days(fact(store, pack, "under_watch"), 2) for pack in "ABC"] == [["yes"], ["yes"], ["no"]]


UNCLAIMED = on(NOON, "mishap", "heron", severity="hard_landing")
"""A mishap that names no pack."""


def test_after_a_mishap_that_nothing_ties_to_a_pack_none_is_known_to_be_unharmed() -> None:
    store = known(UNCLAIMED, on("2026-04-02 11:59", "inspected", result="pass"),
                 on("2026-04-03 11:00", "inspected", result="pass"))  # fmt: skip
    assert days(fact(store, "B", "under_watch"), 1, 2, 3) == [None, None, "no"]
    assert reasons(fact(store, "B", "under_watch"), moment("2026-04-02 12:00")) == ["e1"]
    assert days(fact(store, "B", "usable"), 1) == ["yes"]


@pytest.mark.parametrize(
    "entry",
    [
        flown("2026-04-01 12:10", "A"),  # it tells which pack was in the mishap
        flown("2026-04-01 12:10", "B", aircraft="wagtail"),  # it was elsewhere
        on("2026-03-31 12:00", "set_aside"),
        on("2026-03-31 12:00", "retired"),
        on("2026-04-01 13:00", "replaced"),
    ],
)
def test_a_pack_that_cannot_have_been_in_it_stays_known(entry: Fields) -> None:
    assert days(fact(known(UNCLAIMED, entry), "B", "under_watch"), 2) == ["no"]


def test_only_packs_that_fit_may_have_been_in_it() -> None:
    fleet = {**FLEET, "packs": [{"id": "A", "fits": ["heron"], "in_service": "2026-01-01"},
                                {"id": "W", "fits": ["wagtail"], "in_service": "2026-01-01"}]}  # fmt: skip
    store = book_of(fleet, UNCLAIMED)
    assert [days(fact(store, pack, "under_watch"), 2) for pack in "AW"] == [[None], ["no"]]


def test_a_known_knock_outweighs_a_doubtful_one_and_each_has_its_own_watch() -> None:
    store = known(
        on("2026-04-01 06:00", "mishap", severity="dropped"),
        UNCLAIMED,
        on("2026-04-02 08:00", "inspected", result="pass"),  # a day after the fall, not after the mishap
        on("2026-04-03 13:00", "inspected", result="pass"),
    )
    assert days(fact(store, "B", "under_watch"), 1, 2, 4) == ["yes", None, "no"]
    assert days(fact(store, "B", "usable"), 1, 2, 4) == ["no", "yes", "yes"]


def test_after_an_aircraft_was_in_water_no_pack_that_it_may_have_carried_is_known_to_be_dry() -> None:
    drowned = on(NOON, "mishap", "heron", severity="water")
    passed = on("2026-04-03 13:00", "inspected", result="pass")
    itself = on("2026-04-05 12:00", "mishap", severity="water")
    found = fact(known(drowned, passed, itself), "B", "wet")
    assert (found.at(moment(NOON) - 1), days(found, 1, 4, 5)) == ("no", [None, None, "yes"])
    earlier = on("2026-03-31 12:00", "mishap", severity="water")
    assert days(fact(known(earlier, drowned), "B", "wet"), 1) == ["yes"]
    assert days(fact(known(UNCLAIMED), "B", "wet"), 1) == ["no"]
    drowned = on(NOON, "mishap", "heron", severity="water", packs=["A"])
    assert [days(fact(known(drowned), pack, "wet"), 1) for pack in "AB"] == [["yes"], ["no"]]


# --- past mending ---------------------------------------------------------------------------------------------------

SWELLING = on(NOON, "noticed", findings=["swollen"])
DROWNED = on(NOON, "mishap", severity="water")
DEEP = on(NOON, "measured", rest_volts=10.0)


@pytest.mark.parametrize("found", [SWELLING, DROWNED, DEEP], ids=["swollen", "wet", "too_deep"])
def test_what_no_look_clears_is_past_mending(found: Fields) -> None:
    passed = on("2026-04-03 13:00", "inspected", result="pass")
    timeline = fact(known(on("2026-03-01", "charged"), found, passed), "B", "past_mending")
    assert (timeline.at(moment(NOON) - 1), days(timeline, 1, 4)) == ("no", ["yes", "yes"])
    assert reasons(timeline, moment("2026-04-04")) == ["e2"]


def test_a_pack_is_past_mending_from_the_first_reason_until_it_is_replaced() -> None:
    swollen = on("2026-04-03 12:00", "noticed", findings=["swollen"])
    timeline = fact(known(DROWNED, swollen, on("2026-04-05 12:00", "replaced")), "B", "past_mending")
    assert days(timeline, 1, 3, 5) == ["yes", "yes", "no"]
    assert reasons(timeline, moment("2026-04-04")) == ["e1"]


def test_a_pack_that_may_have_been_in_water_is_not_past_mending_as_far_as_is_known() -> None:
    store = known(on(NOON, "mishap", "heron", severity="water"), on("2026-04-03 12:00", "mishap", severity="water"))
    assert days(fact(store, "B", "wet"), 1, 3) == [None, "yes"]
    assert days(fact(store, "B", "past_mending"), 1, 3) == ["no", "yes"]


@pytest.mark.parametrize(
    ("found", "name"), [(SWELLING, "swollen"), (DROWNED, "wet"), (DEEP, "too_deep")], ids=["swollen", "wet", "too_deep"]
)
def test_what_was_found_before_a_pack_came_into_use_by_its_nameplate_is_known_and_stays(
    found: Fields, name: str
) -> None:
    fleet = {"packs": [{"id": "B", "in_service": "2026-04-10"}]}
    store = book_of(fleet, found, on("2026-04-12 10:00", "set_aside"))
    names = (name, "past_mending", "set_aside", "handed_in")
    assert [fact(store, "B", each).at(moment(NOON) - 1) for each in names] == ["no", "no", "no", "no"]
    assert [days(fact(store, "B", each), 1, 11, 12) for each in names] == [
        ["yes", "yes", "yes"], ["yes", "yes", "yes"], ["no", "no", "yes"], ["no", "no", "no"]
    ]  # fmt: skip
    assert days(fact(store, "B", "usable"), 1, 11) == ["no", "no"]


# --- usable ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "ground",
    [
        on(NOON, "noticed", findings=["swollen"]),
        on(NOON, "mishap", severity="water"),
        on(NOON, "measured", rest_volts=10.0),
        on(NOON, "mishap", severity="dropped"),
        on(NOON, "set_aside"),
        on(NOON, "handed_in"),
        on(NOON, "retired"),
    ],
    ids=lambda ground: str(ground["what"]),
)
def test_a_pack_is_usable_until_the_first_reason_against_it(ground: Fields) -> None:
    found = fact(known(ground), "B", "usable")
    assert found.at(moment(NOON) - 1) == "yes"
    assert found.at(moment(NOON)) == "no"


def test_the_reason_why_a_pack_is_not_usable_is_the_event_that_grounds_it() -> None:
    found = fact(known(on("2026-03-01", "charged"), on(NOON, "set_aside")), "B", "usable")
    assert reasons(found, moment(NOON)) == ["e2"]


def test_a_pack_set_aside_is_usable_after_a_pass_unless_another_reason_remains() -> None:
    aside, passed = on(NOON, "set_aside"), on("2026-04-05 12:00", "inspected", result="pass")
    sound = fact(known(aside, passed), "B", "usable")
    swollen = fact(known(aside, on("2026-04-03", "noticed", findings=["swollen"]), passed), "B", "usable")
    assert days(sound, 1, 4, 5) == ["no", "no", "yes"]
    assert days(swollen, 1, 4, 5) == ["no", "no", "no"]


def test_a_usable_pack_changes_no_more() -> None:
    assert fact(known(), "B", "usable").matches(("yes",)).next_change(moment(NOON)) is None


def test_a_pack_that_came_into_use_at_the_epoch_is_usable_from_then_on() -> None:
    found = fact(book_of({"packs": [{"id": "B", "in_service": "1970-01-01"}]}), "B", "usable")
    assert [found.at(-1), found.at(0)] == [None, "yes"]


# --- replaced, retired ----------------------------------------------------------------------------------------------

WORN = [
    on("2026-02-01", "charged"),
    flown("2026-02-01 12:00", "B", percent_to=30),
    on("2026-02-02", "measured", capacity_mah=3000),
    on("2026-02-03", "noticed", findings=["swollen"]),
    on("2026-02-04", "set_aside"),
    on("2026-02-05", "mishap", severity="water"),
]


def test_after_replaced_facts_are_as_on_the_first_day() -> None:
    store = known(*WORN, on(NOON, "replaced"))
    before, after = moment(NOON) - 1, moment(NOON)
    names = ["charge", "cycles", "flights", "airtime", "health", "swollen", "wet", "set_aside", "usable"]
    found = {name: (fact(store, "B", name).at(before), fact(store, "B", name).at(after)) for name in names}
    assert found == {
        "charge": (30, None),
        "cycles": (pytest.approx(0.7), 0),
        "flights": (1, 0),
        "airtime": (20 * 60_000_000, 0),
        "health": (60, None),
        "swollen": ("yes", "no"),
        "wet": ("yes", "no"),
        "set_aside": ("yes", "no"),
        "usable": ("no", "yes"),
    }


def test_age_restarts_at_each_replacement_and_counts_go_on_within_a_lifetime() -> None:
    store = known(*WORN, on(NOON, "replaced"), flown("2026-04-02 12:00", "B", percent_from=100, percent_to=50))
    assert days(fact(store, "B", "age"), 3) == [2 * DAY]
    assert days(fact(store, "B", "cycles"), 3) == [0.5]
    assert fact(store, "B", "age").at(moment("2026-01-03")) == 2 * DAY


def test_a_retired_pack_is_out_of_service_for_good() -> None:
    store = known(on(NOON, "retired"))
    assert days(fact(store, "B", "retired"), 1, 9) == ["yes", "yes"]
    assert fact(store, "B", "retired").at(moment(NOON) - 1) == "no"
    assert retired_at(store, store.fleet["B"]) == moment(NOON)


def test_a_new_pack_under_the_id_of_a_retired_one_is_in_service() -> None:
    store = known(on(NOON, "retired"), on("2026-04-05", "replaced"))
    assert days(fact(store, "B", "usable"), 1, 5) == ["no", "yes"]
    assert days(fact(store, "B", "retired"), 1, 5) == ["yes", "no"]
    assert retired_at(store, store.fleet["B"]) == MAX_INSTANT


def test_a_flight_that_took_nothing_out_of_a_pack_without_self_discharge_divides_by_nothing() -> None:
    flight = event(NOON, "flown", aircraft="heron", packs=["B"], minutes=10, percent_from=80, percent_to=80)
    store = book_of({"packs": [{"id": "B"}], "aircraft": [{"id": "heron"}]}, flight)
    assert fact(store, "B", "going_low_in").at(moment(NOON)) == float("inf")


@pytest.mark.parametrize(
    ("entry", "used"),
    [
        (on("2026-04-02 12:00", "charged"), "no"),
        (on("2026-04-02 12:01", "charged"), "yes"),
        (flown("2026-04-02 12:20", "B", minutes=20), "no"),
        (flown("2026-04-02 12:21", "B", minutes=20), "yes"),
        (on("2026-04-03 12:00", "charged"), "yes"),
        (on("2026-04-03 12:01", "charged"), "no"),
    ],
)
def test_a_pack_used_while_set_aside_stays_so_until_a_look_clears_it(entry: Fields, used: str) -> None:
    """What is logged for the very instant of the set-aside came before it, and so what came at that of the look."""
    entries = [on("2026-04-02 12:00", "set_aside"), on("2026-04-03 12:00", "inspected", result="pass"), entry]
    before_it = moment("2026-04-03 12:00") - 1
    at = before_it if entry["at"] < entries[1]["at"] else moment(str(entry["at"])[:16].replace("T", " "))
    assert fact(known(*entries), "B", "used_set_aside").at(at) == used
