"""When a tank is ready: the handbook's hours, corrected by the station's own tanks and by the tests of this
one.

A tank's end lies between the last test that says not yet and the first that says ready. Hours at 20 C are
normal
in ln: a station's middle and the spread between its tanks are estimated together on a grid, with the Q10.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from drydown.errors import InputError
from drydown.figures import Band, Figure
from drydown.outlook.dryfigures import PERCENTS
from drydown.steps.ferment import HOURS_SOURCE, LATE_SOURCE, at_20_c, late_risk
from drydown.words import say

__all__ = ["TankRun", "TankTime", "TankWindow", "learnt_hours", "window_of"]

Array = NDArray[np.float64]
MIDDLE_H, BETWEEN = 16.0, 0.20
"""Hours at 20 C of the middle station, and ln spread between stations: 12 to 20 h as P5 and P95, widened by
the 8 to 72 h that were seen."""
WITHIN, WITHIN_LOTS = 0.14, 6.0
"""Ln spread between tanks of one station (own estimate), worth so many tanks."""
Q10S = (2.0, 2.125, 2.25, 2.375, 2.5)
TEMP_SD_C = 1.0
"""Spread of a tank's mean temperature about what was read or taken for it, C (own estimate)."""
DRAWS = 400


@dataclass(frozen=True, slots=True)
class TankRun:
    """A tank that was washed: hours until the last test that said not yet, until ready, and its temperature.

    not_yet_h [h], 0 where it was not tested before; ready_h [h], inf where no test said so; temp_c [C].
    """

    not_yet_h: float
    ready_h: float
    temp_c: float


@dataclass(frozen=True, slots=True)
class TankTime:
    """What is known of a station's tanks: a grid of middle [ln h at 20 C], spread [ln] and Q10 with
    weights."""

    middle: Array
    spread: Array
    q10: Array
    weight: Array
    tanks: int

    def draws(self, temp_c: float, seed: int, members: int = DRAWS) -> Array:
        """Hours to the end of a tank at a temperature, by member [h]."""
        rng = np.random.default_rng([seed, 83])
        rows = rng.choice(self.weight.size, members, p=self.weight)
        at_20 = np.exp(self.middle[rows] + self.spread[rows] * rng.standard_normal(members))
        temp = np.clip(temp_c + TEMP_SD_C * rng.standard_normal(members), 10.0, 35.0)
        return np.asarray(at_20 * self.q10[rows] ** ((20.0 - temp) / 10.0))

    def figure(self) -> Figure:
        """Hours at 20 C of this station's tanks, P10 to P90 of the next one."""
        hours = self.draws(20.0, 1)
        low, middle, high = np.percentile(hours, PERCENTS)
        rule = (
            say("learnt from {tanks} of the station's own tanks", tanks=self.tanks)
            if self.tanks
            else say("no tank of the station's own yet")
        )
        return Figure(
            float(middle), "h at 20 C", float(low), float(high), Band.P10_P90, rule, {}, (HOURS_SOURCE,)
        )


@dataclass(frozen=True, slots=True)
class TankWindow:
    """Hours from filling between which the tank will be ready (P10, P50, P90), and the draws behind them."""

    hours: Figure
    draws: Array
    temp_c: float

    def risk(self, hour: float) -> float:
        """Chance of a defective cup where it is washed at an hour [fraction]."""
        return float(np.mean(late_risk(hour - self.draws, self.temp_c)))

    def ready(self, hour: float) -> float:
        """Chance that it is ready by an hour [fraction]."""
        return float(np.mean(self.draws <= hour))


def learnt_hours(runs: Sequence[TankRun]) -> TankTime:
    """Hours at 20 C of a station's tanks, from those that were washed.

    Equation: posterior on a grid; likelihood of a tank P(ready) - P(not yet) of ln hours at 20 C; prior of
    the middle normal, of the spread scaled inverse chi-square. Args: runs. Returns: `TankTime`.
    Valid range: any number of tanks, none too. Raises `InputError` for a tank that was ready before it was
    not.
    Source: `HOURS_SOURCE`; Bayes on a grid.
    """
    for run in runs:
        if not 0.0 <= run.not_yet_h < run.ready_h:
            raise InputError("a tank was ready before a test that said not yet.", "fermentation")
    grid = np.meshgrid(
        np.log(MIDDLE_H) + BETWEEN * np.linspace(-3.5, 3.5, 71),
        np.geomspace(0.03, 0.5, 31),
        Q10S,
        indexing="ij",
    )
    middle, spread, q10 = (np.asarray(g.ravel(), dtype=float) for g in grid)
    ln = -0.5 * ((middle - np.log(MIDDLE_H)) / BETWEEN) ** 2
    ln += -WITHIN_LOTS * np.log(spread) - 0.5 * WITHIN_LOTS * (WITHIN / spread) ** 2
    for run in runs:
        with_temp = np.hypot(spread, TEMP_SD_C / 10.0 * np.log(q10))
        late = _below(run.ready_h, run.temp_c, middle, with_temp, q10)
        early = _below(run.not_yet_h, run.temp_c, middle, with_temp, q10)
        ln = ln + np.log(np.maximum(late - early, 1e-12))
    weight = np.exp(ln - ln.max())
    return TankTime(middle, spread, q10, weight / weight.sum(), len(runs))


def _below(hours: float, temp_c: float, middle: Array, spread: Array, q10: Array) -> Array:
    """Chance that a tank is ready by some hours at a temperature."""
    if hours <= 0.0:
        return np.zeros_like(middle)
    if np.isinf(hours):
        return np.ones_like(middle)
    return np.asarray(ndtr((np.log(at_20_c(hours, temp_c, q10)) - middle) / spread))


def window_of(time: TankTime, temp_c: float, not_yet_h: float = 0.0, ready_h: float = np.inf, seed: int = 1) -> TankWindow:  # fmt: skip  # noqa: E501
    """When a tank will be ready, counted from its filling.

    Args: time, what is known of the station's tanks; temp_c [C] of the mass; not_yet_h [h] of the last test
    that said not yet; ready_h [h] of the first that said ready; seed. Returns: `TankWindow`.
    Source: the station's tanks and this tank's tests.
    """
    draws = time.draws(temp_c, seed, 20 * DRAWS)
    inside = draws[(draws > not_yet_h) & (draws <= ready_h)]
    if inside.size < 20:  # tests that the hours did not expect: they rule
        last = ready_h if np.isfinite(ready_h) else not_yet_h + max(2.0, 0.25 * not_yet_h)
        inside = np.linspace(not_yet_h, last, DRAWS)
    low, middle, high = np.percentile(inside, PERCENTS)
    inputs = {"temperature of the mass": f"{temp_c:.1f} C", "tanks of its own": str(time.tanks)}
    if not_yet_h > 0.0:
        inputs["last test that said not yet"] = f"{not_yet_h:.1f} h"
    rule = "hours until the mucilage lets go, by the station's tanks and this tank's tests; the hand decides"
    figure = Figure(
        float(middle), "h", float(low), float(high), Band.P10_P90, rule, inputs, (HOURS_SOURCE, LATE_SOURCE)
    )
    return TankWindow(figure, inside, temp_c)
