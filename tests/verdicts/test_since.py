"""A verdict since an instant is the one over all time, but for what was over by then."""

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.instants import HOUR
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.event_cache import Clocks
from scheduler.facts.fact_store import FactStore
from scheduler.fleet.fleet import Fleet
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import verdicts
from tests.facts.test_laws import FLEET, START, ZONE, logs
from tests.rules.library import rules
from tests.support import Entries, MemoryLog

EVERY_RULE = Ruleset(list(rules().values()), {}, CATALOGUE)


@settings(deadline=None, max_examples=30)
@given(logs(), st.integers(-24, 60 * 24))
def test_what_is_open_or_comes_is_the_same_since_an_instant_as_over_all_time(entries: Entries, hours: int) -> None:
    instant = START + hours * HOUR
    store = FactStore(Fleet(FLEET), MemoryLog(entries), Clocks(ZONE))
    whole, late = verdicts(store, EVERY_RULE), verdicts(store, EVERY_RULE, since=lambda _key: instant)
    for one, other in zip(whole, late, strict=True):
        standing = [episode for episode in one.episodes if episode.ended > instant]
        assert [episode for episode in other.episodes if episode.ended > instant] == standing, one.key
        assert [other.rises(episode) for episode in standing] == [one.rises(episode) for episode in standing]
        assert [turn for turn in other.turns if turn > instant] == [turn for turn in one.turns if turn > instant]
        assert other.when.level_before(instant) == one.when.level_before(instant)
        assert other.when.since(instant) == one.when.since(instant) or other.when.at(instant) == 0
        assert other.urgency(instant) == one.urgency(instant)
