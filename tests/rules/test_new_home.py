"""A home of which nothing is known yet is told which readings to take first, in one message, and is left in peace."""

from pathlib import Path

import pytest

from scheduler.answers.desk import Desk
from scheduler.base.instants import DAY
from scheduler.home.folder import Home
from scheduler.reminders.rehearse import rehearse
from tests.homes import Bench
from tests.rules.season_table import EXAMPLES
from tests.support import moment

NOW = "2026-11-02 12:00"


@pytest.fixture
def home(bench: Bench) -> Bench:
    """The demo operator's fleet, in use for years, every rule on, nothing logged."""
    on = "packs, propellers, aircraft, moving, place, jobs, log, papers-us"
    bench.write("shelfbell.yaml", f"zone: UTC\npractice: [{on}]\nchannels: {{}}\ndigest: '07:00'\n")
    bench.write("fleet.yaml", (EXAMPLES / "home" / "fleet.yaml").read_text(encoding="utf-8"))
    bench.write("rules/own.yaml", "rules: []\n")
    bench.set_clock(NOW)
    return bench


def rung(home: Bench, days: int) -> set[str]:
    """The rules that ring in the days after `NOW`."""
    opened = Home(Path(home.path))
    setup = opened.setup()
    desk = Desk(opened, setup, moment(NOW))
    result = rehearse(desk.board(as_recorded=False), setup.hours, moment(NOW) - DAY, moment(NOW) + days * DAY)
    opened.log.close()
    return {reminder.key.rule for reminder in result.reminders}


def test_only_one_rule_has_something_to_say(home: Bench) -> None:
    assert rung(home, 120) == {"new-home-first-readings"}


def test_it_names_the_readings_the_most_useful_first(home: Bench) -> None:
    said = home("due").out

    order = [
        said.index(part)
        for part in ("1. A, B, C, D, G, E, F: charge at rest", "2. certificate", "3. heron, wagtail", "4. heron-spare")
    ]
    assert order == sorted(order)


def test_what_was_told_is_no_longer_asked_for(home: Bench) -> None:
    home.log("measured", "A-G", "60")
    said = home("due").out
    assert "charge at rest" not in said
    assert "1. certificate" in said


def test_it_is_settled_once_all_is_told(home: Bench) -> None:
    home.log("measured", "A-G", "60")
    home.log("renewed", "certificate,heron-registration,wagtail-registration,insurance,harbour-waiver", "2027-06-30")
    home.log("inspected", "heron,wagtail,charging-corner", "pass")
    home.log("counted", "heron-spare-props,wagtail-spare-props", "4")
    home.log("charged", "controller")
    assert "First readings" not in home("due").out
    assert "new-home-first-readings" not in home("due").out
