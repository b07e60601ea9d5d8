"""Laws that the facts of any log obey. SHELFBELL_EXAMPLES=10 tries ten times as many logs."""

import json
import os
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from scheduler.base.instants import DAY, HOUR, MAX_INSTANT, MIN_INSTANT, MINUTE, rfc3339
from scheduler.events.event import JOB, JOBS
from scheduler.events.log import Log, LogReader
from scheduler.events.taking import take
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.event_cache import Clocks
from scheduler.facts.event_times import begins_at
from scheduler.facts.fact_store import FactStore
from scheduler.facts.home_facts import summarise
from scheduler.facts.item_events import item_named, names_of
from scheduler.facts.jobs import CHANGED_BY_PLANS
from scheduler.facts.service import retired_at
from scheduler.facts.timeline import Segment, Timeline, events_of
from scheduler.fleet.fleet import Fleet, Item
from tests.support import Entries, Fields, MemoryLog, event, moment

FLEET = {
    "aircraft": [{"id": "heron"}, {"id": "wagtail", "in_service": "2026-03-05"}],
    "packs": [
        {"id": "A", "self_discharge": "4 %", "self_drain": {"after": "5 d", "to": "60 %", "over": "2 d"}},
        {"id": "B", "fits": ["heron"], "in_service": "2026-03-05", "self_discharge": "30 %", "capacity": "4000 mAh"},
    ],
    "propellers": [{"id": "props", "fits": ["heron"], "in_service": "2026-03-03"}, {"id": "other"}],
    "gimbals": [{"id": "gimbal", "fits": ["heron", "wagtail"]}],
    "pilots": [{"id": "me"}, {"id": "mate"}],
    "chargers": [{"id": "bench"}],
    "papers": [{"id": "paper", "of": "me", "valid_for": "1 y", "renew_from": "expiry"}],
    "spares": [{"id": "spare", "keep": 2}],
}
TIMES = int(os.environ.get("SHELFBELL_EXAMPLES", "1"))
"""How many times more examples than usual to try: set it after changing a fact that is computed from an instant on."""


def examples(number: int) -> settings:
    """So many examples, times TIMES."""
    return settings(deadline=None, max_examples=number * TIMES)


START = moment("2026-03-01")
NOW = moment("2027-06-01")
ZONE = ZoneInfo("Europe/Lisbon")
MODES, RESULTS = ["driven", "freight"], ["pass", "doubtful", "fail"]

percents = st.sampled_from([0, 0.1, 3, 30, 33.3, 60, 99.9, 100])
crafts = st.sampled_from(["heron", "wagtail"])
packs = st.sampled_from(["A", "B"])
parts = st.sampled_from(["props", "other", "gimbal"])
anything = st.one_of(crafts, packs, parts, st.just("bench"))
jobs = st.sampled_from(["wedding", "roof"])


def entry(what: str, **fields: st.SearchStrategy[object]) -> st.SearchStrategy[Fields]:
    """A strategy of the fields of a kind; those whose name ends in _ may be absent."""
    given_always = {name: values for name, values in fields.items() if not name.endswith("_")}
    optional = {name[:-1]: values for name, values in fields.items() if name.endswith("_")}
    return st.fixed_dictionaries({"what": st.just(what)} | given_always, optional=optional)


ENTRIES = st.one_of(
    entry("charged", item=packs, percent_=percents, charger_=st.just("bench")),
    entry("drained", item=packs, percent=percents),
    entry("measured", item=packs, percent=percents, cycles_total_=st.integers(0, 50)),
    entry("measured", item=crafts, airtime_total=st.integers(0, 500)),
    entry("measured", item=packs, capacity_mah=st.integers(1, 5000), rest_volts_=st.sampled_from([11.0, 15.2, 16.8])),
    entry("flown", aircraft=crafts, packs=st.lists(packs, min_size=1, unique=True),
          minutes=st.sampled_from([0.001, 7, 17.5, 200]), percent_from_=st.just(100), percent_to_=percents,
          used_mah_=st.sampled_from([0, 1500, 90_000]), purpose_=st.just("test"), flights_=st.integers(1, 3),
          pilot_=st.sampled_from(["me", "mate"])),
    entry("mishap", item=crafts, severity=st.sampled_from(["water", "strike"]), packs_=st.just(["A"])),
    entry("mishap", item=packs, severity=st.just("dropped")),
    entry("noticed", item=anything, findings=st.sampled_from([["swollen"], ["dented"], ["nicked", "noise"]])),
    entry("inspected", item=anything, result=st.sampled_from(RESULTS), findings_=st.just(["smell"])),
    entry("set_aside", item=packs),
    entry("warned", item=crafts, of=st.just("motor")),
    entry("repaired", item=anything),
    entry("calibrated", item=crafts, what_of=st.sampled_from(["imu", "compass"])),
    entry("moved", item=anything, how=st.sampled_from(MODES)),
    entry("fitted", item=parts, aircraft=crafts),
    entry("removed", item=parts),
    entry("replaced", item=anything, from_spares_=st.just("spare")),
    entry("retired", item=anything),
    entry("counted", item=st.just("spare"), count=st.integers(0, 9)),
    entry("used", item=st.just("spare"), count=st.integers(0, 9)),
    entry("renewed", item=st.just("paper"), expires_=st.just("2026-09-09")),
    entry("booked", job=jobs, starts=st.sampled_from(["2026-03-04", "2026-03-29 07:00"]), aircraft_=crafts),
    entry("cancelled", job=jobs),
)  # fmt: skip


@st.composite
def logs(draw: st.DrawFn, least: int = 0) -> Entries:
    """Entries of three weeks, each at its own minute and recorded at another."""
    minutes = draw(st.lists(st.integers(0, 21 * 24 * 60), min_size=least, max_size=14, unique=True))
    made = []
    for number, minute in enumerate(minutes):
        at, recorded_at = rfc3339(START + minute * MINUTE), rfc3339(moment("2026-05-01") + number * HOUR)
        made.append(event(at, id=f"e{number}", recorded_at=recorded_at, **draw(ENTRIES)))  # type: ignore[arg-type]
    return made


def questions(store: FactStore) -> Iterator[tuple[Item, str, str | None]]:
    """Every fact, and variant, of everything that the store knows."""
    for declared in CATALOGUE.values():
        for kind in declared.about:
            for name in names_of(store, kind):
                for of in declared.of or (None,):
                    yield item_named(store, kind, name), declared.name, of


Answer = list[tuple[int, object, object, list[str]]]


def answers(store: FactStore) -> dict[tuple[str, str, str | None], Answer]:
    """Every fact with its reasons."""
    return {
        (item.id, name, of): [
            (p.start, p.value, p.slope, [e.id for e in events_of(p.evidence)])
            for p in store.fact(item, name, of).segments
        ]
        for item, name, of in questions(store)
    }


def store_over(entries: Entries) -> FactStore:
    return FactStore(Fleet(FLEET), MemoryLog(entries), Clocks(ZONE))


def put(path: Path, entries: Entries) -> FactStore:
    """A store over a real log that took the entries one by one."""
    log = Log(path / "shelfbell.db")
    for made in entries:
        take(log, [(1, json.dumps(made))], Fleet(FLEET), NOW)
    return FactStore(Fleet(FLEET), LogReader(log), Clocks(ZONE))


def instants(timeline: Timeline) -> Iterator[int]:
    """Where a timeline could go astray: the first, middle and last instant of each segment."""
    for segment, end in timeline:
        yield from (segment.start, (segment.start + end) // 2, end - 1)


FLIGHTS = entry(
    "flown", aircraft=st.sampled_from(["heron", "heron", "wagtail"]), packs=st.sampled_from([["A"], ["B"], ["A", "B"]]),
    minutes=st.integers(10, 40), percent_from=st.just(100), percent_to_=st.sampled_from([10, 25, 60]),
)  # fmt: skip


@st.composite
def seasons(draw: st.DrawFn) -> Entries:
    """Flights over half a year, now and then something else between them."""
    days = draw(st.lists(st.integers(0, 180), min_size=30, max_size=60, unique=True))
    ats = [rfc3339(START + day * DAY) for day in sorted(days)]
    others = draw(st.sets(st.integers(0, len(ats)), max_size=6))
    made = (draw(ENTRIES if place in others else FLIGHTS) for place in range(len(ats)))
    return [event(at, id=f"e{number}", **fields) for number, (at, fields) in enumerate(zip(ats, made, strict=True))]  # type: ignore[arg-type]


@st.composite
def bookings(draw: st.DrawFn) -> Entries:
    """Jobs booked, moved and called off within three weeks, and packs charged and flown for them."""
    made = []
    for number, hour in enumerate(sorted(draw(st.sets(st.integers(0, 21 * 24), min_size=8, max_size=20)))):
        at = START + hour * HOUR
        fields = draw(st.one_of(BOOKED, HANDLED))
        if fields["what"] == "booked":
            starts = at + draw(st.sampled_from([1, 20, 50, 200])) * HOUR
            fields |= {"starts": rfc3339(starts), "ends": rfc3339(starts + draw(st.sampled_from([1, 40])) * HOUR)}
        made.append(event(rfc3339(at), id=f"e{number}", **fields))  # type: ignore[arg-type]
    return made


BOOKED = st.one_of(
    entry("booked", job=jobs, aircraft_=crafts), entry("booked", job=jobs, aircraft=st.just("heron")),
    entry("cancelled", job=jobs),
)  # fmt: skip
HANDLED = st.one_of(
    entry("charged", item=packs), entry("charged", item=packs),
    entry("flown", aircraft=crafts, packs=st.just(["A"]), minutes=st.just(20)),
    entry("fitted", item=parts, aircraft=crafts), entry("removed", item=parts), entry("replaced", item=packs),
)  # fmt: skip


LEFT_BEHIND = [
    event("2026-03-06", what="flown", aircraft="heron", packs=["A", "B"], minutes=200),
    event("2026-05-20", what="flown", aircraft="heron", packs=["A", "B"], minutes=200),
]
"""The first flight leaves the 90 days just after B has been in use for as long: its share is known from then on."""


@examples(20)
@given(seasons(), st.integers(0, 300 * 24))
@example(LEFT_BEHIND, 96 * 24)
def test_a_fact_starting_at_an_instant_equals_the_one_over_all_time_from_then_on(entries: Entries, hours: int) -> None:
    _check_starting_at(store_over(entries), START + hours * HOUR)


CALLED_OFF = [
    event("2026-03-02 12:00", id="e0", what="booked", job="roof", aircraft="heron", starts="2026-03-04 09:00"),
    event("2026-03-03 18:00", id="e1", what="charged", item="B"),
    event("2026-03-04 07:00", id="e2", what="cancelled", job="roof"),
]
"""B was charged for a job that is over by any plan, and stands full since: that it was called off counts long after."""


@examples(25)
@given(bookings(), st.integers(0, 24 * 24))
@example(CALLED_OFF, 20 * 24)
@example(CALLED_OFF[:1], 3 * 24 + 15)
def test_a_fact_starting_at_an_instant_is_right_where_jobs_are_booked_and_called_off(
    entries: Entries, hours: int
) -> None:
    _check_starting_at(store_over(entries), START + hours * HOUR)


def _check_starting_at(store: FactStore, instant: int) -> None:
    for item, name, of in questions(store):
        late, whole = store.fact(item, name, of, instant), store.fact(item, name, of)
        assert _without_evidence(late.clipped(instant, MAX_INSTANT)) == _without_evidence(
            whole.clipped(instant, MAX_INSTANT)
        ), (
            item.id,
            name,
        )


def _without_evidence(segments: list[Segment]) -> list[Segment]:
    return [segment._replace(evidence=None) for segment in segments]


@examples(30)
@given(logs())
def test_charge_stays_within_0_and_100(entries: Entries) -> None:
    store = store_over(entries)
    for pack in "AB":
        charge = store.fact(store.fleet[pack], "charge")
        found = [charge.at(instant) for instant in instants(charge)]
        assert all(value is None or 0 <= value <= 100 for value in found)


IN_THE_AIR_WHEN_REPLACED = [
    event("2026-03-04T12:00:00Z", id="e0", what="replaced", item="A"),
    event("2026-03-04T12:05:00Z", id="e1", what="flown", aircraft="heron", packs=["A"], minutes=7, percent_from=100,
          percent_to=60),
]  # fmt: skip


@examples(30)
@given(logs())
@example(IN_THE_AIR_WHEN_REPLACED)
def test_a_pack_is_judged_from_the_first_instant_at_which_its_charge_is_known(entries: Entries) -> None:
    store = store_over(entries)
    for pack in map(store.fleet.__getitem__, "AB"):
        known = (segment.start for segment in store.fact(pack, "charge").segments if segment.value is not None)
        assert summarise(store, pack).judged_from == min(next(known, MAX_INSTANT), retired_at(store, pack))


@examples(30)
@given(logs())
def test_counts_never_fall_within_a_lifetime_unless_a_total_was_shown(entries: Entries) -> None:
    store = store_over(entries)
    for name in ("cycles", "airtime", "flights"):
        for item in (i for kind in CATALOGUE[name].about for i in map(store.fleet.__getitem__, names_of(store, kind))):
            for lifetime in store.lifetimes(item):
                segments = [segment for segment in lifetime.fact(name).segments if segment.value is not None]
                for one, two in zip(segments, segments[1:], strict=False):
                    shown = two.evidence is not None and two.evidence[0].what == "measured"
                    assert shown or two.value >= one.value  # type: ignore[operator]


@examples(30)
@given(logs())
def test_every_fact_of_everything_can_be_asked(entries: Entries) -> None:
    """Each covers all time, in order; of an item of the fleet only what a reading sets is unknown once it is there."""
    store = store_over(entries)
    for item, name, of in questions(store):
        segments = store.fact(item, name, of).segments
        starts = [segment.start for segment in segments]
        assert starts[0] == MIN_INSTANT
        assert starts == sorted(set(starts))
        assert starts[-1] < MAX_INSTANT
        if item.kind not in ("job", "home") and not CATALOGUE[name].unknown:
            known = [segment.value is not None for segment in segments]
            assert known == sorted(known), f"{name} of {item.id} is unknown again"


@examples(30)
@given(logs(), st.integers(0, 21 * 24))
def test_a_fact_uses_only_what_had_happened(entries: Entries, hours: int) -> None:
    """At a time when nothing was in flight: later events change nothing of what was before."""
    cut = START + hours * HOUR
    events = MemoryLog(entries).events
    if any(begins_at(one) <= cut < one.at for one in events if one.what == "flown"):
        return
    whole, early = store_over(entries), store_over([one.fields for one in events if one.at <= cut])
    for item, name, of in questions(early):
        if early.lifetimes(item)[0].born is None:  # not there yet
            continue
        then, now = early.fact(item, name, of), whole.fact(item, name, of)
        for instant in sorted({*instants(then), *instants(now), cut}):
            if instant <= cut:
                assert then.at(instant) == now.at(instant), (item.id, name, of)


@examples(8)
@given(logs(least=2), st.data())
def test_the_order_of_arrival_changes_no_fact(
    tmp_path_factory: pytest.TempPathFactory, entries: Entries, data: st.DataObject
) -> None:
    shuffled = data.draw(st.permutations(entries))
    paths = [tmp_path_factory.mktemp("home") for _ in range(2)]
    assert answers(put(paths[0], entries)) == answers(put(paths[1], shuffled))


@examples(8)
@given(logs(least=1), st.data())
def test_a_struck_event_leaves_the_facts_as_if_it_had_never_been_logged(
    tmp_path_factory: pytest.TempPathFactory, entries: Entries, data: st.DataObject
) -> None:
    victim = data.draw(st.sampled_from(entries))
    strike = event(data.draw(st.sampled_from(["2026-01-01", "2026-03-09", "2027-01-01"])), "struck", event=victim["id"])
    struck = put(tmp_path_factory.mktemp("home"), [*entries, strike])
    assert answers(struck) == answers(store_over([one for one in entries if one is not victim]))


@examples(8)
@given(logs(least=2))
def test_an_event_in_place_of_another_leaves_the_facts_as_if_it_alone_had_been_logged(
    tmp_path_factory: pytest.TempPathFactory, entries: Entries
) -> None:
    wrong, right = entries[0], entries[1] | {"instead_of": entries[0]["id"]}
    corrected = put(tmp_path_factory.mktemp("home"), [wrong, right, *entries[2:]])
    assert answers(corrected) == answers(store_over([right, *entries[2:]]))


def test_the_list_of_facts_that_a_booking_can_change_is_complete() -> None:
    entries = [
        event("2026-05-01", what="booked", job="roof", aircraft="heron", starts="2026-05-09"),
        event("2026-05-02", what="charged", item="B"),
    ]
    asking = set()
    for item, name, of in questions(store_over(entries)):
        store = FactStore(Fleet(FLEET), MemoryLog(entries), Clocks(ZONE), tracking=True)
        dependencies = store.track(partial(store.fact, item, name, of))
        if item.kind != "job" and any(under.startswith(JOB) or under == JOBS for under, _ in dependencies):
            asking.add(name)
    assert asking == set(CHANGED_BY_PLANS)
