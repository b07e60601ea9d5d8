"""Corrections: what holds of several, and that the order in which events arrive changes nothing."""

import json
from collections.abc import Iterator
from pathlib import Path
from shutil import copyfile
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.findings import Refused
from scheduler.events.log import Log, LogReader
from scheduler.events.memory import Memory
from scheduler.events.taking import take
from scheduler.facts.fact_store import Clocks, FactStore
from scheduler.fleet.fleet import Fleet
from tests.support import Fields, event, fact, moment

FLEET = Fleet({"aircraft": [{"id": "heron"}], "packs": [{"id": "A"}, {"id": "B"}, {"id": "C"}]})
NAMES = ("A", "B", "C", "heron", "home")
NOW = moment("2026-06-01")


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    opened = Log(tmp_path / "shelfbell.db")
    yield opened
    opened.close()


def put(log: Log, *events: Fields) -> None:
    take(log, enumerate(map(json.dumps, events), 1), FLEET, NOW, "other.jsonl")


def charged(event_id: str, day: int, item: str = "B", percent: int = 100, **fields: object) -> Fields:
    """A charge at noon of the first of April, recorded on a day of May."""
    recorded_at = f"2026-05-{day:02}"
    return event(
        "2026-04-01 12:00", "charged", id=event_id, recorded_at=recorded_at, item=item, percent=percent, **fields
    )


def struck(event_id: str, day: int, target: str) -> Fields:
    return event("2026-05-01", "struck", id=event_id, recorded_at=f"2026-05-{day:02}", event=target)


def in_force(log: Log) -> list[str]:
    return [one.id for one in log.in_force() if one.what != "struck"]


def history(log: Log, name: str | None = None) -> dict[str, str | None]:
    return {one.id: by for one, by in log.history(name)}


def test_of_two_corrections_of_one_event_the_one_recorded_first_holds(log: Log) -> None:
    put(log, charged("one", 1), charged("late", 3, percent=70, instead_of="one"))
    assert in_force(log) == ["late"]
    put(log, charged("soon", 2, percent=80, instead_of="one"))
    assert in_force(log) == ["soon"]
    assert history(log, "B") == {"one": "soon", "soon": None, "late": "soon"}


def test_of_two_recorded_at_once_the_lesser_id_holds(log: Log) -> None:
    put(log, charged("one", 1), charged("y", 2, instead_of="one"), charged("x", 2, instead_of="one"))
    assert in_force(log) == ["x"]


def test_a_strike_that_was_recorded_first_holds_against_a_correction(log: Log) -> None:
    put(log, charged("one", 1), struck("s", 2, "one"), charged("right", 3, instead_of="one"))
    assert in_force(log) == []


def test_a_strike_recorded_after_a_correction_changes_nothing(log: Log) -> None:
    put(log, charged("one", 1), charged("right", 2, instead_of="one"), struck("s", 3, "one"))
    assert in_force(log) == ["right"]


def test_a_correction_that_is_struck_does_not_bring_back_what_it_corrected_nor_what_it_beat(log: Log) -> None:
    put(log, charged("one", 1), charged("right", 2, instead_of="one"), charged("beaten", 3, instead_of="one"))
    put(log, struck("s", 4, "right"))
    assert in_force(log) == []


def test_what_corrects_a_beaten_correction_is_out_of_force_too(log: Log) -> None:
    put(log, charged("one", 1), charged("beaten", 3, instead_of="one"), charged("more", 4, instead_of="beaten"))
    assert in_force(log) == ["more"]
    put(log, charged("right", 2, instead_of="one"))
    assert in_force(log) == ["right"]
    assert history(log) == {"one": "right", "right": None, "beaten": "more", "more": "right"}


def test_a_correction_counts_before_its_target_comes_and_is_filed_under_its_names_then(log: Log) -> None:
    put(log, charged("right", 2, "A", instead_of="one"), struck("s", 3, "two"))
    assert in_force(log) == ["right"]
    assert history(log, "B") == {}
    put(log, charged("one", 1), charged("two", 1, "C"))
    assert in_force(log) == ["right"]
    assert history(log, "B") == {"one": "right", "right": None}
    assert history(log, "C") == {"two": "s", "s": None}


def test_corrections_in_a_circle_are_all_out_of_force(log: Log) -> None:
    put(log, charged("x", 1, "A", instead_of="y"), charged("y", 2, "B", instead_of="x"))
    put(log, charged("own", 1, instead_of="own"), charged("late", 3, instead_of="x"))
    assert in_force(log) == []
    assert set(history(log, "A")) == set(history(log, "B")) - {"own"} == {"x", "y", "late"}


def test_what_is_told_for_the_first_time_corrects_only_what_is_in_force(log: Log) -> None:
    put(log, charged("one", 1), charged("right", 2, instead_of="one"), charged("beaten", 3, instead_of="one"))
    again = {"at": "2026-04-01T12:00:00Z", "what": "charged", "item": "B"}
    for target, told in (
        ("one", "event one was replaced already, by right: use that id"),
        ("beaten", "event beaten does not count, in its place there is right: use that id"),
        ("nobody", "there is no event 'nobody' to replace: `shelfbell history` shows the ids"),
    ):
        with pytest.raises(Refused, match=told):
            put(log, again | {"instead_of": target})


def test_lines_of_one_intake_with_equal_times_keep_their_order(log: Log) -> None:
    line = {"at": "2026-04-01T12:00:00Z", "what": "charged", "item": "B"}
    put(log, *(line | {"percent": percent} for percent in range(1, 60)))
    assert [one.get("percent") for one in log.of("B")] == list(range(1, 60))


def test_entries_told_one_after_another_at_one_instant_keep_their_order(log: Log) -> None:
    for percent in range(1, 20):
        put(log, {"at": "2026-04-01T12:00:00Z", "what": "charged", "item": "B", "percent": percent})
    assert [one.get("percent") for one in log.of("B")] == list(range(1, 20))


# --- the law --------------------------------------------------------------------------------------------------------


@st.composite
def event_sets(draw: st.DrawFn) -> list[Fields]:
    """Up to nine events of one family or several: equal instants, corrections of corrections, circles, missing ids."""
    made = []
    days, targets = st.integers(1, 3), st.none() | st.sampled_from([f"e{number}" for number in range(10)])
    for number in range(draw(st.integers(2, 9))):
        target, day, item = draw(targets), draw(days), draw(st.sampled_from("ABC"))
        if target is not None and draw(st.booleans()):
            made.append(struck(f"e{number}", day, target))
        else:
            fields = {} if target is None else {"instead_of": target}
            made.append(charged(f"e{number}", day, item, draw(st.integers(1, 9)), **fields))
    return made


def state(log: Log) -> object:
    """All that a log answers, places in it apart."""
    memory, reader = Memory(log.history()), LogReader(log)
    known = [NOW, *(moment(f"2026-05-0{day}") for day in (1, 2, 3))]
    by_name = {(name, at): [each.id for each in LogReader(log, at).of(name)] for name in NAMES for at in known}
    assert by_name == {(name, at): [each.id for each in memory.of(name, None, at)] for name in NAMES for at in known}
    assert reader.of_each(list(NAMES)) == {name: reader.of(name) for name in NAMES}
    rows = log.connection.execute("SELECT item, id FROM concerned JOIN events USING (seq) ORDER BY 1, 2").fetchall()
    store = FactStore(FLEET, LogReader(log), Clocks(ZoneInfo("UTC")))
    facts = [fact(store, pack, name).at(NOW) for pack in "ABC" for name in ("charge", "cycles", "since_charged")]
    return sorted(log.lines()), list(history(log).items()), by_name, rows, facts


def plainly_in_force(events: list[Fields]) -> set[str]:
    """The definition read word for word."""
    by_id = {str(one["id"]): one for one in events}

    def target(one: Fields) -> object:
        return one.get("event", one.get("instead_of"))

    def first(of: object) -> Fields:
        return min(
            (one for one in events if target(one) == of), key=lambda one: (str(one["recorded_at"]), str(one["id"]))
        )

    def beaten(one: Fields, seen: tuple[object, ...] = ()) -> bool:
        if target(one) is None or one["id"] in seen:
            return False
        above = by_id.get(str(target(one)))
        return first(target(one)) is not one or above is not None and beaten(above, (*seen, one["id"]))

    corrected = {target(one) for one in events}
    return {name for name, one in by_id.items() if name not in corrected and not beaten(one)}


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty log, to be copied."""
    made = Log(tmp_path_factory.mktemp("home") / "shelfbell.db")
    made.connection.execute("PRAGMA journal_mode = DELETE")
    made.close()
    return made.path


@settings(deadline=None, max_examples=60)
@given(event_sets(), st.data())
def test_lines_in_any_order_and_any_split_give_the_same_state(
    empty: Path, events: list[Fields], data: st.DataObject
) -> None:
    order = data.draw(st.permutations(events))
    cuts = sorted(data.draw(st.sets(st.integers(1, len(events)), max_size=3)))
    with TemporaryDirectory() as folder:
        whole, split = (Log(copyfile(empty, f"{folder}/{name}.db")) for name in ("whole", "split"))
        for log in (whole, split):
            log.connection.execute("PRAGMA synchronous = OFF")
        put(whole, *events)
        for start, end in zip([0, *cuts], [*cuts, len(order)], strict=True):
            put(split, *order[start:end], *order[: start // 2])  # some of them once more
        assert {one.id for one in whole.in_force()} == plainly_in_force(events)
        assert state(whole) == state(split)
        whole.close()
        split.close()
