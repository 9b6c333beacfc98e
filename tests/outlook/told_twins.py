"""What a station is told of an invented lot, and how forecasts of it are scored."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.outlook.corrected import Corrected, corrected
from drydown.outlook.learnt import StationPrior
from drydown.outlook.skies import Skies
from drydown.outlook.told import Told
from tests.outlook.twins import NOISE_SD, Twin, kept_curve, seen_air, true_hours, twin

__all__ = ["SHARES", "Case", "case", "crps", "hours_of", "rank_of"]

Array = NDArray[np.float64]
SHARES = (0.25, 0.5, 0.75)
OVEN_SD = 0.003
FAR_H = 90 * 24.0


@dataclass(frozen=True, slots=True)
class Case:
    """A lot with its true hours to dry and its readings: three by meter; every second lot one by oven too."""

    lot: Twin
    hours: float
    meter: tuple[Told, ...]
    oven: tuple[Told, ...]

    def outlook(self, told: tuple[Told, ...], until: float, members: int, prior: StationPrior | None = None) -> Corrected:  # fmt: skip  # noqa: E501
        """Its outlook by some readings, under the air that the station's instruments saw until an hour."""
        seen = (seen_air(self.lot, max(round(until), 1)),) if until > 0 else ()
        skies = Skies(self.lot.air.site, self.lot.normals, seen=seen)
        return corrected(self.lot.case, told, skies, members, seed=3000 + self.lot.number, prior=prior)


def case(number: int) -> Case | None:
    """Lot by number; None where it dried in a day, or not at all within its weather."""
    lot, x = twin(number), kept_curve(number)
    wb = x / (1.0 + x)
    if wb[-1] > lot.case.target_wb or wb.size < 30:
        return None
    hours, rng = true_hours(x, lot.case.target_wb), np.random.default_rng([80, number])
    at = [max(1, round(hours * share)) for share in SHARES]
    meter = tuple(
        Told(h, "meter", float(np.clip(wb[h] + lot.bias + NOISE_SD * rng.standard_normal(), 0.03, 0.8)), "m")
        for h in at
    )
    oven = Told(at[1], "oven", float(np.clip(wb[at[1]] + OVEN_SD * rng.standard_normal(), 0.03, 0.8)))
    return Case(lot, hours, meter, (oven,) if number % 2 else ())


def hours_of(found: Corrected) -> Array:
    """Hours from spreading to dry of every member; one that is never dry is far off."""
    done = found.forecast.done_h + found.hours_so_far
    return np.asarray(np.where(np.isnan(done), FAR_H, done))


def rank_of(members: Array, truth: float) -> float:
    """Share of the members before the truth."""
    return float(np.mean(members < truth) + 0.5 * np.mean(members == truth))


def crps(members: Array, truth: float) -> float:
    """Continuous ranked probability score of an ensemble [h] (Hersbach 2000, Weather and Forecasting 15)."""
    x = np.sort(members)
    n = x.size
    spread = np.sum((2.0 * np.arange(1, n + 1) - n - 1.0) * x) / n**2
    return float(np.mean(np.abs(x - truth)) - spread)
