"""A verdict since an instant is the one over all time, but for what was over by then."""

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.base.instants import HOUR
from scheduler.facts.catalogue import CATALOGUE
from scheduler.facts.fact_store import Clocks, FactStore
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
    book = FactStore(Fleet(FLEET), MemoryLog(entries), Clocks(ZONE))
    whole, late = verdicts(book, EVERY_RULE), verdicts(book, EVERY_RULE, since=lambda _key: instant)
    for one, other in zip(whole, late, strict=True):
        standing = [stretch for stretch in one.stretches if stretch.ended > instant]
        assert [stretch for stretch in other.stretches if stretch.ended > instant] == standing, one.key
        assert [other.rises(stretch) for stretch in standing] == [one.rises(stretch) for stretch in standing]
        assert [turn for turn in other.turns if turn > instant] == [turn for turn in one.turns if turn > instant]
        assert other.when.onward(instant) == one.when.onward(instant)
        assert other.when.since(instant) == one.when.since(instant) or other.when.at(instant) == 0
        assert other.urgency(instant) == one.urgency(instant)
