"""Fruit of whole seasons: a bell of days with weekdays, good and bad years, floaters that grow in number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.station.harvest import Season
from drydown.words import say

__all__ = ["HARVEST_SOURCE", "Fruit", "Harvest", "draw_fruit", "learn_harvest"]

Array = NDArray[np.float64]
YEAR_SD, DAY_SD, WIDTH_SD, MIDDLE_SD = 0.15, 0.30, 0.15, 0.06
"""Ln spread of a season's crop, of a day's fruit and of the curve's width; spread of its middle as a share of
its length (own estimates where no season was weighed)."""
FLOAT_FIRST, FLOAT_LAST = 0.6, 1.4
"""Floaters of the first and the last day over their mean: conversion is best early (Montilla 2008); slope own
estimate."""
HARVEST_SOURCE = Source(
    "own estimate: a bell of four standard deviations; years differ by 15 %, days by 30 % about it, its "
    "width by 15 %; conversion worst at the end (Montilla 2008, Cenicafe 59(2))",
    Status.OWN_ESTIMATE,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Harvest:
    """What comes in a season.

    fruit_kg of a middle year; begins, its first day; days, its length; weekdays, how much of a mean day comes
    on each (Monday first, mean 1 over seven); species, shares by name; year_sd, day_sd [ln]; bad_chance,
    bad_share:
    one year in so many brings only this part of the crop; width, standard deviations of the bell in the
    season's length.
    """

    fruit_kg: float
    begins: date
    days: int
    species: tuple[tuple[str, float], ...]
    weekdays: tuple[float, ...] = (1.0,) * 7
    year_sd: float = YEAR_SD
    day_sd: float = DAY_SD
    bad_chance: float = 0.0
    bad_share: float = 0.5
    width: float = 4.0

    def __post_init__(self) -> None:
        if not 10.0 <= self.fruit_kg <= 1e8:
            raise RangeError(say("must be from 10 kg to 100 000 t, got {k:g} kg.", k=self.fruit_kg), "fruit")
        if not 7 <= self.days <= 330:
            raise RangeError(say("must be from 7 to 330 days, got {d}.", d=self.days), "the harvest's length")
        if len(self.weekdays) != 7 or min(self.weekdays) < 0.0 or sum(self.weekdays) <= 0.0:
            raise RangeError("must be seven shares, none below zero.", "weekdays")
        if not self.species or abs(sum(s for _n, s in self.species) - 1.0) > 1e-6:
            raise RangeError("must add up to the whole crop.", "shares of species")

    @property
    def peak_share(self) -> float:
        """Share of a middle season that comes on its largest day, without a day's own chance."""
        plain = _curve(self, np.zeros(1), np.ones(1))[0]
        return float(plain.max())


@dataclass(frozen=True, slots=True)
class Fruit:
    """Fruit of seasons: kg (season, day, species); floaters (season, day) [fraction]; scale (season) of the
    crop; bad (season)."""

    kg: Array
    floaters: Array
    scale: Array
    bad: NDArray[np.bool_]


def _curve(h: Harvest, moved: Array, wider: Array) -> Array:
    """Share of a season's fruit on each day, (season, day)."""
    day = np.arange(h.days) + 0.5
    sigma = h.days / h.width * wider[:, None]
    middle = h.days * (0.5 + moved[:, None])
    bell = np.exp(-0.5 * ((day - middle) / sigma) ** 2)
    factor = np.array([h.weekdays[(h.begins + timedelta(days=d)).weekday()] for d in range(h.days)])
    share = bell * factor
    return np.asarray(share / share.sum(axis=1, keepdims=True))


def draw_fruit(harvest: Harvest, float_share: float, first: int, seasons: int, seed: int) -> Fruit:
    """Fruit of seasons, each from a stream of its own.

    Equation: crop x exp(s_y e - s_y^2/2) x bell x weekday x exp(s_d e - s_d^2/2), scaled to the season's
    crop.
    Args: harvest; float_share [fraction], mean over the season; first, number of the first season; seasons
    [count]; seed. Returns: `Fruit`. Valid range: any. Source: `HARVEST_SOURCE`, or learnt from books.

    >>> h = Harvest(1e4, date(2026, 10, 1), 60, (("arabica", 1.0),))
    >>> bool((draw_fruit(h, 0.05, 3, 2, 1).kg[0] == draw_fruit(h, 0.05, 0, 5, 1).kg[3]).all())
    True
    """
    rngs = [np.random.default_rng([seed, 101, first + s]) for s in range(seasons)]
    e = np.stack([r.standard_normal(3 + harvest.days) for r in rngs])
    bad = np.array([r.random() < harvest.bad_chance for r in rngs])
    scale = np.exp(harvest.year_sd * e[:, 0] - 0.5 * harvest.year_sd**2)
    scale = scale * np.where(bad, harvest.bad_share, 1.0)
    share = _curve(harvest, MIDDLE_SD * e[:, 1], np.exp(WIDTH_SD * e[:, 2]))
    share = share * np.exp(harvest.day_sd * e[:, 3:])
    share = share / share.sum(axis=1, keepdims=True)
    total = harvest.fruit_kg * scale[:, None] * share
    part = np.array([s for _n, s in harvest.species])
    drift = np.linspace(FLOAT_FIRST, FLOAT_LAST, harvest.days)
    floaters = np.clip(float_share * np.broadcast_to(drift, total.shape), 0.0, 0.9)
    return Fruit(total[:, :, None] * part, floaters, scale, bad)


def learn_harvest(past: Sequence[Season], species: tuple[tuple[str, float], ...], begins: date) -> Harvest:
    """The harvest as a station's own books tell it.

    Equation: crop and length in the mean; weekdays as they were; width from the spread of days about their
    middle; spread of years from two seasons on, else own estimate. Args: past seasons, each of at least 14
    days; species, shares; begins, of the season to come. Returns: `Harvest`. Raises `RangeError` where no
    season is long enough. Source: the station's own weighings.
    """
    whole = [s for s in past if s.kg.size >= 14 and s.kg.sum() > 0.0]
    if not whole:
        raise RangeError("no season of two weeks or more was weighed here.", "harvest", "State the crop.")
    crops = np.array([s.kg.sum() for s in whole])
    days = round(float(np.mean([s.kg.size for s in whole])))
    weekday = np.zeros((2, 7))
    sigma, left = [], []
    for s in whole:
        at = np.arange(s.kg.size)
        middle = (at * s.kg).sum() / s.kg.sum()
        sigma.append(np.sqrt(((at - middle) ** 2 * s.kg).sum() / s.kg.sum()) / s.kg.size)
        names = (s.first.weekday() + at) % 7
        np.add.at(weekday[0], names, s.kg)
        np.add.at(weekday[1], names, 1.0)
        week = np.convolve(s.kg, np.ones(7) / 7.0, mode="same")
        seen = (s.kg > 0.0) & (week > 0.0)
        left.append(np.log(s.kg[seen] / week[seen]))
    factor = weekday[0] / np.maximum(weekday[1], 1.0)
    factor = factor / max(factor.mean(), 1e-9)
    off = np.concatenate([x - x.mean() for x in left])
    by_day = float(np.clip(off.std(), 0.05, 0.8)) if off.size > 6 else DAY_SD
    year = float(np.clip(np.log(crops).std(ddof=1), 0.05, 0.6)) if crops.size > 1 else YEAR_SD
    width = float(np.clip(1.0 / np.mean(sigma), 2.5, 8.0))
    return Harvest(
        float(crops.mean()),
        begins,
        max(days, 7),
        species,
        tuple(map(float, factor)),
        year,
        by_day,
        width=width,
    )
