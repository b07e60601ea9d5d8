"""Quantities as rules write them and as people read them (`scheduler/base/units.py`)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.base.instants import DAY, HOUR, MINUTE, SECOND, CalendarSpan
from scheduler.base.units import (
    CELSIUS,
    FLAG,
    MILLIAMP_HOURS,
    PERCENT,
    RATIO,
    SHARE,
    SPAN,
    VOLTS,
    Unit,
    count,
    parse,
    show,
    word,
)

CYCLES = count("cycle", digits=1)
SIDES = word("warm", "cold")


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("85 %", PERCENT, 85), ("85%", PERCENT, 85), ("62.5 %", PERCENT, 62.5), ("-5 %", PERCENT, -5),
        ("24 h", SPAN, DAY), ("24 calendar months", SPAN, CalendarSpan(24, to_month_end=True)),
        ("300 cycles", CYCLES, 300), ("1 cycle", CYCLES, 1), ("300", CYCLES, 300), (300, CYCLES, 300),
        (2.5, CYCLES, 2.5),
        ("3.5 V", VOLTS, 3.5), ("5200 mAh", MILLIAMP_HOURS, 5200), ("-10 C", CELSIUS, -10), ("40 °C", CELSIUS, 40),
        ("0.6", RATIO, 0.6), (0.6, RATIO, 0.6), ("75 %", SHARE, 0.75), ("200 %", SHARE, 2),
        (0.75, SHARE, 0.75), ("yes", FLAG, "yes"), (True, FLAG, "yes"), (False, FLAG, "no"),
        ("warm", SIDES, "warm"),
    ],
)  # fmt: skip
def test_a_value_is_read_in_its_unit(text: str | float | bool, unit: Unit, value: object) -> None:
    assert parse(text, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "told"),
    [
        ("85", PERCENT, "'85' is not a value such as '85 %'"),
        (85, PERCENT, "'85' is not a value such as '85 %'"),
        ("85 h", PERCENT, "'85 h' is not a value such as '85 %'"),
        ("3 flights", CYCLES, "'3 flights' is not a value such as '3 cycles'"),
        ("24", SPAN, "'24' is not a span such as 90 min"),
        ("85 %", SPAN, "'85 %' is not a span such as 90 min"),
        ("3.5", VOLTS, "'3.5' is not a value such as '3 V'"),
        ("maybe", FLAG, "'maybe' is not one of yes, no"),
        ("wram", SIDES, "'wram' is not one of warm, cold, did you mean 'warm'?"),
        ("٨٥ %", PERCENT, "is not a value such as '85 %'"),
        ("9" * 400 + " %", PERCENT, "is not a value such as '85 %'"),
        ("1e3 %", PERCENT, "is not a value such as '85 %'"),
        ("", PERCENT, "'' is not a value such as '85 %'"),
    ],
)
def test_what_is_no_value_is_refused_with_an_example(text: str | int, unit: Unit, told: str) -> None:
    with pytest.raises(ValueError) as refused:
        parse(text, unit)
    assert told in str(refused.value)


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (99.4, PERCENT, "99 %"), (0.0, PERCENT, "0 %"), (None, PERCENT, "not known"), (3, CYCLES, "3 cycles"),
        (1, CYCLES, "1 cycle"), (12.44, CYCLES, "12.4 cycles"), (3.456, VOLTS, "3.46 V"), ("yes", FLAG, "yes"),
        (45 * SECOND, SPAN, "45 s"), (90 * MINUTE, SPAN, "1 h 30 min"), (24 * HOUR, SPAN, "24 h"),
        (3 * DAY + 4 * HOUR, SPAN, "3 d 4 h"), (20 * DAY + 4 * HOUR, SPAN, "20 d"), (-90 * MINUTE, SPAN, "-1 h 30 min"),
        (0, SPAN, "0 s"), (float("inf"), SPAN, "never"), (CalendarSpan(24, True), SPAN, "24 calendar months"),
        (0.467, SHARE, "47 %"), (CalendarSpan(6), SPAN, "6 months"), (CalendarSpan(36), SPAN, "3 y"),
    ],
)  # fmt: skip
def test_a_value_is_shown_as_a_person_reads_it(value: object, unit: Unit, shown: str) -> None:
    assert show(value, unit) == shown


@pytest.mark.parametrize("unit", [PERCENT, SPAN, FLAG, VOLTS, MILLIAMP_HOURS, CELSIUS, CYCLES, SIDES, SHARE])
def test_the_example_of_a_unit_is_a_value_of_it(unit: Unit) -> None:
    parse(unit.example, unit)


@given(st.integers(0, 10_000))
def test_a_whole_percentage_reads_back_as_shown(value: int) -> None:
    assert parse(show(value, PERCENT), PERCENT) == value


@given(st.integers(0, 5000).map(lambda minutes: minutes * MINUTE))
def test_a_shown_duration_reads_back_to_within_its_last_figure(span: int) -> None:
    read = parse(show(span, SPAN), SPAN)
    assert isinstance(read, int)
    assert 0 <= span - read < (HOUR if span >= 10 * HOUR else MINUTE)
