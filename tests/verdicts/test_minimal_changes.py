"""What would make a condition turn: a law over all trees, and the words of one.

The law needs no source: a way named turns the condition when its comparisons turn, and none of its parts can be spared.
"""

from hypothesis import given
from hypothesis import strategies as st

from scheduler.facts.intervals import NO, WORDS, YES
from scheduler.verdicts.conditions import Leaf
from scheduler.verdicts.explain import Node
from scheduler.verdicts.minimal_changes import MOST, ChangeSet, minimal_changes

LEAVES = [Leaf(f"fact{number}", None, "is", "yes", None) for number in range(6)]
Truth = dict[Leaf, int]


def tree(shape: object, truth: Truth) -> Node:
    """The explained tree of a shape: a leaf's number, or (kind, parts)."""
    if isinstance(shape, int):
        return Node("leaf", WORDS[truth[LEAVES[shape]]], None, None, leaf=LEAVES[shape], value="?", limit="yes")
    kind, parts = shape  # type: ignore[misc]
    nodes = tuple(tree(part, truth) for part in parts)
    return Node(kind, WORDS[value(shape, truth)], None, None, parts=nodes)


def value(shape: object, truth: Truth) -> int:
    """Kleene's logic, written anew."""
    if isinstance(shape, int):
        return truth[LEAVES[shape]]
    kind, parts = shape  # type: ignore[misc]
    values = [value(part, truth) for part in parts]
    return YES - values[0] if kind == "not" else min(values) if kind == "all" else max(values)


shapes = st.recursive(
    st.integers(0, len(LEAVES) - 1),
    lambda inner: st.one_of(
        st.tuples(st.sampled_from(["all", "any"]), st.lists(inner, min_size=1, max_size=3)),
        st.tuples(st.just("not"), st.lists(inner, min_size=1, max_size=1)),
    ),
    max_leaves=7,
)
truths = st.fixed_dictionaries({leaf: st.sampled_from([0, 1, 2]) for leaf in LEAVES})


def turned(truth: Truth, way: ChangeSet) -> Truth:
    return truth | {change.leaf: YES if change.holds else NO for change in way}


def consistent(way: ChangeSet) -> bool:
    """False where a way asks of one comparison that it holds and that it does not: a tree may say both."""
    return len({change.leaf for change in way}) == len(way)


@given(shape=shapes, truth=truths, holds=st.booleans())
def test_each_way_turns_the_condition(shape: object, truth: Truth, holds: bool) -> None:
    found = minimal_changes(tree(shape, truth), holds)

    assert 1 <= len(found) <= MOST
    for way in filter(consistent, found):
        if len({leaf for leaf in _leaves(shape)}) == len(_leaves(shape)):
            assert value(shape, turned(truth, way)) == (YES if holds else NO)


@given(shape=shapes, truth=truths, holds=st.booleans())
def test_no_part_of_a_way_can_be_spared(shape: object, truth: Truth, holds: bool) -> None:
    if len({leaf for leaf in _leaves(shape)}) != len(_leaves(shape)):
        return
    for way in minimal_changes(tree(shape, truth), holds):
        for left_out in way:
            less = tuple(change for change in way if change != left_out)
            assert value(shape, turned(truth, less)) != (YES if holds else NO)


def test_what_holds_already_needs_nothing() -> None:
    assert minimal_changes(tree(0, dict.fromkeys(LEAVES, YES)), True) == [()]


def test_of_many_ways_the_shortest_come_first() -> None:
    shape = ("any", [("all", [0, 1]), 2])

    found = minimal_changes(tree(shape, dict.fromkeys(LEAVES, NO)), True)

    assert [[change.leaf.fact for change in way] for way in found] == [["fact2"], ["fact0", "fact1"]]


def _leaves(shape: object) -> list[int]:
    return [shape] if isinstance(shape, int) else [leaf for part in shape[1] for leaf in _leaves(part)]  # type: ignore[index]
