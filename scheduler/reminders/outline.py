"""The outline of an item: what stands open on it and what cannot be judged, in a form that can be kept.

It says what solving the item again would say, from the fold in which it was made to the first instant at which anything
about it can change.
"""

import json
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.base.instants import MAX_INSTANT
from scheduler.reminders.board import Board, Reminder
from scheduler.reminders.ground import Ground, KeptRule, KeptVerdict, Mute, as_kept
from scheduler.reminders.message_text import fleeting, keep
from scheduler.reminders.unjudged import Lack, Unknown
from scheduler.reminders.why_silent import mute_of
from scheduler.verdicts.episodes import Episode
from scheduler.verdicts.rule import Ruleset
from scheduler.verdicts.verdict import Key


class Outline(NamedTuple):
    """What stands open on an item, and what cannot be judged of it. `place`: of the item in the fleet."""

    place: int
    open: list[Reminder]
    unknown: list[Unknown]


def outline_of(
    board: Board, item: str, opened: list[Reminder], unknown: list[Unknown], now: int, until: int
) -> tuple[int, str] | None:
    """Until when what stands on an item at `now` stays so, `until` at most, and it as text; None where it changes at
    once."""
    if any(map(fleeting, opened)):
        return None
    open_parts, ends = [], [until]
    for reminder in opened:
        mute = mute_of(board, reminder, now)
        kept = as_kept(keep(reminder, now, mute).verdict)
        assert kept is not None
        grounds = kept.grounds()
        if grounds is None:
            return None
        ends += [ground.until for ground in grounds.values()]
        ends += [mute.until] if mute is not None and mute.until > now else []
        episode, key = reminder.episode, reminder.key
        open_parts.append([key.rule, episode.opened, episode.unknown_at(now), kept.urgency(now), mute, _short(grounds)])
    unknown_parts = []
    for each in unknown:
        verdict = board.by_key[each.key]
        ends += [verdict.ask(leaf.fact, leaf.of).next_segment(now) for leaf in verdict.asked]
        unknown_parts.append([each.key.rule, each.lacks, each.since])
    if min(ends) <= now:
        return None
    place = board.store.fleet.place(item)
    return min(ends), json.dumps([place, open_parts, unknown_parts], ensure_ascii=False)


def _short(grounds: dict[str, Ground]) -> dict[str, list[object]]:
    """Grounds without the defaults at their ends."""
    shortened = {}
    for name, ground in grounds.items():
        parts: list[object] = list(ground)
        while parts and parts[-1] == _DEFAULTS[len(parts) - 1]:
            parts.pop()
        shortened[name] = parts
    return shortened


_DEFAULTS = Ground()


def _lack(parts: list[str]) -> Lack:
    return Lack(*parts)


class Shelf:
    """Reads outlines, for one set of rules."""

    def __init__(self, rules: Ruleset, zone: ZoneInfo) -> None:
        self._rules = rules
        self._zone = zone
        self._ready: dict[str, KeptRule] = {}

    def read(self, outlines: dict[str, str]) -> list[Outline]:
        """What outlines tell, by item."""
        decoded = json.loads(f"[{','.join(outlines.values())}]")  # one call is quicker than thousands
        return [
            Outline(
                place,
                [self._reminder(item, *part) for part in opened],
                [Unknown(Key(rule, item), tuple(map(_lack, lacks)), since) for rule, lacks, since in unknown],
            )
            for item, (place, opened, unknown) in zip(outlines, decoded, strict=True)
        ]

    def _reminder(
        self, item: str, rule: str, opened: int, dark: bool, urgency: str, mute: list | None, grounds: dict
    ) -> Reminder:
        verdict = KeptVerdict(
            Key(rule, item), self._rule(rule), self._zone, urgency, grounds, Mute(*mute) if mute else None
        )
        episode = Episode(opened, MAX_INSTANT, "", ((opened, MAX_INSTANT),) if dark else ())
        return Reminder(verdict, episode)  # type: ignore[arg-type]

    def _rule(self, name: str) -> KeptRule:
        if name not in self._ready:
            self._ready[name] = KeptRule.read(self._rules.raw(name))
        return self._ready[name]
