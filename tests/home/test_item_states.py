"""The item states change nothing but the cost of a wake and of `due`.

`Clockwork` compares its wakes to wakes without the cache. Here a fleet with every shipped rule gets entries of all
kinds, late ones and corrections among them.
"""

import gc
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Never

import pytest

from scheduler.answers import board, groups
from scheduler.answers.board import current_board, solve_board, to_text
from scheduler.answers.desk import Desk
from scheduler.base.findings import Refused
from scheduler.base.instants import DAY, HOUR, MIN_INSTANT, MINUTE, parse_rfc3339, rfc3339
from scheduler.base.shipped import folder as shipped
from scheduler.daemon import wake as wakes
from scheduler.daemon import work_list
from scheduler.daemon.work_list import rebuild_states, uncollected
from scheduler.events.event import HOME
from scheduler.events.kinds import KINDS
from scheduler.events.taking import take
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.fact_store import FactStore, Lifetime
from scheduler.facts.jobs import VALUES_ONCE_OVER
from scheduler.fleet.fleet import Fleet
from scheduler.home.folder import Home
from scheduler.home.item_states import ItemStates, drop
from scheduler.messages.outbox import Outbox
from scheduler.reminders.decide import Ledger
from scheduler.reminders.item_state import ItemState, home_since
from tests.homes import ruleset
from tests.messages.clockwork import Clockwork
from tests.support import moment

START = moment("2026-03-20")
FLEET = {
    "aircraft": [{"id": "heron", "in_service": "2026-01-01"}, {"id": "wagtail"}],
    "packs": [
        {"id": "A", "fits": ["heron"], "in_service": "2026-01-01", "self_discharge": "3 %", "rated_cycles": 3},
        {"id": "B", "fits": ["heron"], "self_drain": {"after": "4 d", "to": "60 %", "over": "2 d"}},
        {"id": "E", "fits": ["wagtail"], "in_service": "2026-02-01"},
        {"id": "O"},
    ],
    "propellers": [
        {"id": "heron-props", "fits": ["heron"], "in_service": "2026-01-01"},
        {"id": "other-props", "fits": ["heron", "wagtail"]},
    ],
    "gimbals": [{"id": "gimbal", "fits": ["heron"]}],
    "pilots": [{"id": "me"}],
    "papers": [
        {"id": "certificate", "of": "me", "valid_for": "60 d", "sort": "certificate"},
        {"id": "registration", "of": "heron", "sort": "registration"},
    ],
    "spares": [{"id": "spare-props", "keep": 4, "fits": ["heron"]}],
    "chargers": [{"id": "bench", "ports": 2}],
    "places": [{"id": "shelf"}],
}
SETTINGS = {
    "zone": "Europe/Lisbon",
    "practice": sorted(path.stem for path in shipped("rules").glob("*.yaml")),
    "channels": {
        "phone": {"url": "json://127.0.0.1/a", "urgency": ["now", "today"]},
        "mail": {"url": "json://127.0.0.1/b"},
        "partner": {"url": "json://127.0.0.1/c", "after": "2 h"},
    },
    "quiet": {"from": "21:30", "to": "07:00"},
}
CRAFTS, PACKS, PARTS = ("heron", "wagtail"), ("A", "B", "E", "O"), ("heron-props", "other-props", "gimbal")
JOBS = ("harbour", "roof", "quarry", "heron", "home")  # a job may have the name of an item
OWN_RULES = """\
rules:
  - id: own-share
    about: pack
    title: A text with a fact that no condition asks for
    when: {fact: charge, at_least: 60 %}
    urgency: this_week
    do: "{item} has had {share_of_work} of the work, {cycles}."
    why: It matters.
    basis: {kind: common practice}
  - id: own-busy
    about: home
    title: The log is busy
    when: {not: {fact: log_quiet, at_least: 3 d}}
    urgency: whenever
    do: "Something is logged every day."
    why: It matters.
    basis: {kind: common practice}
"""
LIVES, STEPS = int(os.environ.get("SHELFBELL_LIVES", "2")), 12


def make_home(path: Path) -> Path:
    """Make a home with that fleet and every shipped rule."""
    path.mkdir()
    (path / "shelfbell.yaml").write_text(json.dumps(SETTINGS))
    (path / "fleet.yaml").write_text(json.dumps(FLEET))
    (path / "rules").mkdir()
    (path / "rules" / "own.yaml").write_text(OWN_RULES)
    return path


class Luck:
    """Draws random entries."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self.ids: list[str] = []

    def entry(self, lifetime: Clockwork) -> dict[str, object]:
        """Return an entry of a random kind."""
        pick = self.random.choice
        what = pick(
            [
                *KINDS,
                "charged",
                "charged",
                "flown",
                "flown",
                "flown",
                "booked",
                "booked",
                "cancelled",
                "seen",
                "inspected",
            ]
        )
        made = {"what": what, "id": f"e{len(self.ids)}"} | self.fields(what, lifetime)
        if self.ids and what != "struck" and self.random.random() < 0.08:
            made["instead_of"] = pick(self.ids)
        return made

    def fields(self, what: str, lifetime: Clockwork) -> dict[str, object]:
        """Return the fields of an entry of one kind."""
        pick, number = self.random.choice, self.random.randint
        anything = pick([*CRAFTS, *PACKS, *PARTS])
        ahead = rfc3339(lifetime.now + number(1, 96) * HOUR)
        opened = lifetime.board().open_at(lifetime.now) if what in ("seen", "snoozed") else []
        if opened:
            reminder = pick(opened)
            return {"rule": reminder.key.rule, "item": reminder.key.item} | pick([{}, {"until": ahead}])
        return {
            "charged": {"item": pick(PACKS), "percent": number(40, 100)},
            "drained": {"item": pick(PACKS), "percent": number(5, 70)},
            "measured": {"item": pick(PACKS)} | pick([{"percent": number(10, 100)}, {"capacity_mah": 4000}]),
            "flown": {"aircraft": pick(CRAFTS), "packs": [pick(PACKS)], "minutes": number(3, 25)}
            | pick([{}, {"percent_to": number(5, 40)}]),
            "moved": {"item": anything, "how": pick(["airline", "freight", "driven"])},
            "travel_planned": {"how": "airline", "carries": [pick(PACKS)], "leaves": ahead},
            "mishap": {"item": pick(CRAFTS), "severity": pick(["hard_landing", "crash", "strike"])},
            "noticed": {"item": pick(CRAFTS), "findings": ["noise"]},
            "warned": {"item": pick(CRAFTS), "of": "battery"},
            "inspected": {"item": anything, "result": pick(["pass", "pass", "doubtful", "fail"])},
            "set_aside": {"item": pick(PACKS)},
            "handed_in": {"item": pick(PACKS)},
            "repaired": {"item": pick(CRAFTS)},
            "calibrated": {"item": pick(CRAFTS), "what_of": pick(["imu", "compass"])},
            "updated": {"item": pick(CRAFTS), "version": "2"},
            "fitted": {"item": pick(PARTS), "aircraft": pick(CRAFTS)},
            "removed": {"item": pick(PARTS), "aircraft": pick(CRAFTS)},
            "replaced": {"item": pick([*PACKS, *PARTS])},
            "received": {"item": anything},
            "retired": {"item": pick(PACKS)},
            "counted": {"item": "spare-props", "count": number(0, 6)},
            "used": {"item": "spare-props", "count": 1},
            "restocked": {"item": "spare-props", "count": 2},
            "renewed": {"item": pick(["certificate", "registration"]), "expires": ahead[:10]},
            "booked": {"job": pick(JOBS), "starts": ahead, "airtime_minutes": 40}
            | pick([{}, {"aircraft": pick(CRAFTS)}, {"aircraft": pick(CRAFTS)}]),
            "cancelled": {"job": pick(JOBS)},
            "away": {"from": rfc3339(lifetime.now + HOUR), "to": rfc3339(lifetime.now + number(5, 200) * HOUR)},
            "struck": {"event": pick(self.ids or ["none"])},
        }.get(what, {"item": anything})

    def log_unseen(self, lifetime: Clockwork) -> None:
        """Log one entry, or none, of which the daemon is not told."""
        if self.random.random() < 0.5:
            self.log(lifetime, lifetime.log_while_down)

    def log(self, lifetime: Clockwork, log: Callable[..., None] | None = None) -> None:
        """Log one entry, now or late; go on where the log refuses it."""
        made = self.entry(lifetime)
        late = self.random.choice([0, 0, 0, MINUTE, 5 * HOUR, 9 * DAY])
        try:
            (log or lifetime.log)(str(made.pop("what")), at=lifetime.now - late, **made)
        except Refused:
            return
        self.ids.append(str(made["id"]))


@pytest.mark.parametrize("seed", range(LIVES))
def test_a_life_with_item_states_equals_one_without(tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Entries come between the wakes too, and some wakes find nothing kept. Each wake looks in groups of any size."""
    luck = Luck(seed)
    monkeypatch.setattr(work_list, "ITEMS_PER_WAKE_GROUP", luck.random.choice([1, 3, 500]))
    monkeypatch.setattr(groups, "ITEMS_ON_ONE_BOARD", luck.random.choice([1, 3, 500]))
    lifetime = Clockwork(make_home(tmp_path / "home"), START, held_every=2)
    lifetime.wake()
    for _ in range(STEPS):
        luck.log(lifetime)
        luck.log_unseen(lifetime)
        same_board(lifetime, luck.random.choice([0, 0, 1, HOUR, 9 * HOUR, 3 * DAY]))
        if luck.random.random() < 0.7:
            lifetime.run(lifetime.now + luck.random.choice([20 * MINUTE, 7 * HOUR, 30 * HOUR, 5 * DAY]))
        elif luck.random.random() < 0.2:
            lifetime.sleep(lifetime.now + 30 * HOUR)
        elif luck.random.random() < 0.2:
            forget(lifetime.home)
    lifetime.wake()
    assert lifetime.letters
    same_states(lifetime)
    lifetime.close()


def forget(home: Home) -> None:
    """Delete the item states."""
    with home.log.transaction() as transaction:
        drop(transaction)


def same_board(lifetime: Clockwork, later: int = 0) -> None:
    """Check that `due` shows what `due --at` that instant does."""
    at = Desk(lifetime.home, lifetime.setup, lifetime.now + later)
    assert to_text(at, current_board(at)) == to_text(at, solve_board(at))


def same_states(lifetime: Clockwork) -> None:
    """Check that the states are as computed from the log, except for outdated dependencies."""
    columns = "SELECT item, next_at, open, news, over_at FROM item_states ORDER BY item"
    kept = {row[0]: row[1:] for row in lifetime.home.log.connection.execute(columns)}
    rebuilt = rebuilt_states(lifetime)
    for item, state in rebuilt.items():
        if item != HOME:
            assert kept[item] == state[1:5], item
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Ledger, "relevant_since", lambda *_, **__: MIN_INSTANT)  # solve over all time
        over_all_time = rebuilt_states(lifetime)
    for item, state in rebuilt.items():
        assert state.dependencies <= over_all_time[item].dependencies
        assert state._replace(dependencies=frozenset()) == over_all_time[item]._replace(dependencies=frozenset())


def rebuilt_states(lifetime: Clockwork) -> dict[str, ItemState]:
    """Return the states computed from the log, by item."""
    return {state.item: state for state in rebuild_states(lifetime.home, lifetime.setup, lifetime.now)}


def first_wake(tmp_path: Path) -> Clockwork:
    """Return a home that woke once, with nothing logged."""
    lifetime = Clockwork(make_home(tmp_path / "home"), START, held_every=1)
    lifetime.wake()
    return lifetime


def test_a_flight_struck_long_after_its_job_was_finished_is_missed(tmp_path: Path) -> None:
    lifetime = first_wake(tmp_path)
    lifetime.log("booked", job="roof", starts=rfc3339(START + HOUR), aircraft="heron")
    lifetime.run(START + 28 * HOUR)
    lifetime.log("flown", aircraft="heron", packs=["A"], minutes=10, id="late")
    lifetime.run(START + 25 * DAY)
    query = "SELECT over_at FROM item_states WHERE item = 'roof'"
    assert lifetime.home.log.connection.execute(query).fetchone() == (START + 13 * HOUR,)
    lifetime.log("struck", event="late")
    assert ("job-not-logged", "roof") in [(r.key.rule, r.key.item) for r in lifetime.board().open_at(lifetime.now)]
    same_states(lifetime)
    lifetime.close()


def test_states_of_another_set_up_or_of_a_later_time_are_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lifetime = first_wake(tmp_path)
    lifetime.log("charged", item="A")
    at = Desk(lifetime.home, lifetime.setup, lifetime.now)
    monkeypatch.setattr(board, "solve_board", lambda _at: None)
    assert current_board(at) is not None
    assert current_board(at._replace(setup=lifetime.setup._replace(fingerprint="other"))) is None
    assert current_board(at._replace(now=lifetime.now - 1)) is None
    forget(lifetime.home)
    assert current_board(at) is None
    lifetime.close()


CHANGED_FACT = """
from scheduler.facts.declare import DECLARED
DECLARED["charge"] = DECLARED["charge"]._replace(compute=lambda *_: [])
"""
WAKE_AND_LOOK = f"""
from scheduler.answers.board import current_board, to_text, solve_board
from scheduler.answers.desk import Desk
from scheduler.daemon.wake import wake
from scheduler.home.folder import Home
home = Home("home")
at = Desk(home, home.setup(), {START + 30 * HOUR})
kept, solved = to_text(at, current_board(at)), to_text(at, solve_board(at))
assert kept == solved
print(kept)
wake(home, at.setup, at.now)
"""


def test_a_changed_fact_never_meets_an_old_answer(tmp_path: Path) -> None:
    top = Path(__file__).resolve().parents[2]
    for part in ("scheduler", "rules"):
        shutil.copytree(top / part, tmp_path / part)
    home = Home(make_home(tmp_path / "home"))
    entry = {"at": rfc3339(START), "what": "charged", "item": "A"}
    take(home.log, [(1, json.dumps(entry))], home.setup().fleet, START)
    home.log.close()

    def board_in_a_new_process() -> str:
        call = [sys.executable, "-c", WAKE_AND_LOOK]
        done = subprocess.run(call, cwd=tmp_path, env=os.environ | {"PYTHONPATH": "."}, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return done.stdout

    assert "pack-left-full" in board_in_a_new_process()
    assert "pack-left-full" in board_in_a_new_process()
    declared_in = CATALOGUE["charge"].compute.__module__.replace(".", "/")
    with (tmp_path / f"{declared_in}.py").open("a") as module:
        module.write(CHANGED_FACT)
    assert "pack-left-full" not in board_in_a_new_process()


def test_the_tables_of_an_earlier_version_are_dropped(tmp_path: Path) -> None:
    path = make_home(tmp_path / "home")
    home = Home(path)
    take(home.log, [], home.setup().fleet, START)
    with home.log.transaction() as transaction:
        for table in ("folds", "rests_on", "folded"):
            transaction.execute(f"CREATE TABLE {table} (item TEXT)")
    home.log.close()
    lifetime = Clockwork(path, START)
    lifetime.wake()
    tables = {name for (name,) in lifetime.home.log.connection.execute("SELECT name FROM sqlite_master")}
    assert {"item_states", "dependencies", "item_states_key"} <= tables
    assert not {"folds", "rests_on", "folded"} & tables
    lifetime.close()


def test_after_many_entries_at_once_the_states_are_rebuilt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(work_list, "_REBUILD_FROM_ENTRIES", 3)
    lifetime = first_wake(tmp_path)
    for percent in range(60, 66):
        entry = {"at": rfc3339(lifetime.now), "what": "charged", "item": "A", "percent": percent}
        take(lifetime.home.log, [(1, json.dumps(entry))], lifetime.setup.fleet, lifetime.now)
    lifetime.wake()
    same_states(lifetime)
    lifetime.close()


def test_states_computed_in_several_processes_are_those_computed_in_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    examples = Path(__file__).resolve().parents[2] / "examples"
    path = Path(shutil.copytree(examples / "home", tmp_path / "home"))
    lifetime = Clockwork(path, moment("2026-06-27 20:00"))
    lines = (examples / "season.jsonl").read_text(encoding="utf-8").splitlines()
    told = (line for line in lines if parse_rfc3339(json.loads(line)["recorded_at"]) <= lifetime.now)
    take(lifetime.home.log, enumerate(told, 1), lifetime.setup.fleet, lifetime.now)
    lifetime.wake()

    monkeypatch.setattr("scheduler.home.process_pool.cores", lambda: 2)
    one = list(rebuild_states(lifetime.home, lifetime.setup, lifetime.now))
    monkeypatch.setattr(work_list, "ITEMS_PER_WAKE_GROUP", 1)
    monkeypatch.setattr(work_list, "_PER_CALL", 10)
    assert list(rebuild_states(lifetime.home, lifetime.setup, lifetime.now)) == one
    assert len({state.item for state in one}) == len(one) > 50
    assert sum(state.open for state in one) == lifetime.woken.open  # type: ignore[union-attr]
    lifetime.close()


WAITS = """rules:
  - {id: own-waits, about: job, title: Pay, when: {fact: job_under_way, is: yes},
     until: {fact: job_under_way, is: no, lasting: 30 d}, urgency: today, do: Ask, why: It is late,
     basis: {kind: common practice}}
"""


def test_a_job_is_not_finished_before_what_its_rules_wait_for_has_lasted(tmp_path: Path) -> None:
    """A rule added when the job is over, whose `until` lasts longer than anything is left unjudged."""
    home = make_home(tmp_path / "home")
    (home / "rules" / "own.yaml").unlink()
    lifetime = Clockwork(home, START, held_every=1)
    lifetime.wake()
    lifetime.log("booked", job="roof", starts=rfc3339(START + HOUR), aircraft="heron")
    lifetime.run(START + 3 * HOUR)
    lifetime.log("flown", aircraft="heron", packs=["A"], minutes=10)
    lifetime.run(START + 20 * DAY)
    (home / "rules" / "own.yaml").write_text(WAITS)
    lifetime.restart()
    lifetime.wake()
    lifetime.run(lifetime.now + 2 * DAY)
    assert "own-waits" in {told.key.rule for told in Outbox(lifetime.home.log).ledger().rings()}
    lifetime.close()


def test_every_fact_of_a_job_has_a_value_for_after_the_job() -> None:
    assert VALUES_ONCE_OVER.keys() == {name for name, fact in CATALOGUE.items() if "job" in fact.about}


def test_a_rebuild_leaves_no_fact_store_behind(tmp_path: Path) -> None:
    """It runs without the garbage collector: entries held by a reference cycle would pile up item by item."""
    lifetime = first_wake(tmp_path)
    lifetime.log("charged", item="A")
    with uncollected():
        before = counted()
        assert list(rebuild_states(lifetime.home, lifetime.setup, lifetime.now))
        assert counted() == before
    lifetime.close()


def counted() -> int:
    """Return how many fact stores and lifetimes there are."""
    return sum(isinstance(each, FactStore | Lifetime) for each in gc.get_objects())


def test_a_job_named_like_an_item_or_the_home_rings(tmp_path: Path) -> None:
    lifetime = first_wake(tmp_path)
    for name in ("heron", "home", "harbour"):
        lifetime.log("booked", job=name, starts=rfc3339(START + 40 * HOUR), aircraft="heron")
    lifetime.run(START + 40 * HOUR)
    told = {(rule, item) for _, _, rule, item, _ in lifetime.told()}
    assert {("eve-of-job", name) for name in ("heron", "home", "harbour")} <= told
    lifetime.close()


def test_entries_ahead_of_the_clock_count_as_their_time_comes(tmp_path: Path) -> None:
    lifetime = first_wake(tmp_path)
    lifetime.log("charged", item="A", percent=100)
    lifetime.run(START + 30 * HOUR)
    ahead = [
        {"what": "seen", "rule": "pack-left-full", "item": "A", "at": rfc3339(lifetime.now + MINUTE)},
        {"what": "measured", "percent": 99, "item": "A", "at": rfc3339(lifetime.now + 4 * MINUTE)},
    ]
    take(
        lifetime.home.log,
        [(n, json.dumps(entry)) for n, entry in enumerate(ahead, 1)],
        lifetime.setup.fleet,
        lifetime.now,
    )
    lifetime.wake()
    for minutes in (0, 2, 5):
        at = Desk(lifetime.home, lifetime.setup, lifetime.now + minutes * MINUTE)
        assert to_text(at, current_board(at)) == to_text(at, solve_board(at))
    lifetime.close()


def test_the_board_says_truly_since_when_readings_are_missing(tmp_path: Path) -> None:
    fleet = {
        "packs": [{"id": "X", "in_service": "2025-01-01"}, {"id": "Y", "in_service": "2025-06-01"}],
        "aircraft": [{"id": "heron", "in_service": "2026-03-01"}],
    }
    home = make_home(tmp_path / "home")
    (home / "fleet.yaml").write_text(json.dumps(fleet))
    (home / "rules" / "own.yaml").unlink()
    lifetime = Clockwork(home, START, held_every=1)
    lifetime.log("measured", item="X", percent=50, at=moment("2026-01-01"))
    lifetime.log("inspected", item="heron", result="pass")
    at = Desk(lifetime.home, lifetime.setup, lifetime.now + HOUR)
    assert "Wed 1 Jan 2025" in to_text(at, solve_board(at))
    assert to_text(at, current_board(at)) == to_text(at, solve_board(at))
    lifetime.close()


def test_the_fleet_is_not_read_for_the_home_where_no_reading_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read() -> Never:
        raise AssertionError("the fleet was read whole")

    home = make_home(tmp_path / "home")
    (home / "fleet.yaml").write_text(json.dumps({"packs": [{"id": "X"}]}))
    (home / "rules" / "own.yaml").unlink()
    lifetime = Clockwork(home, START, held_every=1)
    lifetime.log("measured", item="X", percent=50)
    lifetime.run(START + 30 * DAY)
    monkeypatch.setattr(ItemStates, "with_news", lambda _: {HOME})
    found = current_board(Desk(lifetime.home, lifetime.setup._replace(fleet=Fleet(read)), lifetime.now))
    assert [(r.key.rule, r.key.item) for r in found.opened] == [("log-gone-quiet", HOME)]
    lifetime.close()


QUIET, READINGS = "{fact: log_quiet, at_least: 5 d}", "{fact: first_readings_due, at_least: 1 item}"


@pytest.mark.parametrize(
    ("conditions", "over_all_time"),
    [
        (f"when: {QUIET}\n    urgency: whenever", False),
        (f"when: {READINGS}\n    urgency: whenever", False),
        (f"when: {QUIET}\n    until: {READINGS}\n    urgency: whenever", True),
        (f"when: {READINGS}\n    until: {QUIET}\n    urgency: whenever", True),
        (f"when: {READINGS}\n    urgency: [{{this_week: {QUIET}}}, whenever]", True),
        (f"when: {{not: {QUIET}}}\n    urgency: whenever", True),
    ],
)
def test_only_a_rule_that_asks_just_for_a_quiet_log_does_without_earlier_entries(
    conditions: str, over_all_time: bool
) -> None:
    head = "rules:\n  - id: own\n    about: home\n    title: Own\n"
    rules = ruleset(
        f'{head}    {conditions}\n    do: "Look."\n    why: It matters.\n    basis: {{kind: common practice}}\n'
    )
    assert home_since(rules, START) == (MIN_INSTANT if over_all_time else START)


def test_a_reminder_superseded_by_a_late_entry_is_said_to_be(tmp_path: Path) -> None:
    """Each wake is compared to one without the cache."""
    lifetime = Clockwork(make_home(tmp_path / "home"), moment("2026-03-25 08:00"), held_every=1)
    lifetime.wake()
    lifetime.log("charged", item="A")
    lifetime.run(moment("2026-03-30 10:00"))
    late = [
        {"at": "2026-03-28T12:00:00Z", "what": "mishap", "item": "A", "severity": "dropped"},
        {"at": "2026-03-29T14:00:00Z", "what": "inspected", "item": "A", "result": "pass"},
    ]
    take(lifetime.home.log, enumerate(map(json.dumps, late), 1), lifetime.setup.fleet, lifetime.now)
    lifetime.wake()
    lifetime.run(moment("2026-04-07 10:00"))
    assert any("Pack left fully charged: A: gave way to pack under watch" in letter.body for letter in lifetime.letters)
    lifetime.close()


def test_the_entry_that_withdrew_a_reminder_of_the_home_is_named(tmp_path: Path) -> None:
    lifetime = first_wake(tmp_path)
    lifetime.log("charged", item="A", percent=55)
    lifetime.run(START + 25 * DAY)
    assert ("log-gone-quiet", "home") in lifetime.firsts()
    lifetime.log("measured", at=START + 9 * DAY, item="O", percent=50, id="late")
    lifetime.run(lifetime.now + 8 * DAY)
    reasons = [reason for _, kind, rule, _, reason in lifetime.told() if (kind, rule) == ("settled", "log-gone-quiet")]
    assert reasons == ["withdrawn by measured (late)"]
    lifetime.close()


def test_a_wake_goes_on_when_another_process_drops_the_states(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lifetime = first_wake(tmp_path)
    lifetime.log("charged", item="A")
    ensure, left = wakes.ensure_item_states, [2]

    def ensured_and_forgotten(*args: object) -> None:
        ensure(*args)  # type: ignore[arg-type]
        if left[0]:
            left[0] -= 1
            other = Home(lifetime.path)
            forget(other)
            other.log.close()

    monkeypatch.setattr(wakes, "ensure_item_states", ensured_and_forgotten)
    lifetime.log("charged", item="B")
    lifetime.run(START + 36 * HOUR)
    assert {("pack-left-full", "A"), ("pack-left-full", "B")} <= set(lifetime.firsts())
    lifetime.close()


def test_a_reading_found_in_one_group_counts_for_the_home_in_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(work_list, "ITEMS_PER_WAKE_GROUP", 3)
    packs = [{"id": name, "fits": ["heron"], "in_service": "2026-01-01"} for name in "ABCDEFGH"]
    fleet = {"aircraft": [{"id": "heron", "in_service": "2026-01-01"}], "packs": packs}
    home = make_home(tmp_path / "home")
    (home / "fleet.yaml").write_text(json.dumps(fleet))
    lifetime = Clockwork(home, START, held_every=1)
    lifetime.wake()
    said = [{"what": "inspected", "item": "heron", "result": "pass"}]
    said += [{"what": "measured", "item": str(pack["id"]), "percent": 50} for pack in packs]
    lines = [(n, json.dumps({"at": rfc3339(START + HOUR), **entry})) for n, entry in enumerate(said, 1)]
    take(lifetime.home.log, lines, lifetime.setup.fleet, START + HOUR)
    lifetime.sleep(START + 2 * DAY)
    assert ("new-home-first-readings", "home") not in {r.key for r in lifetime.board().open_at(lifetime.now)}
    same_board(lifetime)
    row = lifetime.home.log.connection.execute("SELECT open FROM item_states WHERE item = 'home'").fetchone()
    assert row == (len([r for r in lifetime.board().open_at(lifetime.now) if r.key.item == "home"]),)
    lifetime.close()


def test_what_a_wake_as_of_another_instant_sent_is_taken_into_account(tmp_path: Path) -> None:
    lifetime = first_wake(tmp_path)
    said = [
        {
            "at": rfc3339(START + 30 * HOUR),
            "what": "booked",
            "job": "roof",
            "starts": rfc3339(START + 60 * HOUR),
            "aircraft": "heron",
        },
        {"at": rfc3339(START + 61 * HOUR), "what": "cancelled", "job": "roof"},
    ]
    lines = [(number, json.dumps(entry | {"recorded_at": entry["at"]})) for number, entry in enumerate(said, 1)]
    take(lifetime.home.log, lines, lifetime.setup.fleet, START + 72 * HOUR)
    lifetime.sleep(START + 72 * HOUR)
    wakes.wake(lifetime.home, lifetime.setup, START + 43 * HOUR, trust=True)
    assert "roof" in {item for _, kind, _, item, _ in lifetime.told() if kind in ("first", "again")}
    lifetime.wake()
    same_states(lifetime)
    lifetime.close()
