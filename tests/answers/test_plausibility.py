"""What cannot be is refused, what is doubtful is asked aloud. The bounds are estimates of our own, no source."""

import json

import pytest

from tests.homes import FLEET, RULES, Bench

MORE = FLEET.replace("  - {id: heron,", "  - {id: tern, in_service: 2026-01-01}\n  - {id: heron,").replace(
    "- {id: C, fits: [heron], in_service: 2026-01-01}",
    "- {id: C, fits: [heron], in_service: 2026-01-01}\n"
    "  - {id: T, fits: [tern], cells: 2, chemistry: lihv, capacity: 2450 mAh, in_service: 2026-01-01}",
)
REFUSED = {
    "the voltage of one cell for the pack": (
        "measured A --rest_volts 3.83",
        "rest_volts 3.83 V for A, 4 cells: it is the voltage of the whole pack; "
        "did you mean --cell_volts VOLTS,VOLTS,VOLTS,VOLTS, or --rest_volts 15.32?",
    ),
    "more than a full pack has": ("measured A --rest_volts 25", "6.25 V per cell is more than a full lipo cell has"),
    "four cells of two": ("measured T --cell_volts 3.8,3.8,3.8,3.8", "cell_volts has 4 voltages and T 2 cells"),
    "a cell beyond full": (
        "measured A --cell_volts 4.2,4.2,4.2,4.35",
        "cell_volts 4.35 V is more than a full lipo cell",
    ),
    "a low voltage beyond full": (
        "flown heron A 10 40 --lowest_volts 21",
        "lowest_volts 21 V is more than A has when full",
    ),
    "a pass that found something": ("inspected heron pass --findings cracked", "a look that found cracked is no pass"),
    "a paper of tomorrow's tomorrow": (
        "renewed certificate --issued 2026-05-10",
        "issued 2026-05-10 lies ahead of 2026-04-10",
    ),
    "a job that is not booked": ("cancelled bran", "there is no job 'bran', did you mean 'barn'? Booked ahead: barn"),
    "a job cancelled before": ("cancelled mill", "mill is cancelled already"),
    "packs that go by comma": (
        "charged A B",
        "B came where percent was expected; separate several items with commas: A,B",
    ),
    "a comma with a blank after it": ("charged A, B", "separate several with commas, without blanks: charged A,B\n"),
    "a comma with a blank before it": (
        "charged A ,B 95",
        "separate several with commas, without blanks: charged A,B 95\n",
    ),
    "a comma between blanks": (
        "flown heron A , B 17",
        "separate several with commas, without blanks: flown heron A,B 17\n",
    ),
    "a comma before the item": (
        "inspected ,heron pass",
        "separate several with commas, without blanks: inspected heron pass\n",
    ),
    "a finding after a blank": (
        "noticed A hot, smell",
        "separate several with commas, without blanks: noticed A hot,smell\n",
    ),
    "a comma alone": ("charged ,", "an item is missing: separate items by single commas"),
    "an item where none goes first": (
        "travel_planned heron",
        "heron came where how was expected; usage: shelfbell log travel_planned HOW CARRIES LEAVES",
    ),
    "a reminder without its rule": ("seen heron", "seen: 'rule' is missing"),
    "another word for a finding": ("noticed A puffy", "did you mean 'swollen'?"),
    "a decimal comma": ("flown heron A 16,5", "did you mean 16.5?"),
    "minutes with their unit": ("flown heron A 45m", "did you mean 45?"),
}
ASKED = {
    "a pack set aside": (
        ["set_aside A"],
        "charged A",
        "Sure? A is set aside: was it really A? If so, do not charge or fly it",
    ),
    "a swollen pack flown": (
        ["noticed A swollen"],
        "flown heron A 12 40",
        "Sure? A is reported swollen: was it really A?",
    ),
    "a pack handed in": (["handed_in A"], "charged A", "Sure? A was handed in"),
    "a swollen pack replaced": (
        ["noticed A swollen"],
        "replaced A",
        "Sure? the old A is reported swollen, and nothing here watches it any more: do not charge or use it.",
    ),
    "an aircraft after a mishap": (
        ["mishap heron crash --at -2h"],
        "flown heron B 12 40",
        "Sure? heron had a mishap and has not passed a look since",
    ),
    "a slip in the minutes": ([], "flown heron A 165 40", "Sure? 165 min is a very long flight."),
    "far longer than ever": (
        ["flown heron A 12 --at -5h", "flown heron A 14 --at -4h", "flown heron A 12 --at -3h"],
        "flown heron A 45",
        "Sure? 45 min is more than twice the longest flight of heron so far, 14 min.",
    ),
    "a pack of another aircraft": ([], "flown heron T 9 40", "Sure? T fits tern by fleet.yaml, not heron."),
    "what was used for what was left": (
        ["charged A --at -2h"],
        "flown heron A 20 95",
        "Sure? 20 min took only 5 % of A?",
    ),
    "landed with more than it had": (
        ["flown heron A 12 31 --at -5h"],
        "flown heron A 17.5 35",
        "Sure? by the log A took off with 31 %, and it landed with 35 %. Was a charge before it not logged? "
        "shelfbell log charged A --at TIME\n",
    ),
    "landed with hardly less than the flight before": (
        ["flown heron A 12 38 --at -5h"],
        "flown heron A 17.5 35",
        "Sure? by the log A took off with 38 %, and it landed with 35 %. Was a charge before it not logged?",
    ),
    "two flights at once": (
        ["flown heron A 10 40"],
        "flown heron B 10 40",
        "Sure? heron was in another flight then, Fri 10 Apr 12:50 to 13:00.",
    ),
    "charged in the air": (
        ["charged A --at -3min"],
        "flown heron A 10 40",
        "Sure? A was in the air Fri 10 Apr 12:50 to 13:00 and charged at 12:57: which time is right?",
    ),
    "in the air while charged": (
        ["flown heron A 10 40"],
        "charged A --at -3min",
        "and charged at 12:57: which time is right?",
    ),
    "read in the air": (
        ["measured A 97 --at -3min"],
        "flown heron A 10 40",
        "Sure? A was in the air Fri 10 Apr 12:50 to 13:00 and measured at 12:57: which time is right?",
    ),
    "in the air while read": (
        ["flown heron A 10 40"],
        "measured A 97 --at -3min",
        "and measured at 12:57: which time is right?",
    ),
    "drained to more than it held": (
        ["charged A 60 --at -2h"],
        "drained A 80",
        "Sure? by the log A held 60 %, and draining adds no charge. Did the charger fill it up to that? "
        "Then strike this, and: shelfbell log charged A 80 --at TIME\n",
    ),
    "took off with more than it held": (
        ["flown heron A 10 40 --at -2h"],
        "flown heron A 10 40 --percent_from 98",
        "Sure? by the log A held 40 %, and it took off with 98 %. Was a charge before it not logged? "
        "shelfbell log charged A --at TIME\n",
    ),
    "volts for percent": ([], "drained A 3.85", "Sure? 3.85 is taken as percent"),
    "another pack's capacity": (
        [],
        "measured T --capacity_mah 4900",
        "Sure? 4900 mAh is more than T holds by fleet.yaml, 2450",
    ),
    "before it came": ([], "charged A --at 2025-06-01", "is before A came into use, 2026-01-01 by fleet.yaml."),
    "a year that is past": (
        [],
        "renewed certificate --expires 2025-12-20",
        "Sure? its last good day, 2025-12-20, is past.",
    ),
    "a year far ahead": (
        [],
        "renewed certificate --expires 2062-11-30",
        "Sure? its last good day is 2062-11-30, but by fleet.yaml it is valid for 24 calendar months: "
        "is the year right?",
    ),
    "more than there were": (
        ["counted spare-props 1"],
        "used spare-props 3",
        "Sure? only 1 of spare-props was in the house.",
    ),
    "set aside after it was handed in": (
        ["handed_in C"],
        "set_aside C",
        "Sure? C was handed in: was it really C?",
    ),
    "the volts of a cell as a percentage": (
        ["measured A 55"],
        "measured A 3.8",
        "Sure? 3.8 %: if these are the volts of a cell, log them with --cell_volts.",
    ),
    "a job of this morning": (
        [],
        'booked vineyard "today 09:00"',
        'Sure? Fri 10 Apr 09:00 is past; did you mean "tomorrow 09:00"?\n',
    ),
    "a job that is booked again, of this morning": (
        ['booked vineyard "sun 10:00"'],
        'booked vineyard "today 09:00"',
        "Sure? Fri 10 Apr 09:00 is past. Under the name of an earlier job, it replaces that job.",
    ),
    "a job of yesterday": ([], 'booked vineyard "yesterday 09:00"', "Sure? Thu 9 Apr 09:00 is past"),
    "a job that ends a week later": (
        [],
        'booked vineyard "sat 10:00" --ends "sat 09:00"',
        "Sure? it ends Sat 18 Apr 09:00, 6 d 23 h after it starts.",
    ),
    "away on the day of a job": (
        ['booked vineyard "sun 10:00"'],
        'away "sat 10:00" "mon 10:00"',
        "Sure? vineyard is booked for Sun 12 Apr 10:00, while you are away.",
    ),
    "a job while away": (
        ['away "sat 10:00" "mon 10:00"'],
        'booked vineyard "sun 10:00"',
        "Sure? you are away from Sat 11 Apr 10:00 to Mon 13 Apr 10:00.",
    ),
    "one cell for a pack of two": ([], "measured T --rest_volts 3.8", "Sure? 3.8 V is 1.90 V a cell of T"),
}
CERTAIN = [
    (["charged A --at -2h"], "flown heron A 12 40"),
    (["mishap heron crash --at -2h", "inspected heron pass --at -1h"], "flown heron A 12 40"),
    ([], "flown heron A 900 --flights 60"),
    (["charged A --at -11min"], "flown heron A 10 40"),
    (["charged A 60 --at -2h"], "drained A 68"),
    ([], "drained A 58"),
    ([], "set_aside C"),
    (["measured A 55"], "measured A 4"),
    (["measured A 8"], "measured A 3.8"),
    (["flown heron A 10 40 --at -2h", "charged A --at -1h"], "flown heron A 10 40 --percent_from 98"),
    (["charged A 90 --at -2h"], "flown heron A 10 40 --percent_from 98"),
    (["flown heron A 10 40 --at -10min"], "flown heron B 10 40"),
    (["counted spare-props 3"], "used spare-props 3"),
    ([], "measured A --rest_volts 15.2"),
    (["measured A 42 --at -3min"], "flown heron A 10 40"),
    (["measured A 97 --at -3min"], "flown heron A 10"),
    ([], "renewed certificate --expires 2028-04-30"),
    (['booked vineyard "sun 10:00"', "cancelled vineyard"], 'away "sat 10:00" "mon 10:00"'),
    (['away "sat 10:00" "mon 10:00"'], 'booked vineyard "mon 10:00"'),
    ([], 'booked vineyard "mon 10:00" --ends "wed 10:00"'),
    ([], "inspected heron fail --findings cracked"),
]


def words(text: str) -> list[str]:
    import shlex

    return shlex.split(text)


@pytest.fixture
def fleet(bench: Bench) -> Bench:
    bench.write("fleet.yaml", MORE)
    return bench


@pytest.mark.parametrize("told", REFUSED)
def test_what_cannot_be_is_refused(told: str, fleet: Bench) -> None:
    typed, wrong = REFUSED[told]
    fleet.log("booked", "barn", "2026-04-12")
    fleet.log("booked", "mill", "2026-04-12")
    fleet.log("cancelled", "mill")
    before = fleet.exported()

    answer = fleet("log", *words(typed))

    assert answer.status == 2
    assert wrong in answer.err
    assert fleet.exported() == before


@pytest.mark.parametrize("told", ASKED)
def test_what_is_doubtful_is_taken_and_asked_about(told: str, fleet: Bench) -> None:
    before, typed, asked = ASKED[told]
    for line in before:
        fleet.log(*words(line))

    answered = fleet.log(*words(typed))

    event = json.loads(fleet.exported().splitlines()[-1])["id"]
    assert asked in answered
    assert f"  If it was a slip: shelfbell log struck {event}" in answered.splitlines()


@pytest.mark.parametrize(("before", "typed"), CERTAIN)
def test_what_is_as_usual_is_not_asked_about(before: list[str], typed: str, fleet: Bench) -> None:
    for line in before:
        fleet.log(*words(line))

    assert "Sure?" not in fleet.log(*words(typed))


def test_an_exported_line_is_not_judged_again(fleet: Bench) -> None:
    """It was taken once, perhaps under another nameplate: export and intake reproduce the same log."""
    line = {"at": "2026-04-09T09:00:00Z", "what": "measured", "item": "T", "rest_volts": 15.2}
    (fleet.path / "new.jsonl").write_text(json.dumps(line))
    (fleet.path / "old.jsonl").write_text(json.dumps(line | {"recorded_at": "2026-04-09T09:00:00Z", "id": "old"}))

    new, old = fleet("intake", str(fleet.path / "new.jsonl")), fleet("intake", str(fleet.path / "old.jsonl"))

    assert (new.status, old.status) == (2, 0)
    assert "new.jsonl:1: rest_volts 15.2 V for T, 2 cells: 7.6" in new.err


BROKEN = RULES.replace("about: pack", "about: puck", 1)


def test_an_entry_is_not_lost_while_a_rule_file_is_broken(bench: Bench) -> None:
    bench.write("rules/own.yaml", BROKEN)

    answered = bench.log("charged", "B", "--id", "kept")

    assert answered.startswith("Logged: charged B (Fri 10 Apr 13:00).\nThe entry is kept, but I cannot judge")
    assert "\n  rules/own.yaml:" in answered
    assert '"kept"' in bench.exported()
    assert bench("seen", "left-full", "B").status == 2


@pytest.mark.parametrize("name", ["fleet.yaml", "shelfbell.yaml"])
def test_a_broken_fleet_or_settings_are_as_they_were_when_all_was_well(name: str, bench: Bench) -> None:
    broken = (bench.path / name).read_text() + "\nnonsense: [1]\n"
    bench.log("charged", "A")
    bench("due")  # which leaves the compiled set-up behind
    bench.write(name, broken)

    assert "  " + name in bench.log("charged", "B", "--id", "kept")
    assert bench("log", "charged", "Z").status == 2


def test_with_nothing_to_go_by_a_broken_fleet_refuses(bench: Bench) -> None:
    bench.write("fleet.yaml", "packs: {}\n")

    answer = bench("log", "charged", "B")

    assert answer.status == 2
    assert "fleet.yaml:1" in answer.err


def test_a_stay_away_is_read_forward(bench: Bench) -> None:
    """10 April 2026 is a Friday, 13:00 by the operator's clock."""
    assert "away from Sat 11 Apr 12:00 to Mon 13 Apr 12:00" in bench.log("away", "sat", "mon")
    assert "away from Mon 13 Apr 12:00 to Sat 18 Apr 12:00" in bench.log("away", "mon", "sat")


def test_an_end_as_a_clock_time_is_that_of_the_day_of_its_start(bench: Bench) -> None:
    answered = bench.log("booked", "vineyard", "sun 09:00", "--aircraft", "heron", "--ends", "12:00")

    assert "Logged: booked vineyard, Sun 12 Apr 09:00 to 12:00, heron (Fri 10 Apr 13:00)." in answered
    again = bench.log("booked", "vineyard", "mon 09:00")
    assert "  Before, it was booked for Sun 12 Apr 09:00." in again


def test_what_is_struck_is_told(bench: Bench) -> None:
    bench.log("charged", "A", "95", "--id", "slip")

    assert "Logged: struck slip: charged A to 95 %, Fri 10 Apr 13:00, no longer counts" in bench.log("struck", "slip")


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (
            "renewed certificate",
            "  Good till Sun 30 Apr 2028, counted from today, as no date was given (--issued or --expires).",
        ),
        ("renewed certificate --issued 2026-03-20", "  Good till Fri 31 Mar 2028."),
    ],
)
def test_a_paper_renewed_is_good_till_a_day(typed: str, told: str, bench: Bench) -> None:
    assert told in bench.log(*typed.split()).splitlines()


def test_what_stays_open_is_said(bench: Bench) -> None:
    bench.log("noticed", "B", "swollen")

    answered = bench.log("moved", "B", "driven")

    assert "Still open: pack may be swollen (B)." in answered
    assert "Nothing to do" not in answered


def test_a_late_entry_that_a_later_one_has_answered_says_so(bench: Bench) -> None:
    bench.log("set_aside", "B", "--at", "-1h")

    answered = bench.log("noticed", "B", "swollen", "--at", "-3h")

    assert "Opened then and settled since by set_aside B, Fri 10 Apr 12:00: pack may be swollen (B)." in answered


def test_a_look_counts_for_a_mishap_told_late(bench: Bench) -> None:
    bench.log("inspected", "heron", "pass", "--at", "-1h")

    answered = bench.log("mishap", "heron", "hard_landing", "--at", "-2h")

    assert "heron has passed a look since, Fri 10 Apr 12:00: that look counts for it." in answered
    assert "that look counts" not in bench.log("mishap", "heron", "hard_landing", "--at", "-10min")


def test_an_item_is_named_once(bench: Bench) -> None:
    bench.log("charged", "B", "--at", "-3 d")

    answered = bench.log("mishap", "heron", "crash", "--packs", "B")

    assert "B and B" not in answered
    bench.log("flown", "heron", "B", "5", "40")
    assert "B and B" not in bench.log("mishap", "heron", "crash", "--packs", "B")


JOB_RULE = """
  - id: grounded
    about: job
    title: Job and something grounded
    when: {fact: grounded_items, at_least: 1}
    urgency: now
    do: "Tell the client of {item} in time."
    why: Nobody likes to wait.
    basis: {kind: common practice}
    cases: []
"""


def test_a_mishap_answers_for_the_jobs_ahead(bench: Bench) -> None:
    bench.write("rules/own.yaml", RULES + JOB_RULE)
    bench.log("booked", "vineyard", "sun 09:00", "--aircraft", "heron")

    assert "Open: Tell the client of vineyard in time." in bench.log("mishap", "heron", "crash")


HELP = {
    "moved": ["one of carried, driven, airline, freight", "for example: shelfbell log moved heron airline"],
    "inspected": ["one of pass, doubtful, fail", "several by comma: swollen, leaking"],
    "booked": ["a time such as 18:40, 'sat 09:00'", 'for example: shelfbell log booked vineyard "sat 09:00"'],
}


@pytest.mark.parametrize("what", HELP)
def test_the_help_of_a_kind_says_what_may_be_typed(what: str, bench: Bench) -> None:
    shown = bench("log", what, "--help").out

    assert all(text in shown for text in HELP[what])


def test_the_help_has_an_example_for_every_kind(bench: Bench) -> None:
    from scheduler.events.kinds import KINDS

    for what in KINDS:
        assert f"for example: shelfbell log {what} " in bench("log", what, "--help").out


@pytest.mark.parametrize("what", ["seen", "snoozed"])
def test_the_example_for_a_reminder_has_its_words_in_the_order_of_the_usage(what: str, bench: Bench) -> None:
    shown = bench("log", what, "--help").out

    assert shown.startswith(f"usage: shelfbell log {what} ITEM RULE ")
    assert f"for example: shelfbell log {what} A pack-left-full" in shown


def test_a_mishap_outside_any_flight_asks_which_pack_was_in_it(bench: Bench) -> None:
    asked = [line for line in bench.log("mishap", "heron", "crash").splitlines() if line.startswith("Which pack")]
    assert len(asked) == 1
    named = bench.log("mishap", "heron", "crash", "A")
    assert "Which pack" not in named


def test_what_is_asked_of_two_packs_is_asked_once_and_both_can_be_taken_back(fleet: Bench) -> None:
    fleet.write("fleet.yaml", MORE + "chargers:\n  - {id: bench}\n")
    fleet("log", "inspected", "bench", "doubtful", "--at", "-1h")

    out = fleet("log", *words("charged A,B 100 bench")).out

    assert out.count("Sure? by the log bench is not in order") == 1
    assert out.count("If it was a slip: shelfbell log struck") == 2
