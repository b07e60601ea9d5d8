"""What each shipped rule said over the demo operator's season: `python -m tests.rules.season_table`."""

import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import NamedTuple

from scheduler.answers.desk import Desk
from scheduler.base.instants import HOUR, WEEK, moment, parse_rfc3339, to_datetime
from scheduler.base.shipped import folder
from scheduler.cli.main import main
from scheduler.home.folder import Home
from scheduler.reminders.decide import Decision
from scheduler.reminders.rehearse import Rehearsal, rehearse

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
START, END = parse_rfc3339("2026-03-02T00:00:00Z"), parse_rfc3339("2026-11-02T00:00:00Z")
"""Monday to Monday; the log begins the day before."""
OF_A_JOB = ("eve-of-job", "job-morning")
TOGETHER = 2 * HOUR
"""Messages so close are one occasion: packs that were charged in turn fall due in turn."""


class Season(NamedTuple):
    """The season lived through with every shipped rule but the papers of other countries."""

    desk: Desk
    rehearsal: Rehearsal


class Week(NamedTuple):
    """What came in one week. `jobs`: held or called off. `occasions`: unasked, the messages of jobs apart."""

    begins: int
    jobs: int
    of_jobs: int
    messages: int
    occasions: list[list[str]]


def live_through(home: Path) -> Season:
    """A copy of the demo home at `home`, with the season taken in."""
    shutil.copytree(EXAMPLES / "home", home)
    on = [path.stem for path in sorted(folder("rules").glob("*.yaml")) if path.stem[:6] != "papers"] + ["papers-us"]
    settings = home / "shelfbell.yaml"
    lines = settings.read_text(encoding="utf-8").splitlines()
    changed = [f"practice: [{', '.join(on)}]" if line.startswith("practice:") else line for line in lines]
    settings.write_text("\n".join(changed) + "\n", encoding="utf-8")
    if main(["--home", str(home), "intake", str(EXAMPLES / "season.jsonl")]) != 0:
        raise SystemExit("the season was not taken in")
    opened = Home(home)
    setup = opened.setup()
    desk = Desk(opened, setup, START)
    return Season(desk, rehearse(desk.board(as_recorded=False), setup.hours, START, END))


def rules_of(decision: Decision) -> list[str]:
    """The rules that a message speaks for, each with its item."""
    return [f"{word.reminder.key.rule} {word.reminder.key.item} ({word.kind})" for word in decision.announcements]


def of_a_job(decision: Decision) -> bool:
    """True for the gathered message of an eve or a morning."""
    return any(word.reminder.key.rule in OF_A_JOB for word in decision.announcements)


def weeks(season: Season) -> list[Week]:
    """The season week by week."""
    decisions = season.rehearsal.decisions
    found = []
    for begins in range(START, END, WEEK):
        within = [d for d in decisions if begins <= d.at < begins + WEEK]
        eves = {w.reminder.key.item for d in within for w in d.announcements if w.reminder.key.rule in OF_A_JOB}
        rest = [d for d in within if d.announcements and not of_a_job(d)]
        found.append(Week(begins, len(eves), sum(map(of_a_job, within)), len(within), _occasions(rest)))
    return found


def _occasions(decisions: list[Decision]) -> list[list[str]]:
    found: list[list[str]] = []
    last = -WEEK
    for decision in decisions:
        if decision.at - last > TOGETHER:
            found.append([])
        found[-1] += rules_of(decision)
        last = decision.at
    return found


def table(season: Season) -> str:
    """A line a rule: how many reminders, how many tellings, the most for one stretch, the items."""
    result = season.rehearsal
    lines = [f"{'rule':<30} {'reminders':>9} {'told':>5} {'most':>5}  items"]
    for rule in season.desk.setup.rules:
        mine = [reminder for reminder in result.reminders if reminder.key.rule == rule]
        told = [len(result.messages(reminder)) for reminder in mine]
        items = Counter(reminder.key.item for reminder in mine)
        shown = ", ".join(f"{item} {count}x" if count > 1 else item for item, count in items.items())
        about_jobs = season.desk.setup.rules.raw(rule)["about"] == "job" and len(items) > 3
        lines.append(f"{rule:<30} {len(mine):>9} {sum(told):>5} {max(told, default=0):>5}  "
                     f"{f'{len(items)} jobs' if about_jobs else shown}")  # fmt: skip
    return "\n".join(lines)


def calendar(season: Season) -> str:
    """A line a week, with what was said beside the messages of jobs."""
    zone = season.desk.setup.hours.zone
    lines = []
    for week in weeks(season):
        head = f"{to_datetime(week.begins, zone):%d %b}: {week.jobs} jobs, {week.messages} messages"
        lines.append(f"{head}, {week.of_jobs} of them of jobs; {len(week.occasions)} other occasions")
        lines += [f"    {'; '.join(said)}" for said in week.occasions]
    return "\n".join(lines)


def episodes(season: Season) -> str:
    """A line a reminder, the messages of jobs apart."""
    zone = season.desk.setup.hours.zone
    lines = []
    for reminder in season.rehearsal.reminders:
        if reminder.key.rule not in OF_A_JOB:
            episode = reminder.episode
            ended = f"{episode.ending} {moment(episode.ended, zone)}" if episode.ended < END else "open"
            lines.append(f"{moment(episode.opened, zone):<17} {reminder.key.rule} {reminder.key.item}: {ended}")
    return "\n".join(lines)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        lived = live_through(Path(scratch) / "home")
        print("\n\n".join([table(lived), calendar(lived), episodes(lived)]), file=sys.stdout)
