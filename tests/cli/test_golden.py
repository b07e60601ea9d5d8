"""What the commands print, word for word, for one small story. The texts lie in golden/.

With SHELFBELL_UPDATE_GOLDEN set they are written anew: read what changed before it is kept.
"""

import json
from pathlib import Path

import pytest

from tests.homes import RULES, Bench, golden
from tests.support import Fields, event

STORY: list[Fields] = [
    event("2026-03-20 10:00", "renewed", item="certificate", expires="2026-04-25", id="paper"),
    event("2026-03-28 17:00", "charged", item="A", id="a-full"),
    event("2026-03-28 17:10", "charged", item="B", id="b-full"),
    event("2026-03-29 09:00", "measured", item="B", percent=99, id="b-read", recorded_at="2026-03-30 08:00"),
    event("2026-03-30 12:00", "noticed", item="C", findings=["swollen"], note="left edge", id="c-swollen"),
    event("2026-03-30 18:00", "set_aside", item="C", id="c-aside"),
    event("2026-03-31 10:00", "flown", aircraft="heron", packs=["A"], minutes=18, percent_to=30, id="flight"),
    event("2026-04-01 10:00", "flown", aircraft="heron", packs=["A"], minutes=290, percent_from=100, id="long"),
    event("2026-04-01 11:00", "flown", aircraft="heron", packs=["A"], minutes=29, id="slip"),
    event("2026-04-01 11:00", "struck", event="slip", id="strike", recorded_at="2026-04-01 12:00"),
    event("2026-04-02 07:30", "seen", item="B", rule="left-full", id="b-seen", by="me"),
    event("2026-04-03 09:00", "booked", job="vineyard", starts="2026-04-06 08:00", ends="2026-04-06 10:00", id="job"),
]


@pytest.fixture
def told(bench: Bench) -> Bench:
    """The small home with the story in its log, seen on the evening of 4 April 2026."""
    bench.set_clock("2026-04-04 18:00")
    lines = [json.dumps({"recorded_at": fields["at"]} | fields) for fields in STORY]
    (bench.path / "story.jsonl").write_text("\n".join(lines), encoding="utf-8")
    assert bench("intake", str(bench.path / "story.jsonl")).out == "12 events taken in.\n"
    return bench


QUESTIONS = {
    "due": (1, "due"),
    "due-of-an-empty-day": (0, "due --at 2026-03-25"),
    "due-before-anything": (0, "due --at 2026-03-01"),
    "explain-yes": (0, "explain left-full B"),
    "explain-no": (0, "explain left-full C"),
    "explain-after-flights": (0, "explain left-full A"),
    "explain-unknown": (0, "explain left-full B --at 2026-03-29T12:00:00Z"),
    "explain-urgency": (0, "explain paper-due certificate"),
    "explain-part": (0, "explain look-due"),
    "rehearse": (0, "rehearse --from 2026-03-28 --to 2026-04-10"),
    "rehearse-messages": (0, "rehearse --from 2026-03-28 --to 2026-04-04 --messages"),
    "rehearse-nothing": (0, "rehearse --from 2026-03-01 --to 2026-03-02"),
    "history": (0, "history"),
    "history-of-an-item": (0, "history A"),
    "check": (1, "check"),
    "log-help": (0, "log flown --help"),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_the_words(name: str, told: Bench) -> None:
    status, words = QUESTIONS[name]

    answer = told(*words.split())

    golden(Path(__file__).parent / "golden" / f"{name}.txt", answer.out)
    assert (answer.status, answer.err) == (status, "")


def test_the_words_of_findings(told: Bench) -> None:
    wrong = RULES.replace("opens: 2026-04-02T09:00:00Z", "opens: 2026-04-02T10:00:00Z", 1)
    told.write("rules/own.yaml", wrong.replace("    basis: {kind: common practice}", "    basis: {kind: published}", 1))

    answer = told("check")

    golden(Path(__file__).parent / "golden" / "check-findings.txt", answer.out)
    assert (answer.status, answer.err) == (1, "")


def test_the_words_that_an_entry_is_answered_with(told: Bench) -> None:
    answered = []
    for hour, words in enumerate(("drained B 58", "inspected heron-props pass", "charged A,B"), 18):
        told.set_clock(f"2026-04-04 {hour}:00")
        answered.append(told.log(*words.split()))

    golden(Path(__file__).parent / "golden" / "log.txt", "\n".join(answered))


def test_asking_writes_nothing(told: Bench) -> None:
    before = told.exported()

    for _, words in QUESTIONS.values():
        told(*words.split())

    assert told.exported() == before
