"""The fold of an item: until when nothing about it can change by the clock alone, and on which entries that rests.

A wake looks at an item again when that instant has come, or when an entry came on which it rests, and at no other.
"""

from collections.abc import Container, Iterable, Iterator
from functools import partial
from typing import NamedTuple, TypeVar

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT
from scheduler.events.event import HOME, JOB
from scheduler.events.source import standing
from scheduler.facts.event_cache import Dependency
from scheduler.facts.fact_store import FactStore, ItemSummary
from scheduler.facts.home_facts import SUMMARISED, summarise
from scheduler.facts.intervals import NO, UNKNOWN, YES
from scheduler.facts.job_requirements import unlogged_intervals
from scheduler.facts.jobs import GRACE, VALUES_ONCE_OVER, Job, find_job
from scheduler.facts.timeline import NEVER, Segment, Timeline
from scheduler.fleet.fleet import Fleet
from scheduler.reminders.announcements import DISTURBING
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.decide import Decision, Ledger, coming_announcements, find_ended
from scheduler.reminders.hours import Hours
from scheduler.reminders.message_text import fleeting, keep
from scheduler.reminders.outline import outline_of
from scheduler.reminders.unjudged import Unknown, missing_facts, unknown_at
from scheduler.verdicts.conditions import Leaf, intervals, leaves
from scheduler.verdicts.episodes import NOT_JUDGED_AFTER
from scheduler.verdicts.rule import Rule, Ruleset
from scheduler.verdicts.verdict import Key, Verdict

Told = TypeVar("Told", Reminder, Unknown)


class ItemState(NamedTuple):
    """What a wake left of an item.

    `next_at`: the first instant at which a verdict on it changes or something is to be said of it, if nothing is logged
    before. `open`: how many of its reminders are open. `news`: a digest would speak of it. `over_at`: entries of what
    happened later to others change nothing about it (MAX_INSTANT for most, the end of a job that is done with).
    `dependencies`: the names and kinds of entries that its verdicts looked for. `evidence`: what its entries are
    evidence of, for the kinds that the home asks about. `outline`: until when its outline holds, and that; None where
    nothing does, or it changes all the time.
    """

    item: str
    next_at: int
    open: int
    news: bool
    over_at: int
    dependencies: frozenset[Dependency]
    evidence: ItemSummary | None = None
    outline: tuple[int, str] | None = None


class SolvedBoard(NamedTuple):
    """What solving all verdicts of a board came to: why some could not be, and what those on each item rest on."""

    sick: dict[Key, str]
    dependencies: dict[str, set[Dependency]]


def solve(board: Board, now: int) -> SolvedBoard:
    """Solve every verdict of a board whose book listens; those that raise are taken off it, the others go on."""
    by_item: dict[str, list[Verdict]] = {}
    for verdict in board.verdicts:
        by_item.setdefault(verdict.key.item, []).append(verdict)
    sick: dict[Key, str] = {}

    def question(verdicts: list[Verdict]) -> None:
        sick.update({verdict.key: text for verdict in verdicts if (text := _sickness(verdict, now))})

    dependencies = {item: board.store.track(partial(question, verdicts)) for item, verdicts in by_item.items()}
    board.verdicts = [verdict for verdict in board.verdicts if verdict.key not in sick]
    return SolvedBoard(sick, dependencies)


def _sickness(verdict: Verdict, now: int) -> str:
    """Solve a verdict. What went wrong, "" where nothing did."""
    try:
        for episode in verdict.episodes:
            verdict.rises(episode)
            verdict.opened_by_event(episode.opened)
        if verdict.when.at(now) == UNKNOWN:
            missing_facts(verdict, now)
        opened = verdict.open_at(now)
        if opened is not None and not fleeting(reminder := Reminder(verdict, opened)):
            keep(reminder, now)  # what its texts rest on
    except Exception as error:  # whatever a rule raises, the others go on; what it raised is reported
        import traceback

        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {error} ({where.name})"
    return ""


def item_states(
    board: Board, solved: SolvedBoard, ledger: Ledger, hours: Hours, decision: Decision, items: Iterable[str]
) -> Iterator[ItemState]:
    """The folds of some items after a decision on a board that holds all of their verdicts, noted in the ledger."""
    now = decision.at
    turns = _turns(board, ledger, hours, decision)
    opened, unknown = _by_item(board.open_at(now)), _by_item(unknown_at(board, now))
    news = opened.keys() | unknown.keys()
    news |= {ended.key.item for ended in find_ended(board, ledger, now)}
    sick = {key.item for key in solved.sick}
    for item in items:
        next_at = now if item in sick else turns.get(item, MAX_INSTANT)
        job = find_job(board.store, item)
        # the home rests on all, which is not kept; but a job may have its name
        dependencies = {(item, None), *solved.dependencies.get(item, ())} if item != HOME or job else set()
        alone = job if item != HOME and item not in board.store.fleet else None
        over_at = _over_at(alone) if alone and next_at == MAX_INSTANT and item not in news else MAX_INSTANT
        told = summarise(board.store, board.store.fleet[item]) if board.store.fleet.kind(item) in SUMMARISED else None
        its = opened.get(item, []), unknown.get(item, [])
        kept = outline_of(board, item, *its, now, next_at) if any(its) and item not in sick else None
        rests = frozenset(_stored(dependencies, item))
        yield ItemState(item, next_at, len(its[0]), item in news, over_at, rests, told, kept)


def _by_item(found: Iterable[Told]) -> dict[str, list[Told]]:
    by_item: dict[str, list[Told]] = {}
    for each in found:
        by_item.setdefault(each.key.item, []).append(each)
    return by_item


def _turns(board: Board, ledger: Ledger, hours: Hours, decision: Decision) -> dict[str, int]:
    """By item, the first instant after a decision at which a verdict changes or a word falls due."""
    now = decision.at
    turns: dict[str, int] = {}

    def note(item: str, turn: int | None) -> None:
        if turn is not None and turn < turns.get(item, MAX_INSTANT):
            turns[item] = turn

    for verdict in board.verdicts:
        note(verdict.key.item, verdict.next_turn(now))
    for item in {verdict.key.item: verdict.item for verdict in board.verdicts}.values():
        # An entry may stand some minutes ahead of the clock; what it says counts from then on.
        entries = [*standing(board.store.own(item), now), *board.store.mentions(item, now)]
        note(item.id, min((event.at for event in entries if event.at > now), default=None))
    for word in coming_announcements(board, ledger, hours, decision):
        note(word.reminder.key.item, max(word.due, now))
    return turns


def _over_at(job: Job) -> int:
    return max(plan.ends for plan in job.plans) + GRACE


def done_with(store: FactStore, rules: Ruleset, unsettled: Container[str], name: str, now: int) -> ItemState | None:
    """The fold of a job so long over that no rule can have anything to say of it at `now` or later; None where it must
    be solved. `unsettled`: of what something was told, and not that it is over."""
    job = find_job(store, name)
    if job is None or name in unsettled or any(plan.aircraft is None for plan in job.plans):
        return None
    over_at = _over_at(job)
    logged_at = max((end for _, end, _ in unlogged_intervals(store, job.plans)), default=over_at)
    if now <= over_at or not all(
        max(logged_at, over_at) + _rests_after(store, rule) < now for rule in rules.applying("job", name)
    ):
        return None
    flown = {(str(plan.aircraft), "flown") for plan in job.plans}
    return ItemState(name, MAX_INSTANT, 0, False, over_at, frozenset({(f"{JOB}{name}", None), *flown}))


def _rests_after(store: FactStore, rule: Rule) -> float:
    """So long after a job is over and logged a rule about jobs has nothing open: the same of every job, told once for a
    book."""

    def tell() -> float:
        longest = max(leaf.lasting for part in rule.conditions for leaf in leaves(part))
        return longest + NOT_JUDGED_AFTER if _at_rest(rule) else NEVER

    return store.compute_once(("rests after", id(rule)), tell)


def _at_rest(rule: Rule) -> bool:
    """True when a rule about jobs has nothing open once a job is long over, whatever came before."""

    def ask(fact: str, _of: str | None, _since: int) -> Timeline:
        return Timeline([Segment(MIN_INSTANT, VALUES_ONCE_OVER[fact])])

    def reach(origin: int, _span: object) -> int:
        return origin

    when = intervals(rule.when, ask, reach).at(MAX_INSTANT)
    until = YES - when if rule.until is None else intervals(rule.until, ask, reach).at(MAX_INSTANT)
    # Where leaving cannot be judged either, what was open is closed as not judged.
    return when != YES and until != NO


def _stored(dependencies: set[Dependency], item: str) -> Iterator[Dependency]:
    """What an item rests on, less the entries of single jobs other than itself: their aircraft stand for them."""
    return ((name, what) for name, what in dependencies if not name.startswith(JOB) or name in (JOB, f"{JOB}{item}"))


def home_can_wait(rules: Ruleset) -> bool:
    """True when an entry about an item can wait for the next digest to be taken into account for the home's own rules:
    nothing that rests on other than absences rings of itself."""
    for rule in rules.applying(HOME, HOME):
        elsewhere = any(leaf.fact != "away_eve" for part in rule.conditions for leaf in leaves(part))
        if elsewhere and any(urgency in DISTURBING for urgency, _ in rule.urgency):
            return False
    return True


def home_asked_since(rules: Ruleset, ledger: Ledger, now: int) -> int:
    """From when on the instants of entries must be known to tell what the home's own rules have to say at `now`."""
    return home_since(
        rules, min((ledger.relevant_since(Key(name, HOME), now) for name in rules.about(HOME)), default=now)
    )


def home_since(rules: Ruleset, now: int) -> int:
    """From when on the instants of entries must be known to tell what is open by the home's own rules at `now`, and
    since when: a log that has been quiet for so long has been so since its last entry."""
    made = rules.applying(HOME, HOME)
    asked = [part for rule in made for part in rule.conditions]
    quiet = [part for part in asked if any(leaf.fact == "log_quiet" for leaf in leaves(part))]
    plain = [rule.when for rule in made if rule.when in quiet and rule.until is None and isinstance(rule.when, Leaf)]
    if len(plain) < len(quiet) or any(leaf.operator not in ("at_least", "more_than") for leaf in plain):
        return MIN_INSTANT  # what is open may have been since any time
    return now - max((leaf.lasting for leaf in plain), default=0)


def together(fleet: Fleet, jobs: dict[str, str | None]) -> Iterator[list[str]]:
    """All items, `jobs` (by name, with an aircraft of theirs) and the home, in groups that rest on the same entries."""
    left = dict.fromkeys([*fleet.ids(), *jobs, HOME])
    by_aircraft: dict[str | None, list[str]] = {}
    for job, craft in jobs.items():
        by_aircraft.setdefault(craft, []).append(job)
    for craft in fleet.ids("aircraft"):
        group = [craft, *fleet.fitting(craft), *fleet.papers_of(craft), *by_aircraft.get(craft, ())]
        found = [name for name in dict.fromkeys(group) if name in left]
        for name in found:
            del left[name]
        if found:
            yield found
    rest = list(left)
    for first in range(0, len(rest), _CHUNK):
        yield rest[first : first + _CHUNK]


_CHUNK = 200
"""How many of the items that belong to no aircraft are folded together: the pilots, chargers and papers among them look
at every job, and have few entries of their own."""
