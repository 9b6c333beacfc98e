"""How dry coffee keeps: its moisture in the weeks to come, dew in a sealed lot, and the months that hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import rh_from_vapour_pressure, vapour_pressure_pa
from drydown.errors import DrydownError
from drydown.figures import Band, Figure, Source, Status
from drydown.matter.sorption import SOURCE
from drydown.steps.keep import WALL_SOURCE, Bag, drift_db, store_air, sweats_below_c
from drydown.words import say

__all__ = ["DAYS", "MONTHS", "Kept", "StoreAir", "kept", "months_words"]

Array = NDArray[np.float64]
DAYS = 30
READ_POINTS = 0.005
"""Standard error of the reading it starts from [fraction wb]: a field meter checked against an oven."""
MONTHS: tuple[tuple[str, str, Source], ...] = (
    (
        "parchment", "up to six months as parchment at 10 to 12 % below 20 C and at 65 to 70 % humidity",
        Source("Cenicafe, data sheet, as quoted by others", Status.SECOND_HAND),
    ),
    (
        "green",
        "green keeps shorter than parchment: no more than two weeks in hot humid air; hull late",
        Source("GTZ, handbook for coffee in Vietnam", Status.PUBLISHED),
    ),
    (
        "cherry", "latent damage after 120 days was seen in natural arabica in permeable packs",
        Source("Eng. Agric. 39(5), 2019, by its abstract", Status.SECOND_HAND),
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class StoreAir:
    """Air about the bags: temp_c, rh (member, hour), and words for where it comes from."""

    temp_c: Array
    rh: Array
    words: str
    source: Source

    @classmethod
    def through_walls(cls, temp_c: Array, rh: Array, mean_c: float | None, seed: int) -> StoreAir:
        """Air of a store from outdoor air; mean_c, where the station stated its store's mean temperature.

        Args: temp_c, rh (member, hour) [C], [fraction]; mean_c [C]; seed. Returns: `StoreAir`.
        Valid range: -20 to 60 C. Source: `WALL_SOURCE`.
        """
        rng = np.random.default_rng([seed, 91])
        walls = np.exp(rng.uniform(np.log(12.0), np.log(72.0), temp_c.shape[0]))
        inside, held = store_air(temp_c, rh, walls, 0.5 * walls)
        if mean_c is None:
            return cls(inside, held, say("outdoor air through the store's walls"), WALL_SOURCE)
        vapour = vapour_pressure_pa(inside, held)
        inside = inside + (mean_c - inside.mean())
        held = np.clip(rh_from_vapour_pressure(inside, vapour), 0.1, 0.97)
        words = say("outdoor vapour at the stated {c:.0f} C of the store", c=mean_c)
        return cls(inside, np.asarray(held), words, WALL_SOURCE)


@dataclass(frozen=True, slots=True)
class Kept:
    """A lot in store.

    then, moisture after 30 days [% wb]; by_day (3, day) P10, P50, P90 [fraction wb]; leaves_day, the day it
    leaves the rule in the middle, None within the month; sweats_c, where it is sealed: below what its cover
    sweats [C]; coldest_c, what nights outside reach in the month: one in ten is colder [C].
    """

    bag: Bag
    then: Figure
    by_day: Array
    leaves_day: int | None
    sweats_c: Figure | None
    coldest_c: float

    @property
    def sweats(self) -> bool:
        """Whether the sheet or roof over a sealed lot is likely to be colder than its dew point."""
        return self.sweats_c is not None and self.coldest_c < self.sweats_c.low


def kept(moisture_wb: float, rule_wb: float, held_in: Bag, air: StoreAir, nights_c: Array, seed: int) -> Kept:
    """The coming month of a lot in store.

    Args: moisture_wb, as last read [fraction]; rule_wb, where the rule ends [fraction]; held_in; air of the
    store from now on; nights_c, coldest hour of each night outside (member, night) [C]; seed.
    Returns: `Kept`. Valid range: 5 to 25 % wb. Source: `steps.keep`.
    """
    days = air.temp_c.shape[1] // 24
    members = air.temp_c.shape[0]
    rng = np.random.default_rng([seed, 92])
    starts = np.clip(moisture_wb + READ_POINTS * rng.standard_normal(members), 0.04, 0.30)
    daily = [x[:, : 24 * days].reshape(members, days, 24).mean(axis=2) for x in (air.temp_c, air.rh)]
    run = drift_db(starts / (1.0 - starts), daily[0], daily[1], held_in.draw(rng, members))
    wet = run / (1.0 + run)
    by_day = np.percentile(wet, (10, 50, 90), axis=0)
    out = np.flatnonzero(by_day[1] > rule_wb)
    inputs = {
        "last read": f"{100 * moisture_wb:.1f} % wb", "kept in": held_in.name, "air": air.words,
        "store, mean": f"{daily[0].mean():.0f} C, {100 * daily[1].mean():.0f} %",
    }  # fmt: skip
    then = Figure(
        100 * by_day[1, -1], "% wb", 100 * by_day[0, -1], 100 * by_day[2, -1], Band.P10_P90,
        say("first-order approach of the lot's moisture to balance with the store's air, over {d:.0f} days",
            d=days),
        inputs, (SOURCE, held_in.source, air.source),
    )  # fmt: skip
    leaves = int(out[0]) if out.size and moisture_wb <= rule_wb else None
    coldest = float(np.quantile(nights_c, 0.1))
    return Kept(held_in, then, by_day, leaves, _sweats(moisture_wb, held_in, daily[0]), coldest)


def _sweats(moisture_wb: float, held_in: Bag, temp_c: Array) -> Figure | None:
    if not held_in.sealed:
        return None
    warm = float(np.clip(temp_c.mean(), 5.0, 55.0))
    try:
        low, value, high = (sweats_below_c(warm, moisture_wb + d) for d in (-READ_POINTS, 0.0, READ_POINTS))
    except DrydownError:
        return None  # drier or wetter than the isotherm covers
    inputs = {"moisture": f"{100 * moisture_wb:.1f} % wb", "lot": f"{warm:.0f} C"}
    rule = say("dew point of the air inside the lot, at its water activity and temperature")
    return Figure(value, "C", low, high, Band.STATED, rule, inputs, (SOURCE,))


def months_words(form: str) -> tuple[str, Source] | None:
    """How long coffee of a form holds by what was published; no day is given: no law of it is known.

    Args: form, "parchment", "green", "cherry" or "mucilage". Returns: words and source.
    """
    found = {name: (words, source) for name, words, source in MONTHS}
    return found.get("parchment" if form == "mucilage" else form)
