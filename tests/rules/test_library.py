"""The shipped rules as a whole: each passes its own cases, says what it must, and advises nothing that harms."""

import re

import pytest

from scheduler.answers.check import case_findings
from scheduler.base.schema_check import check
from scheduler.facts.catalogue import CATALOGUE
from scheduler.verdicts.cases import failures
from scheduler.verdicts.reading import check_references
from scheduler.verdicts.schema import rules_schema
from tests.rules.library import Change, Raw, changes, files, notices, rules, texts, unnoticed

FIRST_FILES = {"packs", "propellers", "aircraft", "papers-us"}
OWED = """
pack-swollen pack-after-crash pack-wet pack-too-deep pack-set-aside-waiting pack-sudden-loss aircraft-after-mishap
aircraft-wet propeller-damaged warning-not-cleared found-and-not-put-right report-due-us stop-and-analyse-ca
pack-left-full pack-full-job-off pack-above-storage pack-left-low pack-going-low-in-storage pack-unread
pack-landed-low-once pack-landed-low-habit job-needs-more-packs eve-of-job job-grounded-item
propeller-snug-first-flight propeller-hub-look propeller-renew imu-after-freight compass-by-setting never-calibrated
test-flight-due no-update-before-job thorough-inspection-airtime thorough-inspection-calendar motors-bearings
pack-latch-and-contacts gimbal-after-knock idle-aircraft knowledge-recency-us recency-ca registration-us
operator-and-flyer-id-uk pilot-competency-eu insurance-and-waivers report-due-uk report-due-eu air-freight-charge
air-baggage pack-health-low pack-resistance-up pack-cells-apart pack-cycles-past-rating pack-old
pack-charged-hot-or-cold pack-idle-or-overworked spares-low charging-place remote-id-check pilot-out-of-practice
log-gone-quiet new-home-first-readings before-you-go-away
"""


def test_every_file_satisfies_the_schema_and_refers_only_to_what_there_is() -> None:
    schema = rules_schema(CATALOGUE)
    assert [finding for file in files() for finding in check(file.document, schema)] == []
    assert check_references(list(files()), CATALOGUE, set()) == []


def test_every_rule_passes_its_own_cases_and_lacks_nothing() -> None:
    assert [str(finding) for file in files() for finding in case_findings(file)] == []


def test_the_first_four_files_keep_their_names() -> None:
    assert {file.document.file.removesuffix(".yaml") for file in files()} >= FIRST_FILES


def test_all_that_practice_asks_for_is_there() -> None:
    assert sorted(set(OWED.split()) - set(rules())) == []


@pytest.mark.parametrize("change", list(changes()), ids=str)
def test_a_case_notices_a_changed_limit(change: Change) -> None:
    """Each limit a tenth up and a tenth down; counts and calendar spans by one."""
    assert notices(change), unnoticed(change)


@pytest.mark.parametrize("name", rules())
def test_a_rule_without_its_condition_fails_a_case(name: str) -> None:
    """A rule that never held would leave its ringing case unanswered, one that always held the quiet one."""
    rule = rules()[name]
    for mutant in (
        rule | {"when": {"not": rule["when"]}},
        rule | {"when": {"all": [rule["when"], {"not": rule["when"]}]}},
    ):
        assert any(outcome for case in rule["cases"] for outcome in failures(mutant, case, CATALOGUE))


@pytest.mark.parametrize("name", rules())
def test_a_title_fits_a_phone(name: str) -> None:
    title = rules()[name]["title"]
    assert len(title) <= 42
    assert not title.endswith(".")


@pytest.mark.parametrize("name", rules())
def test_why_is_told_in_one_to_three_sentences(name: str) -> None:
    assert 1 <= len(re.findall(r"[.?!](?:\s|$)", rules()[name]["why"].strip())) <= 3


@pytest.mark.parametrize("name", rules())
def test_every_limit_has_its_reason_and_every_reason_its_limit(name: str) -> None:
    rule = rules()[name]
    assert rule.get("reasons", {}).keys() == rule.get("limits", {}).keys()


@pytest.mark.parametrize("name", rules())
def test_a_basis_is_cited_or_owned_up_to(name: str) -> None:
    basis = rules()[name]["basis"]
    cite = basis.get("cite", "")
    assert cite if basis["kind"] == "published" else not cite or re.search("no source|from memory|arithmetic", cite)
    assert "shared" not in cite


@pytest.mark.parametrize("name", rules())
def test_a_figure_read_at_second_hand_says_so(name: str) -> None:
    """Documents of which only a secondary text was read, or that are quoted from memory."""
    told = "read in a|from memory"
    text = str(rules()[name]["basis"])
    for document in (
        "AC 107-2A",
        "UAS.OPEN",
        "PackSafe",
        "Dangerous Goods Regulations",
        "376/2014",
        r"175\.10\(a\)\(18\)",
        "AAIB, occ",
    ):
        assert not re.search(document, text) or re.search(told, text), document


HANDLES = re.compile(r"\b(charged?|drain(ed)?|balancer)\b", re.IGNORECASE)


def handling() -> list[str]:
    """The rules that lead to a pack on a charger."""
    asked = [name for name, rule in rules().items() if rule.get("log_then", "").startswith(("charged", "drained"))]
    return [*asked, "eve-of-job", "pack-cycles-past-rating", "pack-old", "pack-sudden-loss", "before-you-go-away"]


@pytest.mark.parametrize("name", handling())
def test_whoever_is_sent_to_a_charger_hears_the_caution(name: str) -> None:
    """US Fire Administration, lithium-ion battery safety: attended, away from what burns and from the way out."""
    caution = " ".join(rules()[name]["caution"].split())
    assert "ttended" in caution
    assert "away from anything that burns" in caution
    assert "maker's manual" in caution or "Charge again on arrival" in caution


@pytest.mark.parametrize("name", [name for name, rule in rules().items() if rule["about"] == "propellers"])
def test_whoever_touches_a_propeller_takes_the_pack_out_first(name: str) -> None:
    assert "Take the pack out before you touch a propeller; eyes and fingers away" in " ".join(
        rules()[name]["caution"].split()
    )


FORBIDDEN = {
    "flying to empty a pack": r"\b(fly|hover)\w* to (drain|empty)|(drain|empty) (it|them) (in|by) (flight|flying)",
    "charging unattended": r"(charg|drain)\w*[^.]*\b(unattended|overnight|while you sleep|as you leave the house)",
    "charging a damaged pack": r"(charge|drain) (the|a|your) (swollen|damaged|wet|dented) pack",
    "working on a swollen pack": r"\b(press|pierce|puncture|cut|freeze|deflate|open) (it|the pack|a swollen)|salt bath",
    "reviving a too-deep pack": r"\b(revive|wake it up|recover it|trickle)|another (charging )?mode",
    "drying a pack and using it": r"\bdr(y|ied)[^.]*(and|then) (use|charge|fly)",
    "a damaged pack by air or post": r"\b(by (air|post)|post it|mail it)\b",
    "household waste": r"household (waste|bin)|\bbin it\b|throw it (away|out)",
    "touching a hot pack": r"\btouch it\b|pick it up",
    "mending a blade": r"\b(glue|file|sand|balance|straighten)\b (it|a|the|nicked|bent)",
    "mixing blades": r"\bmix\b|one new blade|the one blade",
    "testing indoors": r"indoors with propellers",
    "flying on": r"once more|anyway|fly on\b|ignore the warning|catch (it|an aircraft)",
    "trusting guards or sensors": r"\btrust\b[^.]*(guards|sensors)",
    "delaying a report": r"\bput (the|a) report off|wait with the report|report later",
    "promising fitness": r"\b(is|are) (fit|safe) to fly\b",
    "hiding a pack": r"\bhide\b",
}
"""What must never be advised. A clause that forbids is let pass: see `advised`."""
NEGATED = re.compile(r"\b(never|not|no|nobody|nothing|without|cannot|forbidden|stays?|before)\b", re.IGNORECASE)


def advised(text: str) -> list[str]:
    """What of the forbidden a text advises: clause by clause, those that forbid left out."""
    clauses = [clause for clause in re.split(r"(?<=[.;:!?])\s+", text) if not NEGATED.search(clause)]
    return [
        what for what, pattern in FORBIDDEN.items() for clause in clauses if re.search(pattern, clause, re.IGNORECASE)
    ]


@pytest.mark.parametrize("name", rules())
def test_no_rule_advises_what_harms(name: str) -> None:
    assert advised(texts(rules()[name])) == []


@pytest.mark.parametrize(
    "text",
    [
        "Hover to drain the pack.",
        "Charge it overnight; look in the morning.",
        "Press it flat and go on.",
        "Send it by post.",
        "Dry it, then charge it.",
        "Glue the nicked blade.",
        "Trust the sensors.",
        "The aircraft is fit to fly.",
        "Fly it once more to see.",
    ],
)
def test_the_table_of_what_harms_finds_it(text: str) -> None:
    assert advised(text)


def test_a_warning_against_it_is_no_advice() -> None:
    assert advised("Never fly to drain. Do not press, pierce or freeze it; not by post.") == []


UNUSABLE = ("pack-swollen", "pack-after-crash", "pack-wet", "pack-too-deep")


def test_no_two_rules_pull_a_damaged_pack_both_ways() -> None:
    """What has a person handle a pack asks whether it is in service; what grounds one does not send it to a charger."""
    for name in UNUSABLE:
        assert rules()[name].get("grounds") is True
        assert not rules()[name]["log_then"].startswith(("charged", "drained"))
    for name in handling():
        rule: Raw = rules()[name]
        assert rule["about"] != "pack" or "'usable'" in str(rule["when"])
