"""Write an audit's rule tables: basis, rings, response times, which never rang."""

from typing import Any

from scheduler.base.text import listed
from scheduler.base.units import show_span
from scheduler.reports.document import Bullets, Paragraph, Part, Section, Table
from scheduler.reports.season import Season, responses, some, typical


def rules(season: Season) -> list[Part]:
    """Return which rules rang, which did not, and the basis of each."""
    return [
        Section("Those that rang", _rang(season)),
        Section("The others", _silent(season)),
        Section("What each rests on", _bases(season)),
    ]


def _rang(season: Season) -> list[Part]:
    rows = []
    for rule in season.at.setup.rules:
        opened = season.opened(rule)
        if opened:
            times = responses(opened, season.judged_at)
            still = sum(r.episode.holds(season.judged_at) for r in opened)
            items = listed(list(dict.fromkeys(r.key.item for r in opened)))
            rows.append([opened[0].title, str(len(opened)), items, typical(times),
                         show_span(times[-1]) if times else "-", str(still or "")])  # fmt: skip
    if not rows:
        return [Paragraph("None.")]
    rows.sort(key=lambda row: -int(row[1]))
    head = ["Rule", "Reminders", "On", "Usual time to settle (median)", "Longest", "Still open"]
    return [Table.of("", head, rows)]


def _silent(season: Season) -> list[Part]:
    dark = never_decided(season)
    watched = {each.key.rule for each in season.watched}
    off = [rule for rule in season.at.setup.rules if rule not in watched]
    rest = [rule for rule in season.at.setup.rules if rule not in (*dark, *off) and not season.opened(rule)]
    before = [rule for rule in rest if any(r.key.rule == rule for r in season.reminders)]
    gone = [rule for rule in rest if rule in season.rang and rule not in before]
    quiet = [rule for rule in rest if rule not in (*before, *gone)]
    rows = [
        ("was open already and opened nothing new", "were open already and opened nothing new", before),
        ("rang, but later entries took the cause back", "rang, but later entries took the cause back", gone),
        ("did not apply at any time it could be judged", "did not apply at any time they could be judged", quiet),
        (
            "could never be judged: what it asks was not logged",
            "could never be judged: what they ask was not logged",
            dark,
        ),
        ("is about no item of the fleet, or off for all", "are about no item of the fleet, or off for all", off),
    ]
    kept = [
        f"{some(len(names), 'rule').capitalize()} {one if len(names) == 1 else many}: {_titles(season, names)}."
        for one, many, names in rows
        if names
    ]
    return [Bullets(kept)] if kept else [Paragraph("None: every rule rang.")]


def _titles(season: Season, rules: list[str]) -> str:
    return "; ".join(str(season.at.setup.rules.raw(rule)["title"]) for rule in rules)


def never_decided(season: Season) -> list[str]:
    """Return the rules that could not be judged for any item all season."""
    decided = {each.key.rule for each in season.watched if not each.undecided}
    return [rule for rule in dict.fromkeys(each.key.rule for each in season.watched) if rule not in decided]


def _bases(season: Season) -> list[Part]:
    rows = []
    for rule in season.at.setup.rules:
        raw = season.at.setup.rules.raw(rule)
        basis = raw["basis"]
        limits = ", ".join(f"{name} {value}" for name, value in raw.get("limits", {}).items())
        rows.append([str(raw["title"]), limits, _cited(basis), _adjusted(season, rule)])
    return [Table.of("", ["Rule", "Limits", "Basis", "Adjusted by the operator"], rows)]


def _cited(basis: dict[str, str]) -> str:
    return f"{basis['kind']}: {basis['cite']}" if "cite" in basis else str(basis["kind"])


def _adjusted(season: Season, rule: str) -> str:
    return "; ".join(map(adjustment_text, season.at.setup.rules.adjustments(rule)))


def adjustment_text(change: dict[str, Any]) -> str:
    """Write one adjustment with its reason, or that no reason was given."""
    what = [f"{name} {value}" for name, value in change.get("limits", {}).items()]
    what += ["off"] if change.get("off") else []
    what += [f"{key} {change[key]}" for key in ("urgency", "remind") if key in change]
    only = f" for {listed(change['only'])}" if "only" in change else ""
    return f"{', '.join(what)}{only}, {'because ' + change['because'] if 'because' in change else 'no reason given'}"
