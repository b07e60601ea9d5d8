"""Texts with names in braces: only names, and hostile ones are refused with what would be right."""

from string import ascii_lowercase

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.verdicts.templates import fault, fill, names

KNOWN = ("item", "items", "charge", "since")
HOSTILE = {
    "an attribute": "Drain {item.__class__}",
    "an attribute of a known name": "Drain {item.plate}",
    "an index": "Drain {items[0]}",
    "an index of no name": "Drain {[0]}",
    "a place instead of a name": "Drain {0}",
    "nothing between the braces": "Drain {}",
    "a conversion": "Drain {charge!r}",
    "a layout": "Drain {charge:.2f}",
    "a layout that would fill memory": "Drain {item:>9999999}",
    "a name within a layout": "Drain {charge:{since}}",
    "an expression": "Drain {1+1}",
    "a call": "Drain {item()}",
    "blanks in the braces": "Drain { item }",
    "a capital": "Drain {Item}",
    "a letter that only looks like one": "Drain {іtem}",
    "a line break": "Drain {item\n}",
}
BROKEN = {
    "an opening brace alone": "Drain {item",
    "a closing brace alone": "Drain item}",
    "a brace within braces": "Drain {item{charge}}",
    "a brace at the end": "Drain {",
}


@pytest.mark.parametrize("told", HOSTILE)
def test_a_hostile_text_is_refused_with_what_would_be_right(told: str) -> None:
    text = fault(HOSTILE[told], KNOWN)

    assert text is not None
    assert text.startswith("a text takes plain names in braces, such as {item}; ")
    with pytest.raises(ValueError, match="plain names"):
        fill(HOSTILE[told], lambda name: name)


@pytest.mark.parametrize("told", BROKEN)
def test_unbalanced_braces_are_refused(told: str) -> None:
    assert fault(BROKEN[told], KNOWN) is not None
    with pytest.raises(ValueError, match=r"[{}]"):
        fill(BROKEN[told], lambda name: name)


def test_an_unknown_name_is_told_with_the_nearest_known_one() -> None:
    assert fault("It is at {chrage}", KNOWN) == (
        "the text names {chrage}, which is no fact, limit or nameplate field here, did you mean 'charge'?"
    )


def test_a_good_text_has_no_fault() -> None:
    assert fault("Pack {item} is at {charge} since {since}: {{thus}}", KNOWN) is None


def test_braces_written_twice_are_braces() -> None:
    assert fill("{{item}} is {item}", {"item": "B"}.__getitem__) == "{item} is B"


names_of_texts = st.text(ascii_lowercase + "_", min_size=1, max_size=8)
values = st.text(max_size=12)


@settings(deadline=None)
@given(st.lists(st.tuples(st.text("abc {}%$\\\n", max_size=8), names_of_texts), max_size=5), st.data())
def test_each_name_is_replaced_by_its_value_taken_as_it_is(parts: list[tuple[str, str]], data: st.DataObject) -> None:
    """Braces, percent and dollar signs within a value mean nothing."""
    given_values = {name: data.draw(values) for _, name in parts}
    template = "".join(text.replace("{", "{{").replace("}", "}}") + f"{{{name}}}" for text, name in parts)

    assert names(template) == set(given_values)
    assert fill(template, given_values.__getitem__) == "".join(text + given_values[name] for text, name in parts)


@settings(deadline=None)
@given(st.text("ab{}.[]!:0_ "))
def test_whatever_the_text_it_is_filled_with_known_names_only_or_refused(template: str) -> None:
    asked: list[str] = []

    def value(name: str) -> str:
        asked.append(name)
        return "*"

    try:
        filled = fill(template, value)
    except ValueError:
        assert fault(template, ["a", "b", "ab"]) is not None
        return
    assert all(name.isidentifier() for name in asked)
    assert filled.count("*") == len(asked)
