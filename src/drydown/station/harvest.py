"""Fruit that comes day by day: seasons told apart, the crop that was expected, the days to come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.station.trade import Crop
from drydown.words import say

__all__ = ["CROP_SOURCE", "DAYS_SOURCE", "Expected", "Season", "crop_until", "expected_days", "seasons"]

Array = NDArray[np.float64]
CROP_SPREAD = 0.34
"""Standard deviation of a crop forecast as a share of it: within 20 % in 44 % of cases, as a normal."""
CROP_SOURCE = Source(
    "Rendon, Arcila and Montoya 2008, Cenicafe 59(3):238-259: production within 20 % of the forecast in 44 % "
    "of cases; spread of a normal that says so",
    Status.DERIVED,
)
DAYS_SOURCE = Source(
    "own estimate: the last four weeks weigh half of what a week later does; weekdays as they were, drawn to "
    "the mean where few were seen; spread as days differed from this same rule so far, and wider ahead",
    Status.OWN_ESTIMATE,
)
BREAK_DAYS = 60
HALF_DAYS, WEEKDAY_WEIGHT, FEWEST = 7.0, 1.0, 7
LEAST_SPREAD = 0.25


@dataclass(frozen=True, slots=True)
class Season:
    """A season: its first day of fruit, and fruit of each day from it on [kg]."""

    first: date
    kg: Array

    @property
    def last(self) -> date:
        """The last day with fruit."""
        return self.first + timedelta(days=self.kg.size - 1)

    def so_far(self) -> Array:
        """Fruit until each day [kg]."""
        return np.cumsum(self.kg)


@dataclass(frozen=True, slots=True)
class Expected:
    """Fruit of a day to come [kg]: P10, P50, P90."""

    on: date
    low: float
    kg: float
    high: float


def seasons(fruit: Mapping[date, float]) -> list[Season]:
    """Seasons of a station: days with fruit, parted where none came for 60 days (own choice).

    Args: fruit by day [kg]. Returns: seasons, the oldest first.
    """
    days = sorted(d for d, kg in fruit.items() if kg > 0.0)
    found: list[list[date]] = []
    for day in days:
        if not found or (day - found[-1][-1]).days > BREAK_DAYS:
            found.append([])
        found[-1].append(day)
    made = []
    for own in found:
        kg = np.zeros((own[-1] - own[0]).days + 1)
        for day in own:
            kg[(day - own[0]).days] = fruit[day]
        made.append(Season(own[0], kg))
    return made


def crop_until(crop: Crop, day: date) -> tuple[float, float, float]:
    """Fruit expected until the end of a day, as the crop was stated.

    Equation: crop x Phi((t - middle)/sigma), four sigma from the first day to the last, scaled to whole.
    Args: crop; day. Returns: P10, P50, P90 [kg]. Source: `CROP_SOURCE`; the bell is our own choice.
    """
    from scipy.special import ndtr  # noqa: PLC0415

    length = (crop.ends - crop.begins).days + 1
    share = min(max(((day - crop.begins).days + 1) / length, 0.0), 1.0)
    edge = float(ndtr(-2.0))
    done = (float(ndtr(4.0 * share - 2.0)) - edge) / (1.0 - 2.0 * edge)
    middle = crop.fruit_kg * done
    wide = 1.2816 * CROP_SPREAD
    return middle * (1.0 - wide), middle, middle * (1.0 + wide)


def expected_days(season: Season, today: date, days: int) -> list[Expected]:
    """Fruit of the days to come, learnt from the season so far.

    Equation: level x weekday factor x drift; level the mean of past days without their weekday, each a half
    as heavy for a week of age; drift that of the level over the last week (or two) against the one
    before, half of it kept, fading over two weeks; spread of the logarithm as this rule missed each day
    of the last four weeks, one day ahead, times sqrt(1 + h/7).
    Args: season, with at least seven days; today, the last day that is known; days [count], 1 to 21.
    Returns: a row a day. Raises `RangeError` for fewer days. Source: `DAYS_SOURCE`.
    """
    known = _until(season, today)
    if known.size < FEWEST:
        raise RangeError(
            say("{n} days of fruit are too few to learn the coming ones from; {m} are needed.", n=known.size,
                m=FEWEST),
            "deliveries", "Type what you expect.",
        )  # fmt: skip
    if not 1 <= days <= 21:
        raise RangeError(say("must be from 1 to 21, got {d}.", d=days), "days")
    first = season.first.weekday()
    spread = _missed(known, first)
    found = []
    for ahead in range(1, days + 1):
        middle = _said(known, first, ahead)
        wide = 1.2816 * spread * np.sqrt(1.0 + ahead / 7.0)
        on = today + timedelta(days=ahead)
        found.append(Expected(on, float(middle * np.exp(-wide)), float(middle), float(middle * np.exp(wide))))
    return found


def _until(season: Season, today: date) -> Array:
    """Fruit of each day until today; days after the last with fruit had none."""
    count = max((today - season.first).days + 1, 0)
    whole = np.zeros(count)
    n = min(count, season.kg.size)
    whole[:n] = season.kg[:n]
    return whole


def _said(known: Array, first: int, ahead: int) -> float:
    """What the rule says of a day so far ahead."""
    n = known.size
    age = np.arange(n - 1, -1, -1.0)
    weight = 0.5 ** (age // 7)  # whole weeks, so that each weekday counts alike
    factor = _weekdays(known, first)
    day = (first + np.arange(n)) % 7
    works = factor[day] > 0.05
    if not works.any():
        return 0.0
    plain = known[works] / factor[day[works]]
    own = weight[works]
    level = float((own * plain).sum() / own.sum())
    span = 14.0 if n >= 28 else 7.0  # whole weeks, so that weekdays are alike in both
    late, early = plain[age[works] < span], plain[(age[works] >= span) & (age[works] < 2.0 * span)]
    drift = 0.0
    if late.size >= 4 and early.size >= 4 and early.mean() > 0.0 and late.mean() > 0.0:
        drift = 0.5 * float(np.clip(np.log(late.mean() / early.mean()), -1.0, 1.0)) / span
    grown = drift * (HALF_DAYS + 14.0 * (1.0 - np.exp(-ahead / 14.0)))
    return float(level * np.exp(grown) * factor[(first + n - 1 + ahead) % 7])


def _weekdays(known: Array, first: int) -> Array:
    """Factor of each weekday, Monday first, about 1; drawn to 1 where few were seen."""
    day = (first + np.arange(known.size)) % 7
    count = np.array([(day == d).sum() for d in range(7)])
    sums = np.array([known[day == d].sum() for d in range(7)])
    closed = (count >= 2) & (sums == 0.0)
    mean = known[~closed[day]].mean() if (~closed[day]).any() else 0.0
    if mean <= 0.0:
        return np.ones(7)
    seen = np.where(count > 0, sums / np.maximum(count, 1) / mean, 1.0)
    found = (count * seen + WEEKDAY_WEIGHT) / (count + WEEKDAY_WEIGHT)
    found[closed] = 0.0
    return np.asarray(found * 7.0 / max(found.sum(), 1e-9))


def _missed(known: Array, first: int) -> float:
    """Standard deviation of the logarithm of what came over what the rule had said the day before."""
    off = []
    for n in range(max(FEWEST, known.size - 28), known.size):
        said = _said(known[:n], first, 1)
        if said > 0.0 and known[n] > 0.0:
            off.append(np.log(known[n] / said))
    if len(off) < 4:
        return 2.0 * LEAST_SPREAD
    return max(float(np.sqrt(np.mean(np.square(off)))), LEAST_SPREAD)
