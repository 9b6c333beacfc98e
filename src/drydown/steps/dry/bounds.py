"""What no drying run may say: bounds from the air, sun and burner a lot met, held against its answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import magnus_dew_c, magnus_pa, wet_bulb_c
from drydown.matter.sorption import OSWIN
from drydown.steps.dry.constants import AIR_CP, RA, WIND_TO_BED
from drydown.steps.dry.data import Place
from drydown.steps.dry.lanes import (
    AIR_COVERED,
    AIR_RAIN,
    AIR_RH,
    AIR_SKY,
    AIR_SUN,
    AIR_TEMP,
    AIR_WIND,
    OUT_COLUMNS,
)
from drydown.steps.dry.layout import column
from drydown.units import STEFAN_BOLTZMANN, ZERO_C_K

__all__ = ["MOST_LEFT_OUT", "Bounds", "met_by"]

Array = NDArray[np.float64]
MOST_LEFT_OUT = 0.05
"""Share of members that may be left out before there is no answer."""
DEW_ERROR_C = 0.2
"""How far the quick dew point may lie above the true one, with room."""
WARMER_C, COLDER_C, WETTER_DB = 2.0, 1.0, 0.03
"""Allowed beyond the bounds: heat set free by dry beans that take up water, read-off, and steps."""
QUICKER_VAPOUR = 1.12
"""A wet surface lies this much further below the air than the wet bulb: heat over vapour 0.90 (D17)."""
LOW, MEAN, COOL, HOT = (
    OUT_COLUMNS.index(name)
    for name in ("moisture_db_low", "moisture_db", "bean_temp_low_c", "bean_temp_high_c")
)
FREE = OUT_COLUMNS.index("free_water_kg_m2")


@dataclass(frozen=True, slots=True)
class Bounds:
    """What each member met: hottest and coldest that a bean can be [C], vapour [Pa], wetted or not."""

    hottest_c: Array
    coldest_c: Array
    vapour_low_pa: Array
    vapour_high_pa: Array
    wetted: NDArray[np.bool_]

    def widened(self, other: Bounds | None) -> Bounds:
        """Both stays together."""
        if other is None:
            return self
        return Bounds(
            np.maximum(self.hottest_c, other.hottest_c),
            np.minimum(self.coldest_c, other.coldest_c),
            np.minimum(self.vapour_low_pa, other.vapour_low_pa),
            np.maximum(self.vapour_high_pa, other.vapour_high_pa),
            self.wetted | other.wetted,
        )

    def broken(self, values: Array, isotherm: Array) -> NDArray[np.bool_]:
        """Members whose answer is impossible.

        Args: values (member, hour, column), hour 0 the start; isotherm scale (member).
        Returns: (member,) True where a bean is hotter or colder than what it met allows, or the lot drier
        or wetter than the balances it met and its start. Valid range: any. Source: maximum principle of heat
        and of diffusion; balance by `matter.sorption.OSWIN`.
        """
        hot, cool = values[:, :, HOT].max(axis=1), values[:, :, COOL].min(axis=1)
        top = np.maximum(self.hottest_c, values[:, 0, HOT])
        out = ~np.isfinite(values).all(axis=(1, 2))
        out |= (hot > top + WARMER_C) | (cool < np.minimum(self.coldest_c, values[:, 0, COOL]) - COLDER_C)
        driest = _balance(np.maximum(hot, top), self.vapour_low_pa, isotherm)
        start = values[:, 0, :]
        out |= values[:, :, LOW].min(axis=1) < 0.97 * np.minimum(driest, start[:, LOW]) - 1e-4
        wettest = _balance(np.minimum(cool, self.coldest_c), self.vapour_high_pa, isotherm)
        over = values[:, :, MEAN].max(axis=1) > np.maximum(start[:, MEAN], wettest) + WETTER_DB
        dew = values[:, :, FREE].max(axis=1) > start[:, FREE] + 1e-6
        return np.asarray(out | (over & ~(self.wetted | dew)))


def _balance(temp_c: Array, vapour_pa: Array, isotherm: Array) -> Array:
    """Moisture in balance with vapour at a bean's temperature, dry basis; held at 99 % humidity."""
    rh = np.clip(vapour_pa / magnus_pa(temp_c), 1e-4, 0.99)
    odds = np.power((1.0 - rh) / rh, 1.0 / OSWIN.c)
    return np.asarray((OSWIN.a + OSWIN.b * temp_c) * isotherm / 100.0 / odds)


def _coldest(air: Array, rh: Array, below: Array, pressure_pa: float) -> Array:
    """Coldest over the hours that a wet surface gets: below its wet bulb by what it loses to the sky.

    The wet bulb, a root, is solved only in hours that may be the coldest: none is below the dew point.
    """

    def cold(wet: Array, at: Any) -> Array:
        return np.asarray(air[at] - QUICKER_VAPOUR * (air[at] - wet) - below[at])

    least = cold(magnus_dew_c(air, rh), slice(None)) - DEW_ERROR_C
    likely = np.arange(air.shape[0]), least.argmin(axis=1)
    found = cold(wet_bulb_c(air[likely], rh[likely], pressure_pa), likely)
    maybe = least < found[:, None]
    cells = np.full(air.shape, np.inf)
    cells[maybe] = cold(wet_bulb_c(air[maybe], rh[maybe], pressure_pa), maybe)
    return np.asarray(np.minimum(cells.min(axis=1), found))


def met_by(place: Place, table: Array, hourly: Array) -> Bounds:
    """Bounds of one stay.

    Equation: by day h (T - Ta) + e sigma T4 <= alpha G + e Q, solved from above (T4 is convex, so that each
    step of Newton stays above the balance at rest), a chamber's air warmer by (gain + alpha) G/link; T >= wet
    bulb - e (sigma Ta4 - Q)/h; a burner's set point. Heat stored by a floor lies between the same ends.
    Args: place; table (member, `PARAMETERS`); hourly (1 or member, hour, `HOURLY`).
    Returns: `Bounds` [C, Pa]. Valid range: any. Source: maximum principle of heat conduction; D15 to D24.

    >>> from drydown.steps.dry.data import place
    >>> from drydown.steps.dry.layout import PARAMETERS
    >>> calm = np.array([[20.0, 0.6, 0.0, 1.0, 0.0, 419.0, 0.0]] * 3)[None]
    >>> known = {"h_scale": 1.0, "pressure_pa": 1e5, "air_set_c": 45.0}
    >>> row = np.array([[known.get(name, 0.0) for name in PARAMETERS]])
    >>> float(met_by(place("tray_dryer"), row, calm).hottest_c[0])
    45.0
    """
    air, rh = hourly[:, :, AIR_TEMP], np.clip(hourly[:, :, AIR_RH], 0.01, 1.0)
    light, bare = hourly[:, :, AIR_SUN], 1.0 - hourly[:, :, AIR_COVERED]
    scale = table[:, column("h_scale")].min()
    h = scale * np.where(bare > 0.0, 2.8 + 3.0 * WIND_TO_BED * hourly[:, :, AIR_WIND], 1.5)
    emissivity = bare * table[0, column("emissivity")]
    body = STEFAN_BOLTZMANN * (air + ZERO_C_K) ** 4
    radiant = 4.0 * body / (air + ZERO_C_K)
    taken = max(table[:, column("absorptance")].max(), place.slab_absorptance)
    sun = taken * light * bare
    sky = emissivity * (hourly[:, :, AIR_SKY] - body)
    link = np.inf
    if place.vent_m_s > 0.0:
        link = place.cover_w_m2k + place.vent_m_s * AIR_CP * table[0, column("pressure_pa")] / (RA * 310.0)
    inside = (place.floor_gain + taken) * light / link
    warm = air + inside + (sun + np.maximum(sky, 0.0)) / (h + emissivity * radiant)
    for _nearer in range(2):
        lost = h * (warm - air - inside) + emissivity * STEFAN_BOLTZMANN * (warm + ZERO_C_K) ** 4
        steep = h + 4.0 * emissivity * STEFAN_BOLTZMANN * (warm + ZERO_C_K) ** 3
        warm = np.maximum(warm - (lost - sun - emissivity * hourly[:, :, AIR_SKY]) / steep, air + inside)
    lost = np.maximum(-sky, 0.0)
    coldest = _coldest(air, rh, lost / h + lost / link, float(table[0, column("pressure_pa")]))
    ground = table[:, column("ground_c")]
    on_floor = not (place.open_below or place.machine)
    hottest = warm.max(axis=1)
    if on_floor:
        hottest, coldest = np.maximum(hottest, ground), np.minimum(coldest, ground)
    vapour = rh * magnus_pa(air)
    members = table.shape[0]
    wetted = (bare * hourly[:, :, AIR_RAIN]).max(axis=1) > 0.0
    set_c = table[:, column("air_set_c")]
    return Bounds(
        np.maximum(np.broadcast_to(hottest, members), set_c),
        np.broadcast_to(coldest, members),
        np.broadcast_to(vapour.min(axis=1), members),
        np.broadcast_to(vapour.max(axis=1), members),
        np.broadcast_to(wetted, members),
    )
