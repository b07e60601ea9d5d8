"""The state of an item after a wake: its next change, and its dependencies.

A wake looks at an item again only when the clock reaches that change or when an entry came on which it depends.
"""

from collections import Counter
from collections.abc import Container, Iterable, Iterator
from functools import partial
from typing import NamedTuple

from scheduler.base.instants import MAX_INSTANT, MIN_INSTANT
from scheduler.events.event import HOME, JOB
from scheduler.events.source import latest_and_after
from scheduler.facts.event_cache import Dependency
from scheduler.facts.fact_store import FactStore, ItemSummary
from scheduler.facts.home_facts import SUMMARISED, summarise
from scheduler.facts.intervals import NO, UNKNOWN, YES
from scheduler.facts.job_requirements import unlogged_intervals
from scheduler.facts.jobs import GRACE, VALUES_ONCE_OVER, Job, find_job
from scheduler.facts.timeline import NEVER, Segment, Timeline
from scheduler.fleet.fleet import Fleet
from scheduler.reminders.announcements import DISTURBING
from scheduler.reminders.board import Board
from scheduler.reminders.decide import Decision, Ledger, coming_announcements, find_ended
from scheduler.reminders.hours import Hours
from scheduler.reminders.unjudged import missing_facts, unknown_at
from scheduler.verdicts.conditions import Leaf, intervals, leaves
from scheduler.verdicts.episodes import NOT_JUDGED_AFTER
from scheduler.verdicts.rule import Rule, Ruleset
from scheduler.verdicts.verdict import Key, Verdict


class ItemState(NamedTuple):
    """What a wake keeps of an item.

    `next_at`: when a verdict on it next changes, or an announcement is due, if nothing is logged before. `open`: how
    many of its reminders are open. `news`: a digest, or the board, would name it. `over_at`: entries about what
    happened to others after it change nothing (MAX_INSTANT except for finished jobs). `dependencies`: the names and
    kinds of entries that its verdicts looked for. `summary`: for the kinds that the home asks about.
    """

    item: str
    next_at: int
    open: int
    news: bool
    over_at: int
    dependencies: frozenset[Dependency]
    summary: ItemSummary | None = None


class SolvedBoard(NamedTuple):
    """The result of solving a board.

    Errors by verdict, and by item the entries that its verdicts depend on.
    """

    sick: dict[Key, str]
    dependencies: dict[str, set[Dependency]]


def solve(board: Board, now: int) -> SolvedBoard:
    """Solve every verdict of a board; take off those that raise.

    The board's fact store must track dependencies.
    """
    by_item: dict[str, list[Verdict]] = {}
    for verdict in board.verdicts:
        by_item.setdefault(verdict.key.item, []).append(verdict)
    sick: dict[Key, str] = {}

    def solve_all(verdicts: list[Verdict]) -> None:
        sick.update({verdict.key: error for verdict in verdicts if (error := _solve(verdict, now))})

    dependencies = {item: board.store.track(partial(solve_all, verdicts)) for item, verdicts in by_item.items()}
    board.verdicts = [verdict for verdict in board.verdicts if verdict.key not in sick]
    return SolvedBoard(sick, dependencies)


def _solve(verdict: Verdict, now: int) -> str:
    """Solve a verdict. Return the error that it raised, or ""."""
    try:
        for episode in verdict.episodes:
            verdict.rises(episode)
            verdict.opened_by_event(episode.opened)
        if verdict.when.at(now) == UNKNOWN:
            missing_facts(verdict, now)
    except Exception as error:  # one broken rule must not stop the others; the error is reported
        import traceback

        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {error} ({where.name})"
    return ""


def item_states(
    board: Board, solved: SolvedBoard, ledger: Ledger, hours: Hours, decision: Decision, items: Iterable[str]
) -> Iterator[ItemState]:
    """Return the states of some items after a decision.

    The board must hold all of their verdicts, and the ledger the decision.
    """
    now, store = decision.at, board.store
    next_changes = _next_changes(board, ledger, hours, decision)
    opened = Counter(reminder.key.item for reminder in board.open_at(now))
    news = opened.keys() | {unknown.key.item for unknown in unknown_at(board, now)}
    news |= {ended.key.item for ended in find_ended(board, ledger, now)}
    sick = {key.item for key in solved.sick}
    for item in items:
        next_at = now if item in sick else next_changes.get(item, MAX_INSTANT)
        job = find_job(store, item)
        # The home depends on everything, which is not kept; but a job may have its name.
        dependencies = {(item, None), *solved.dependencies.get(item, ())} if item != HOME or job else set()
        only_job = job if item != HOME and item not in store.fleet else None
        over_at = _over_at(only_job) if only_job and next_at == MAX_INSTANT and item not in news else MAX_INSTANT
        summary = summarise(store, store.fleet[item]) if store.fleet.kind(item) in SUMMARISED else None
        kept = frozenset(_kept_dependencies(dependencies, item))
        yield ItemState(item, next_at, opened[item], item in news, over_at, kept, summary)


def _next_changes(board: Board, ledger: Ledger, hours: Hours, decision: Decision) -> dict[str, int]:
    """Return by item when a verdict next changes or an announcement is due."""
    now = decision.at
    changes: dict[str, int] = {}

    def note(item: str, instant: int | None) -> None:
        if instant is not None and instant < changes.get(item, MAX_INSTANT):
            changes[item] = instant

    for verdict in board.verdicts:
        note(verdict.key.item, verdict.next_turn(now))
    for item in {verdict.key.item: verdict.item for verdict in board.verdicts}.values():
        # An entry may lie some minutes ahead of the clock and counts from then on.
        entries = [*latest_and_after(board.store.own(item), now), *board.store.mentions(item, now)]
        note(item.id, min((event.at for event in entries if event.at > now), default=None))
    for announcement in coming_announcements(board, ledger, hours, decision):
        note(announcement.reminder.key.item, max(announcement.due, now))
    return changes


def _over_at(job: Job) -> int:
    return max(plan.ends for plan in job.plans) + GRACE


def finished_job(store: FactStore, rules: Ruleset, unsettled: Container[str], name: str, now: int) -> ItemState | None:
    """Return the state of a job long over, without solving it, or None.

    None: it must be solved; else no rule has anything to say of it from `now` on. `unsettled`: items with a reminder
    that was sent and not yet reported as settled.
    """
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
    """Return how long a job, over and logged, may have reminders; NEVER: no limit."""

    def longest() -> float:
        lasting = max(leaf.lasting for part in rule.conditions for leaf in leaves(part))
        return lasting + NOT_JUDGED_AFTER if _at_rest(rule) else NEVER

    return store.compute_once(("rests after", id(rule)), longest)  # the same for every job


def _at_rest(rule: Rule) -> bool:
    """Return whether a job rule surely has nothing open once a job is long over."""

    def ask(fact: str, _of: str | None, _since: int) -> Timeline:
        return Timeline([Segment(MIN_INSTANT, VALUES_ONCE_OVER[fact])])

    def reach(origin: int, _span: object) -> int:
        return origin

    when = intervals(rule.when, ask, reach).at(MAX_INSTANT)
    until = YES - when if rule.until is None else intervals(rule.until, ask, reach).at(MAX_INSTANT)
    # If `until` is unknown too, a reminder still open is closed as not judged.
    return when != YES and until != NO


def _kept_dependencies(dependencies: set[Dependency], item: str) -> Iterator[Dependency]:
    """Leave out entries of other jobs: their aircraft is a dependency too."""
    return ((name, what) for name, what in dependencies if not name.startswith(JOB) or name in (JOB, f"{JOB}{item}"))


def home_can_wait(rules: Ruleset) -> bool:
    """Return whether the home's rules can leave item entries to the next digest.

    They can if no rule that asks about more than absences rings by itself.
    """
    for rule in rules.applying(HOME, HOME):
        elsewhere = any(leaf.fact != "away_eve" for part in rule.conditions for leaf in leaves(part))
        if elsewhere and any(urgency in DISTURBING for urgency, _ in rule.urgency):
            return False
    return True


def home_asked_since(rules: Ruleset, ledger: Ledger, now: int) -> int:
    """Return the earliest event time the home's rules need, given what was sent."""
    return home_since(
        rules, min((ledger.relevant_since(Key(name, HOME), now) for name in rules.about(HOME)), default=now)
    )


def home_since(rules: Ruleset, now: int) -> int:
    """Return the earliest event time needed to evaluate the home's own rules at `now`.

    Only `log_quiet` asks for event times. A rule that asks just for a quiet log applies since the last entry, which is
    always known; any other may depend on every entry there is.
    """
    made = rules.applying(HOME, HOME)
    asked = [part for rule in made for part in rule.conditions]
    quiet = [part for part in asked if any(leaf.fact == "log_quiet" for leaf in leaves(part))]
    plain = [rule.when for rule in made if rule.when in quiet and rule.until is None and isinstance(rule.when, Leaf)]
    if len(plain) < len(quiet) or any(leaf.operator not in ("at_least", "more_than") for leaf in plain):
        return MIN_INSTANT  # what is open now may have opened at any time before
    return now - max((leaf.lasting for leaf in plain), default=0)


def group_items(fleet: Fleet, jobs: dict[str, str | None]) -> Iterator[list[str]]:
    """Return all items, jobs and the home in groups that depend on the same entries.

    `jobs`: by name, with an aircraft of theirs, if any.
    """
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
"""How many items that belong to no aircraft form a group: pilots, chargers and papers ask about every job and have few
entries of their own."""
