"""The estimators against invented packs whose truth is known. Every function takes its random numbers."""

from collections.abc import Callable
from math import exp
from random import Random
from statistics import mean, median
from typing import NamedTuple

from scheduler.cells.estimate import Estimate
from scheduler.cells.health import health, reaches
from scheduler.cells.storage import Reading, fitted_rate
from scheduler.cells.sudden import LOOK, chance_below, last_ratio
from scheduler.cells.trend import Interval, theil_sen

FLIGHTS = range(0, 120, 3)
"""Cycles at which the invented packs' capacity is read: 40 readings."""


class Score(NamedTuple):
    """Median error, bound of 90 % of errors, share of truths inside the range, share of trials answered."""

    bias: float
    within: float
    covered: float
    answered: float


Errors = tuple[float, float, float]
"""Of the value, of the low end, of the high end."""


def errors(fit: Estimate | Interval, truth: float, unit: float = 1.0) -> Errors:
    return unit * (fit[0] - truth), unit * (fit[1] - truth), unit * (fit[2] - truth)


def score(found: list[Errors | None]) -> Score:
    """From the errors of each trial; None: no answer."""
    answered = [f for f in found if f is not None]
    sizes = sorted(abs(e) for e, _, _ in answered)
    covered = mean(low <= 0 <= high for _, low, high in answered)
    bias = median(e for e, _, _ in answered)
    return Score(bias, sizes[int(0.9 * len(sizes))], covered, len(answered) / len(found))


def self_discharge(random: Random, trials: int) -> Score:
    """Four idle times of 14 to 40 days, three readings each, in whole percent, 1 in 20 off by 10."""

    def trial() -> Errors:
        rate = random.uniform(1, 8)

        def reading(start: float, day: float) -> Reading:
            slip = random.choice((-10, 10)) if random.random() < 0.05 else 0
            return Reading(day, round(start - rate * day / 30 + random.gauss(0, 1) + slip))

        episodes = []
        for _ in range(4):
            start, length = random.uniform(55, 95), random.uniform(14, 40)
            episodes.append([reading(start, length * part) for part in (0, 0.5, 1)])
        fit = fitted_rate(episodes)
        assert fit
        return errors(fit, rate)

    return score([trial() for _ in range(trials)])


def capacity_read(random: Random, percent: float) -> float:
    """A flight's capacity: right within 3 % (one sigma), one flight in 20 reads 15 % low."""
    slip = 0.85 if random.random() < 0.05 else 1.0
    return percent * slip * (1 + random.gauss(0, 0.03))


def capacity_slope(random: Random, trials: int) -> Score:
    """Percent per 100 cycles, over 40 readings in 120 cycles of steady fade."""

    def trial() -> Errors:
        fade = random.uniform(0.02, 0.10)
        line = theil_sen(FLIGHTS, [capacity_read(random, 100 - fade * n) for n in FLIGHTS])
        assert line
        return errors(line.slope, -fade, 100)

    return score([trial() for _ in range(trials)])


def steady(cycle: float, lifetime: float) -> float:
    return 100 - 20 * cycle / lifetime


def levelling(cycle: float, lifetime: float) -> float:
    return 100 - 20 * (cycle / lifetime) ** 0.75


def knee(cycle: float, lifetime: float) -> float:
    """Twice as fast in the last third of the life."""
    return 100 - 15 * cycle / lifetime - max(0.0, cycle / lifetime - 2 / 3) * 15


def end_of_life(random: Random, trials: int, law: Callable[[float, float], float]) -> Score:
    """The cycle at 80 %, predicted at cycle 120 of a life of 150 to 400, errors in percent of the life."""

    def trial() -> Errors | None:
        lifetime = random.uniform(150, 400)
        fit = reaches(FLIGHTS, [capacity_read(random, law(n, lifetime)) for n in FLIGHTS])
        return None if fit is None else errors(fit, lifetime, 100 / lifetime)

    return score([trial() for _ in range(trials)])


def health_now(random: Random, trials: int) -> Score:
    """Percent of rated capacity after the last of 40 readings of a steady fade."""

    def trial() -> Errors:
        fade = random.uniform(0.02, 0.10)
        fit = health([capacity_read(random, 100 - fade * n) for n in FLIGHTS], 100)
        assert fit
        return errors(fit, 100 - fade * FLIGHTS[-1])

    return score([trial() for _ in range(trials)])


class Alarm(NamedTuple):
    """Share of flights whose ratio falls below the threshold, as simulated and as computed."""

    simulated: float
    computed: float


def alarms(
    random: Random, trials: int, spread: float, earlier: int, true_ratio: float, threshold: float = LOOK
) -> Alarm:
    """One flight at `true_ratio` of its usual endurance after `earlier` usual ones, scatter `spread`."""

    def below() -> bool:
        rates = [exp(random.gauss(0, spread)) for _ in range(earlier + 1)]
        ratio = last_ratio([*rates[:-1], true_ratio * rates[-1]])
        assert ratio
        return ratio.value < threshold

    return Alarm(mean(below() for _ in range(trials)), chance_below(threshold, spread, earlier, true_ratio))


def onset(random: Random, trials: int, spread: float, true_ratio: float) -> tuple[float, float]:
    """A pack that from one flight on lasts `true_ratio` as long: share caught at once, and by the third."""

    def flights_until_caught() -> int:
        rates = [exp(random.gauss(0, spread)) for _ in range(15)]
        for number in range(1, 10):
            rates.append(true_ratio * exp(random.gauss(0, spread)))
            ratio = last_ratio(rates)
            assert ratio
            if ratio.value < LOOK:
                return number
        return 10

    caught = [flights_until_caught() for _ in range(trials)]
    return mean(c == 1 for c in caught), mean(c <= 3 for c in caught)
