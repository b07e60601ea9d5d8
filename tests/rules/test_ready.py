"""`shelfbell ready` and the messages of a job: can I fly, with which packs, for how long, and what comes first."""

import json
from typing import Any

import pytest

from scheduler.cells.estimate import Estimate
from scheduler.facts.catalogue import CATALOGUE
from scheduler.reminders.ready import Ready, next_job, ready_for
from scheduler.reminders.ready_text import IN_THE_AIR, NEAR_PEOPLE, pack_sentences
from scheduler.verdicts.rule import Ruleset
from tests.homes import Bench
from tests.rules.library import rules
from tests.support import Entries, Fields, book_of, event, moment

FLEET: dict[str, Entries] = {
    "aircraft": [{"id": "heron", "in_service": "2026-01-01"}, {"id": "wagtail", "in_service": "2026-01-01"}],
    "packs": [
        {"id": "A", "fits": ["heron"], "in_service": "2026-01-01"},
        {"id": "B", "fits": ["heron"], "in_service": "2026-01-01"},
        {"id": "W", "fits": ["wagtail"], "in_service": "2026-01-01"},
    ],
    "propellers": [{"id": "heron-props", "fits": ["heron"], "in_service": "2026-01-01"}],
    "pilots": [{"id": "me"}],
    "papers": [{"id": "certificate", "of": "me", "valid_for": "24 calendar months"}],
    "chargers": [{"id": "bench", "ports": 3, "power": "100 W"}],
}
SHIPPED = Ruleset(list(rules().values()), {}, CATALOGUE)
NOW = "2026-04-09 18:00"
JOB = event(
    "2026-04-05 12:00", "booked", job="harbour", starts="2026-04-10 08:00", aircraft="heron", airtime_minutes=25
)
GOOD = event("2026-04-01 12:00", "renewed", item="certificate", issued="2026-04-01")


def flown(at: str, pack: str, minutes: float) -> Fields:
    """A flight of heron from full down to 20 %: minutes a percent = minutes / 80."""
    return event(at, "flown", aircraft="heron", packs=[pack], minutes=minutes, percent_from=100, percent_to=20)


FLIGHTS = [
    *(flown(f"2026-04-0{day} 10:00", "A", minutes) for day, minutes in ((1, 16), (2, 18), (3, 20))),
    *(flown(f"2026-04-0{day} 11:00", "B", 16) for day in (1, 2, 3)),
    event("2026-04-04 18:00", "charged", item="A", percent=100),
    event("2026-04-04 18:00", "measured", item="B", percent=60),
]


def answer(*entries: Fields, job: str | None = "harbour", at: str = NOW) -> Ready:
    (only,) = ready_for(book_of(FLEET, GOOD, JOB, *FLIGHTS, *entries), SHIPPED, moment(at), job)
    return only


def near(estimate: Estimate | None, value: float, low: float, high: float) -> bool:
    assert estimate is not None
    return (estimate.value, estimate.low, estimate.high) == pytest.approx((value, low, high))


def test_minutes_are_the_median_rate_down_to_the_reserve_with_its_range() -> None:
    """A lasts 18 min for 80 points, 16 to 20; from full to 25 % that is 75 points. B lasts 16 and holds 60 %."""
    told = answer()
    a, b = told.packs
    assert near(a.now, 75 * 18 / 80, 75 * 16 / 80, 75 * 20 / 80)
    assert near(b.now, 35 * 16 / 80, 35 * 16 / 80, 35 * 16 / 80)
    assert near(told.minutes, 16.875 + 7, 15 + 7, 18.75 + 7)
    assert near(told.if_full, 16.875 + 15, 15 + 15, 18.75 + 15)
    assert told.minutes is not None
    assert told.minutes.basis == "the packs' last flights"


def test_a_charge_that_is_reckoned_is_told_as_about() -> None:
    told = answer(event("2026-04-05 12:00", "flown", aircraft="heron", packs=["B"], minutes=5, used_mah=1000))
    (line,) = [line for line in pack_sentences(told) if line.startswith("To charge")]
    assert "B (about " in line
    assert "To charge: B (60 %)" in " ".join(pack_sentences(answer()))


def test_a_charger_that_is_not_in_order_is_not_charged_with() -> None:
    (line,) = [line for line in pack_sentences(answer()) if line.startswith("To charge")]
    assert "one round on bench" in line
    said = pack_sentences(answer(event("2026-04-06 12:00", "inspected", item="bench", result="doubtful")))
    assert said[0] == "Do not charge with bench: what was found on it has not been put right."
    assert not any("on bench" in line for line in said[1:])


def test_packs_that_may_have_taken_a_knock_are_named_before_any_charge() -> None:
    said = pack_sentences(answer(event("2026-04-05 20:00", "mishap", item="heron", severity="crash")))
    assert said[0].startswith("A and B may have taken a knock")
    assert any(line.startswith("To charge") for line in said[1:])


def test_what_is_open_is_told_with_the_urgency_that_the_board_gives_it(home: Bench) -> None:
    home.log("moved", "heron", "freight")
    board = {entry["rule"]: entry["urgency"] for entry in json.loads(home("due", "--json").out)["open"]}
    first = json.loads(home("ready", "--json").out)["aircraft"][0]["first"]
    assert "imu-after-freight" in {todo["rule"] for todo in first}
    assert all(todo["urgency"] == board[todo["rule"]] for todo in first)
    urgency = board["imu-after-freight"].replace("_", " ")
    assert (
        f"better done before you go: not calibrated since shipping or a knock (heron, {urgency})" in home("ready").out
    )


def test_a_pack_without_flights_is_taken_for_its_sisters() -> None:
    (told,) = ready_for(book_of(FLEET, GOOD, JOB, *FLIGHTS[:3]), SHIPPED, moment(NOW), "harbour")
    assert [(pack.item, pack.full.basis if pack.full else "") for pack in told.packs] == [
        ("A", "its last 3 flights"), ("B", "its sisters' flights"),
    ]  # fmt: skip


def test_without_any_flight_nothing_is_promised() -> None:
    (told,) = ready_for(book_of(FLEET, GOOD, JOB), SHIPPED, moment(NOW), "harbour")
    assert (told.minutes, told.if_full) == (None, None)


def test_nothing_on_record_keeps_it_down() -> None:
    told = answer()
    assert (told.ready, told.blockers, [pack.item for pack in told.packs], told.left_behind) == (
        True,
        [],
        ["A", "B"],
        [],
    )


GROUNDED: list[tuple[Fields, str]] = [
    (
        event("2026-04-08 15:00", "mishap", item="heron", severity="hard_landing"),
        "heron not looked at since its mishap",
    ),
    (
        event("2026-04-08 15:00", "warned", item="heron", of="motor"),
        "heron gave a warning and has not been looked at since",
    ),
    (
        event("2026-04-08 15:00", "noticed", item="heron", findings=["noise"]),
        "heron ran oddly and has not been looked at since",
    ),
    (
        event("2026-04-08 15:00", "inspected", item="heron-props", result="fail", findings=["nicked"]),
        "heron-props damaged",
    ),
    (event("2026-04-08 15:00", "renewed", item="certificate", expires="2026-04-09"), "certificate will have lapsed"),
]


@pytest.mark.parametrize(("entry", "why"), GROUNDED, ids=[why for _, why in GROUNDED])
def test_what_grounds_it_is_told(entry: Fields, why: str) -> None:
    told = answer(entry)
    assert not told.ready
    assert why in told.blockers


def test_a_paper_is_judged_at_the_jobs_date() -> None:
    """14 CFR 107.65: good on the eve is not good at the job; the last day is good to its end."""
    lapses = event("2026-04-08 15:00", "renewed", item="certificate", expires="2026-04-09")
    holds = event("2026-04-08 15:00", "renewed", item="certificate", expires="2026-04-10")
    assert not answer(lapses).ready
    assert answer(holds).ready


def test_a_paper_without_a_date_is_asked_for_and_does_not_ground() -> None:
    (told,) = ready_for(book_of(FLEET, JOB, *FLIGHTS), SHIPPED, moment(NOW), "harbour")
    assert told.ready
    assert [(paper.item, paper.until) for paper in told.papers] == [("certificate", None)]


LEFT: list[tuple[list[Fields], str]] = [
    ([event("2026-04-08 15:00", "noticed", item="B", findings=["swollen"])], "swollen, leaking or smelling"),
    ([event("2026-04-08 15:00", "set_aside", item="B")], "set aside"),
    ([event("2026-04-08 15:00", "mishap", item="B", severity="dropped")], "under watch after a knock"),
    (
        [event("2026-04-08 15:00", "inspected", item="B", result="fail", findings=["latch_worn"])],
        "found unfit and not put right",
    ),
    (
        [event(f"2026-04-0{day} 15:00", "measured", item="B", capacity_mah=3000) for day in (7, 8)],
        "pack has lost capacity",
    ),
]


@pytest.mark.parametrize(("entries", "why"), LEFT, ids=[why for _, why in LEFT])
def test_a_pack_that_is_grounded_stays(entries: list[Fields], why: str) -> None:
    told = answer(*entries)
    assert ([pack.item for pack in told.packs], told.left_behind) == (["A"], [("B", why)])


def test_a_retired_pack_is_not_spoken_of() -> None:
    told = answer(event("2026-04-08 15:00", "retired", item="B"))
    assert ([pack.item for pack in told.packs], told.left_behind) == (["A"], [])


def test_a_pack_that_was_handed_in_is_not_spoken_of() -> None:
    told = answer(event("2026-04-08 14:00", "noticed", item="B", findings=["swollen"]),
                  event("2026-04-08 15:00", "handed_in", item="B"))  # fmt: skip
    assert ([pack.item for pack in told.packs], told.left_behind) == (["A"], [])


def test_a_single_pack_that_is_nearly_empty_is_to_be_charged_first(bench: Bench) -> None:
    bench.write("fleet.yaml", "aircraft: [{id: one}]\npacks: [{id: A, fits: [one]}, {id: B, fits: [one]}]\n")
    bench.log("retired", "B")
    bench.log("measured", "A", "5")

    said = bench("ready")

    assert said.out.startswith("No reason on record not to fly one, but charge its pack first: it holds 5 %.\n")
    assert json.loads(bench("ready", "--json").out)["aircraft"][0]["ready"] is True


def test_what_had_better_be_done_first_is_listed() -> None:
    told = answer(event("2026-04-08 15:00", "moved", item="heron", how="freight"))
    assert ("imu-after-freight", "heron") in [(todo.rule, todo.item) for todo in told.open_first]
    assert told.ready


def test_what_was_not_known_yet_is_not_used() -> None:
    earlier, _ = ready_for(book_of(FLEET, GOOD, *FLIGHTS), SHIPPED, moment("2026-04-02 10:30"))
    assert [pack.full.basis for pack in earlier.packs if pack.full] == ["its last 2 flights", "its last flight"]


def test_without_a_job_every_aircraft_is_answered_for() -> None:
    store = book_of(FLEET, GOOD, *FLIGHTS)
    assert next_job(store, moment(NOW)) is None
    assert [told.aircraft for told in ready_for(store, SHIPPED, moment(NOW))] == ["heron", "wagtail"]


def test_the_next_job_is_the_first_that_still_stands() -> None:
    sooner = event("2026-04-05 12:00", "booked", job="mill", starts="2026-04-09 20:00", aircraft="wagtail")
    off = event("2026-04-09 12:00", "cancelled", job="mill")
    assert next_job(book_of(FLEET, JOB, sooner), moment("2026-04-09 11:00")) == "mill"
    assert next_job(book_of(FLEET, JOB, sooner, off), moment(NOW)) == "harbour"


SETTINGS = "zone: UTC\npractice: [packs, propellers, aircraft, jobs, papers-us]\nchannels: {phone: {url: $PHONE}}\n"


@pytest.fixture
def home(bench: Bench) -> Bench:
    """The fleet above with the shipped rules on, at six in the evening before the job."""
    import yaml

    bench.write("shelfbell.yaml", SETTINGS)
    bench.write("fleet.yaml", yaml.safe_dump(json.loads(json.dumps(FLEET))))
    bench.write("rules/own.yaml", "rules: []\n")
    bench.set_clock(NOW)
    bench.write("given.jsonl", "\n".join(json.dumps(entry) for entry in [GOOD, JOB, *FLIGHTS]))
    assert bench("intake", str(bench.path / "given.jsonl")).status == 0
    return bench


def test_the_minutes_of_a_single_pack_are_its_own(home: Bench) -> None:
    home.log("set_aside", "B")

    assert "min down to 25 %" in home("ready").out


def test_the_command_answers_in_a_few_lines(home: Bench) -> None:
    lines = home("ready").out.splitlines()

    assert lines[0] == "Harbour, Fri 10 Apr 08:00: heron ready as far as I know, 2 packs."
    assert "  - Full: A." in lines
    assert any(line.startswith("  - To charge: B (60 %): about 3") and "attended" in line for line in lines)
    spread = "(30 to 34, estimate from the packs' last flights)"
    assert f"  - Charged, about 32 min in all, each pack down to 25 % {spread}; booked 25." in lines
    assert lines[-1] == "Ready by the log does not mean fit to fly: your own look comes before each flight."


def test_the_command_answers_programs(home: Bench) -> None:
    told: dict[str, Any] = json.loads(home("ready", "harbour", "--json").out)

    assert told["job"] == "harbour"
    (heron,) = told["aircraft"]
    assert (heron["aircraft"], heron["ready"], heron["booked_minutes"], heron["charge"]) == ("heron", True, 25.0, ["B"])
    assert heron["minutes_full"] == {"value": 31.9, "low": 30.0, "high": 33.8, "basis": "the packs' last flights"}


def test_it_answers_as_of_another_instant(home: Bench) -> None:
    assert "not booked" in home("ready", "harbour", "--at", "2026-04-01T12:00:00Z").err
    assert home("ready", "--at", "2026-04-01T12:00:00Z").out.startswith(
        "No reason on record not to fly heron, but charge first: none of its 2 packs is known to hold more than 25 %.\n"
    )


def test_a_job_that_is_over_is_not_judged(home: Bench) -> None:
    over = "harbour is over: it {} Fri 10 Apr {}. `shelfbell ready` answers for the next job, or for a flight now\n"
    assert home("ready", "harbour", "--at", "2026-04-10T19:59:00Z").status == 0
    assert home("ready", "harbour", "--at", "2026-04-10T20:00:00Z") == (2, "", over.format("began", "08:00"))

    home.log("booked", "harbour", "--starts", "2026-04-10T08:00:00Z", "--ends", "2026-04-10T11:00:00Z")
    assert home("ready", "harbour", "--at", "2026-04-10T10:59:00Z").status == 0
    assert home("ready", "harbour", "--at", "2026-04-10T11:00:00Z") == (2, "", over.format("ended", "11:00"))


def test_a_job_that_runs_is_said_to_run(home: Bench) -> None:
    before, begun = (home("ready", "harbour", "--at", f"2026-04-10T0{time}Z").out for time in ("7:59:00", "8:00:00"))
    assert before.startswith("Harbour, Fri 10 Apr 08:00: heron ready")
    assert begun.startswith("Harbour, under way since Fri 10 Apr 08:00: heron ready")


def test_an_unknown_job_is_refused_with_the_next_ones_that_are_booked(home: Bench) -> None:
    home.log("booked", "off", "2026-04-20T08:00:00Z", "--at", "2026-04-09T08:00:00Z")
    home.log("cancelled", "off")
    for day in range(17, 10, -1):
        home.log("booked", f"roof-{day}", f"2026-04-{day}T08:00:00Z")
    there = "ooked ahead: harbour, roof-11, roof-12, roof-13, roof-14 and 3 more\n"

    assert home("ready", "harbor") == (2, "", f"there is no job 'harbor', did you mean 'harbour'? B{there}")
    assert home("log", "cancelled", "xyz") == (2, "", f"there is no job 'xyz'; b{there}")


def test_another_aircraft_is_offered_when_this_one_is_grounded(home: Bench) -> None:
    home.log("mishap", "heron", "hard_landing")

    said = home("ready").out

    assert said.startswith("Harbour, Fri 10 Apr 08:00: do not fly heron until this is settled: heron not looked at")
    assert "No time? Take wagtail (1 pack), or call the client." in said


def test_the_client_is_called_when_the_rule_rings_and_only_then(home: Bench) -> None:
    """A job for no one aircraft: with one of the two on the ground the other takes it, with both nobody does."""
    home.log("booked", "harbour", "--starts", "2026-04-10T08:00:00Z")
    for craft, trouble in (("heron", False), ("wagtail", True)):
        answered = home.log("warned", craft, "motor")

        rung = {line["rule"] for line in json.loads(home("due", "--json").out)["open"]}
        assert ("job-grounded-item" in rung) == trouble
        assert ("No other aircraft is ready: call the client." in home("ready").out) == trouble
        why = "heron (gave a warning and has not been looked at since); wagtail"
        assert (f"The job cannot be flown as things stand: {why}" in answered) == trouble


def test_the_answer_to_new_propellers_tells_what_becomes_of_the_job(home: Bench) -> None:
    home.log("inspected", "heron-props", "fail", "nicked")

    answered = home.log("replaced", "heron-props")

    assert "Settled: job cannot be flown as things stand (harbour)." in answered
    assert "Closed: propeller damaged, loose or struck (heron-props)." in answered


def test_the_message_of_the_eve_is_the_same_answer_gathered(home: Bench) -> None:
    """A line each, then what practice teaches, under the title of the rule; near people the guards as well."""
    home.log("booked", "harbour", "--starts", "2026-04-10T08:00:00Z", "--aircraft", "heron", "--near_people", "yes")

    board = json.loads(home("due", "--json").out)
    (eve,) = [line for line in board["open"] if line["rule"] == "eve-of-job"]

    assert (eve["title"], eve["item"], eve["urgency"]) == ("Job tomorrow", "harbour", "today")
    lines = eve["do"].splitlines()
    assert lines[:2] == ["harbour, Fri 10 Apr 08:00: heron ready as far as I know, 2 packs.", "- Full: A."]
    assert lines[-2:] == [NEAR_PEOPLE, IN_THE_AIR]
    assert all(line.startswith("- ") for line in lines[1:-2])
    assert "attended" in eve["caution"]


def test_two_jobs_on_one_day_are_told_one_below_the_other(home: Bench) -> None:
    answered = home.log("booked", "mill", "--starts", "2026-04-10T12:00:00Z", "--aircraft", "wagtail")
    lines = home("due").out.splitlines()

    assert "Open: mill, Fri 10 Apr 12:00: no reason on record not to fly wagtail" in answered
    assert "\n  - Read first: W; nothing on record tells the charge.\n" in answered
    assert "  - harbour, Fri 10 Apr 08:00: heron ready as far as I know, 2 packs." in lines
    unread = "no reason on record not to fly wagtail, but nothing tells how much its pack holds."
    assert f"      mill, Fri 10 Apr 12:00: {unread}" in lines
    assert "      - Full: A." in lines


def test_an_aircraft_that_must_not_fly_is_told_first_and_what_to_do_below(home: Bench) -> None:
    home.log("mishap", "heron", "hard_landing")

    said = home("rehearse", "--from", "-1h", "--to", "in 1h", "--messages").out
    head, instead = said.partition("\nharbour, ")[2].splitlines()[:2]

    assert head.startswith("Fri 10 Apr 08:00: do not fly heron until this is settled: heron not looked at")
    assert instead == "- No time? Take wagtail (1 pack), or call the client."


def test_with_no_aircraft_in_service_the_message_of_the_eve_says_so(home: Bench) -> None:
    home.log("booked", "harbour", "--starts", "2026-04-10T08:00:00Z")
    for craft in ("heron", "wagtail"):
        home.log("retired", craft)

    told = {line["rule"]: line["do"] for line in json.loads(home("due", "--json").out)["open"]}

    assert told["eve-of-job"].startswith("There is no aircraft in service")
    assert told["job-grounded-item"].startswith(
        "The job cannot be flown as things stand: heron (not in service); wagtail (not in service)."
    )
    assert home("ready").out == "There is no aircraft in service: fleet.yaml names them.\n"


@pytest.mark.parametrize("phrase", ["sideways", "obstacle sensors", "land", "Look before each flight"])
def test_practice_for_the_air_is_in_it(phrase: str) -> None:
    assert phrase in IN_THE_AIR


def test_a_fresh_set_of_propellers_is_remembered(home: Bench) -> None:
    home.log("replaced", "heron-props")
    assert "Fresh propellers (heron-props): check snug by hand, pack out" in home("ready").out


def test_of_an_empty_log_nothing_is_called_ready(bench: Bench) -> None:
    bench.write("shelfbell.yaml", "zone: UTC\npractice: [packs, aircraft, papers-us]\n")
    bench.write("rules/own.yaml", "rules: []\n")

    said = bench("ready").out

    assert said.startswith("No reason on record not to fly heron, but nothing tells how much its 3 packs hold.\n")
    assert "  - Read first: A, B and C; nothing on record tells the charge.\n" in said
    assert "ready as far as I know" not in said


def test_without_a_job_no_client_is_called(home: Bench) -> None:
    home.log("cancelled", "harbour")
    home.log("mishap", "heron", "hard_landing")

    said = home("ready").out

    assert "No time? Take wagtail (1 pack)." in said
    assert "client" not in said


def test_a_range_that_rounds_to_one_number_is_none() -> None:
    exact = answer(at=NOW)._replace(if_full=Estimate(32.1, 31.9, 32.2, "the packs' last flights"))
    said = "Charged, about 32 min in all, each pack down to 25 % (estimate from the packs' last flights); booked 25."
    assert said in pack_sentences(exact)
