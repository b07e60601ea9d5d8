"""The charge of a pack as a function of time, and what was taken out of it."""

from bisect import bisect_right, insort
from itertools import chain, repeat
from operator import itemgetter
from typing import NamedTuple

from scheduler.base.instants import DAY, MAX_INSTANT, MIN_INSTANT, MINUTE
from scheduler.cells.estimate import median
from scheduler.events.event import Event
from scheduler.events.source import latest_and_after
from scheduler.facts.event_times import begins_at
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.timeline import Evidence, Segment, Slope


class Discharge(NamedTuple):
    """What one event took out, percent of the capacity.

    `estimate`: calculated from other flights, not read.
    """

    at: int
    percent: float
    event: Event
    estimate: bool = False


class Rest(NamedTuple):
    """A pack at rest from `start` on, holding `percent`.

    `clock`: when its wait for self-draining began, and the event that began it.
    """

    start: int
    percent: float
    evidence: Evidence
    clock: tuple[int, Event | None]


Phase = Segment | Rest
"""From one instant on: at rest; or one segment, which is a flight or a charge that is unknown."""


class Losses:
    """What a pack at rest loses.

    `falls`: self-discharge. `drains`: self-draining (after, to percent, over).
    """

    def __init__(self, falls: Slope, drains: tuple[int, float, int] | None) -> None:
        self._falls = falls
        self._drains = drains

    def segments(self, phase: Phase, until: int) -> list[Segment]:
        """Return the segments of charge that begin from a phase's start up to `until`."""
        if isinstance(phase, Segment):
            return [phase]
        if self._drains is None:
            return self._falling(phase.start, phase.percent, until, phase.evidence)
        return self._draining(phase, self._drains, until)

    def _draining(self, rest: Rest, drains: tuple[int, float, int], until: int) -> list[Segment]:
        after, target, over = drains
        (waits_from, event), evidence = rest.clock, rest.evidence
        begins = max(rest.start, waits_from + after)
        segments = self._falling(rest.start, rest.percent, min(begins, until), evidence)
        if begins >= until:
            return segments
        left = float(segments[-1].at(begins)) if segments else rest.percent  # type: ignore[arg-type]
        ends = max(begins, waits_from + after + over)
        if left > target and begins < ends:
            evidence = evidence if evidence and evidence[0] == event else (event, evidence)  # it started the clock
            fall, under = (target - left).as_integer_ratio()
            segments.append(Segment(begins, left, (fall, under * (ends - begins)), evidence))
            begins, left = ends, float(target)
        return segments + self._falling(begins, left, until, evidence)

    def _falling(self, start: int, percent: float, end: int, evidence: Evidence) -> list[Segment]:
        """Self-discharge from `start` to `end`, never below 0."""
        if start >= end:
            return []
        segment = Segment(start, percent, self._falls, evidence)
        if self._falls is None:
            return [segment]
        rise, per = self._falls
        over, under = percent.as_integer_ratio()
        empty = start + -(-over * per // (under * -rise))
        return [segment, Segment(empty, 0.0, None, evidence)] if empty < end else [segment]


class ChargeCurve(NamedTuple):
    """The charge of one lifetime of a pack, and what was taken out.

    It also has when, and by which event, the charge was set.
    """

    phases: list[Phase]
    losses: Losses
    discharges: list[Discharge]
    readings: list[tuple[int, Event]]

    def segments(self, starting_at: int = MIN_INSTANT) -> list[Segment]:
        """Return the charge from the phase at `starting_at` on."""
        phases = latest_and_after(self.phases, starting_at)
        ends = chain((phase.start for phase in phases[1:]), repeat(MAX_INSTANT))
        return [
            segment for phase, end in zip(phases, ends, strict=False) for segment in self.losses.segments(phase, end)
        ]

    @property
    def known_from(self) -> int:
        """The first instant at which the charge is known; MAX_INSTANT where it never is."""
        known = (phase.start for phase in self.phases if isinstance(phase, Rest) or phase.value is not None)
        return next(known, MAX_INSTANT)


def charge_curve(lifetime: Lifetime) -> ChargeCurve:
    """Compute the charge of a pack: its events set it, and it falls between them."""
    return lifetime.compute_once("charge curve", lambda: _ChargeBuilder(lifetime).run())


class _ChargeBuilder:
    """Takes the events of one lifetime in order and appends to the curve.

    `rates`: percent per minute of the flights in `rated`, sorted. `active`: the last use, which restarts the wait for
    self-draining. `landed`: the last landing.
    """

    def __init__(self, lifetime: Lifetime) -> None:
        self.lifetime = lifetime
        plate = lifetime.item.plate
        self.capacity = float(plate["capacity"])
        self.losses = Losses(self_discharge(float(plate["self_discharge"])), plate["self_drain"])
        self.phases: list[Phase] = []
        self.discharges: list[Discharge] = []
        self.readings: list[tuple[int, Event]] = []
        self.rates: list[float] = []
        self.rated: list[Event] = []
        self.active: tuple[int, Event | None] = 0, None
        self.landed = 0

    def run(self) -> ChargeCurve:
        for instant, event in _in_effect(self.lifetime.events):
            if event.what == "flown":
                self._fly(event)
            elif event.what in ("charged", "drained", "measured") and event.get("item") == self.lifetime.item.id:
                self._set(instant, event)
        return ChargeCurve(self.phases, self.losses, self.discharges, self.readings)

    def _value(self, instant: int) -> tuple[float | None, Evidence]:
        for phase in reversed(self.phases):
            if phase.start <= instant:
                segment = self.losses.segments(phase, instant + 1)[-1]
                return segment.at(instant), segment.evidence  # type: ignore[return-value]
        return None, None

    def _begin(self, phase: Phase) -> None:
        while self.phases and self.phases[-1].start >= phase.start:
            self.phases.pop()
        self.phases.append(phase)

    def _rest(self, instant: int, percent: float | None, evidence: Evidence) -> None:
        """Let the pack rest at `percent` from an instant on."""
        self._begin(
            Segment(instant, None, None, evidence)
            if percent is None
            else Rest(instant, float(percent), evidence, self.active)
        )

    def _set(self, instant: int, event: Event) -> None:
        percent = reading_of(event, self.lifetime.item.plate)
        if percent is None:
            return
        if event.what == "drained":
            before, _ = self._value(instant)
            if before is not None and before > percent:
                self.discharges.append(Discharge(instant, before - percent, event))
        if event.what != "measured" or not self.readings:
            self.active = instant, event
        self.readings.append((instant, event))
        self._rest(instant, percent, (event, None))

    def _fly(self, event: Event) -> None:
        if "flights" in event.fields:
            self.discharges.append(_summary(event, self.capacity))
            return
        landing = event.at
        take_off = max(landing - round(float(event.fields["minutes"]) * MINUTE), self.landed)
        before, earlier = self._value(take_off)
        start = event.get("percent_from", before)
        end, estimate = self._end(event, start)
        known = "percent_to" in event.fields
        evidence: Evidence = (event, None if known and "percent_from" in event.fields else earlier)
        self._begin(_ramp(take_off, landing, start, end, evidence))
        self._taken_out(event, start, end, estimate)
        self.landed = landing
        self.active = landing, event
        self.readings.append((landing, event))
        for flight in self.rated if estimate else ():
            evidence = (flight, evidence)
        self._rest(landing, end, (event, None) if known else evidence)

    def _end(self, event: Event, start: float | None) -> tuple[float | None, bool]:
        """Return the percent that a flight left, and whether that is an estimate."""
        if "percent_to" in event.fields:
            return float(event.fields["percent_to"]), False
        if start is None:
            return None, False
        if "used_mah" in event.fields:
            return max(0.0, start - _share(event, self.capacity)), False
        if self.rates:
            return max(0.0, start - median(self.rates) * float(event.fields["minutes"])), True
        return None, False

    def _taken_out(self, event: Event, start: float | None, end: float | None, estimate: bool) -> None:
        if start is not None and end is not None:
            self.discharges.append(Discharge(event.at, max(0.0, start - end), event, estimate))
            if not estimate and start > end:
                insort(self.rates, (start - end) / float(event.fields["minutes"]))
                self.rated.append(event)
        elif "used_mah" in event.fields:
            self.discharges.append(Discharge(event.at, _share(event, self.capacity), event))
        else:
            # No flight has told its use yet: assume a whole charge, the most it can have been.
            self.discharges.append(Discharge(event.at, 100.0, event, estimate=True))


def _ramp(take_off: int, landing: int, start: float | None, end: float | None, evidence: Evidence) -> Segment:
    if start is None or end is None or take_off >= landing:
        return Segment(take_off, None, None, evidence)
    drop_over, drop_under = (float(end) - float(start)).as_integer_ratio()
    return Segment(take_off, float(start), (drop_over, drop_under * (landing - take_off)), evidence)


def is_calculated(segment: Segment, instant: int, plate: dict[str, object]) -> bool:
    """Return whether no event of its own gives a charge to within half a percent."""
    if segment.evidence is None or segment.value is None:
        return False
    event, earlier = segment.evidence
    read = event.get("percent_to") if event.what == "flown" else reading_of(event, plate)
    return earlier is not None or read is None or abs(segment.at(instant) - read) >= 0.5  # type: ignore[operator]


def self_discharge(percent_in_30_days: float) -> Slope:
    """Return the slope of the charge of a pack at rest; None for 0 %."""
    if not percent_in_30_days:
        return None
    over, under = percent_in_30_days.as_integer_ratio()
    return -over, under * 30 * DAY


def _summary(event: Event, capacity: float) -> Discharge:
    """Return what a summary of flights took out: its mAh, else percents times flights."""
    flights = int(event.fields["flights"])
    if "used_mah" in event.fields:
        return Discharge(event.at, _share(event, capacity), event)
    start, end = event.get("percent_from", 100), event.get("percent_to")
    if end is None:
        return Discharge(event.at, 100.0 * flights, event, estimate=True)
    return Discharge(event.at, float(start - end) * flights, event)


def _share(event: Event, capacity: float) -> float:
    """Return what a flight took out of each of its packs, percent of the capacity.

    Packs that flew together share equally.
    """
    return 100 * float(event.fields["used_mah"]) / len(event.fields["packs"]) / capacity


def _in_effect(events: list[Event]) -> list[tuple[int, Event]]:
    """Return (instant, event) by when each takes effect: during a flight, at landing."""
    flights = [event for event in events if event.what == "flown" and "flights" not in event.fields]
    landings = [flight.at for flight in flights]
    placed = []
    for event in events:
        nearest = bisect_right(landings, event.at)
        inside = event.what != "flown" and nearest < len(flights) and begins_at(flights[nearest]) < event.at
        placed.append((landings[nearest] if inside else event.at, inside, event))
    placed.sort(key=itemgetter(0, 1))  # a stable sort: otherwise in the order of the events
    return [(instant, event) for instant, _, event in placed]


LEAST_REST = 30
"""Minutes at rest before a voltage tells the charge; see LEAST_REST_MINUTES in `scheduler.cells.voltage`."""


def reading_of(event: Event, plate: dict[str, object]) -> float | None:
    """Return the charge that an event sets, percent; None if it sets none."""
    if event.what == "charged":
        return float(event.get("percent", 100))
    if "percent" in event.fields:
        return float(event.fields["percent"])
    if "lights" in event.fields:
        lit, of = str(event.fields["lights"]).split(" of ")
        return max(0.0, min(100.0, 100 * (int(lit) - 0.5) / int(of)))
    return _from_volts(event, plate)


def _from_volts(event: Event, plate: dict[str, object]) -> float | None:
    each = cell_volts(event, plate)
    if each is None:
        return None
    from scheduler.cells.voltage import charge_at

    try:
        return charge_at(sum(each) / len(each), str(plate["chemistry"])).value
    except ValueError:  # the nameplate's chemistry was changed after the reading, which is worthless now
        return None


def cell_volts(event: Event, plate: dict[str, object]) -> list[float] | None:
    """Return the resting volts of each cell, or the pack's divided evenly.

    None if the pack had not rested. A reading without rested_minutes counts as one at rest, as the names of the fields
    say.
    """
    if float(event.get("rested_minutes", LEAST_REST)) < LEAST_REST:
        return None
    if "cell_volts" in event.fields:
        return [float(volts) for volts in event.fields["cell_volts"]]
    if "rest_volts" in event.fields:
        cells = int(plate["cells"])  # type: ignore[call-overload]
        return [float(event.fields["rest_volts"]) / cells] * cells
    return None
