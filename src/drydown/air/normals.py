"""Monthly normals of a place, and what follows from them alone: its sun, clearness and vapour."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from drydown.air.dayshape import USUAL_LATE_H, hours_of_days
from drydown.air.moist import saturation_pressure_pa
from drydown.air.series import Site
from drydown.air.sun import (
    daylight_hours,
    extraterrestrial_mj_m2,
    ghi_from_sunshine_mj_m2,
    ghi_from_temperatures_mj_m2,
)
from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["WET_MM", "WET_RH", "MonthNormals", "clearness_means", "month_sun_kwh", "vapour_mean"]

Array = NDArray[np.float64]
WET_MM = 1.0
"""Rain from which a day counts as a day of rain: the usual normal."""
WET_RH, RAINY_HOURS = 0.92, 6.5
"""Least humidity while it rains (own estimate), and rainy hours of a wet day (two hourly stations)."""


@dataclass(frozen=True, slots=True)
class MonthNormals:
    """Long-term means of one calendar month.

    tmax_c, tmin_c [C]; rh mean [fraction]; rain_mm [mm in the month]; rain_days [days of
    1 mm and more]; wind_ms [m/s at 10 m]; ghi_kwh_m2 [kWh/(m2 day)] or sunshine_h [h/day], or neither.
    """

    tmax_c: float
    tmin_c: float
    rh: float
    rain_mm: float
    rain_days: float
    wind_ms: float
    ghi_kwh_m2: float | None = None
    sunshine_h: float | None = None

    def __post_init__(self) -> None:
        limits = {
            "tmax_c": (-10.0, 50.0),
            "tmin_c": (-20.0, 40.0),
            "rh": (0.05, 0.99),
            "rain_mm": (0.0, 2500.0),
            "rain_days": (0.0, 31.0),
            "wind_ms": (0.0, 20.0),
        }
        for key, (low, high) in limits.items():
            value = getattr(self, key)
            if not low <= value <= high:
                raise RangeError(
                    say("must be from {low:g} to {high:g}, got {value:g}.", low=low, high=high, value=value),
                    where=key,
                )
        if self.tmax_c <= self.tmin_c:
            raise RangeError(
                say("{tmax_c:g} must be above tmin_c {tmin_c:g}.", tmax_c=self.tmax_c, tmin_c=self.tmin_c),
                "tmax_c",
            )
        if (self.rain_mm > 0) != (self.rain_days > 0):
            raise InputError("rain_mm and rain_days must both be zero or both above zero.")


def month_sun_kwh(site: Site, month: int, normals: MonthNormals) -> tuple[float, str]:
    """Daily sun of a month and where it comes from.

    Args: site; month 1-12; normals. Returns: [kWh/(m2 day)] and words.
    Valid range: 1 to 10. Source: the normals; else FAO-56 eq. 35 or eq. 50.

    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5, 5.2)
    >>> month_sun_kwh(Site(-3.4, 45.0, 1690.0, 3.0), 5, month)
    (5.2, 'measured sun')
    """
    if normals.ghi_kwh_m2 is not None:
        return normals.ghi_kwh_m2, "measured sun"
    doy = 30.4 * month - 15.0
    ra = float(extraterrestrial_mj_m2(site.latitude_deg, doy))
    if normals.sunshine_h is not None:
        day = float(daylight_hours(site.latitude_deg, doy))
        return ghi_from_sunshine_mj_m2(normals.sunshine_h, day, ra) / 3.6, "sunshine hours"
    found = ghi_from_temperatures_mj_m2(normals.tmax_c, normals.tmin_c, ra) / 3.6
    return found, "temperature range (weak: give ghi_kwh_m2 or sunshine_h)"


def clearness_means(site: Site, normals: tuple[MonthNormals, ...]) -> Array:
    """Mean share of clear-sky sun in each month.

    Equation: sun of the month over the clear sky's. Args: site; twelve normals. Returns: [-], (12,), at
    most 1.
    Valid range: 0.1 to 1.15 of a clear sky, else `InputError`: the unit is wrong. Source: definition.

    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5, 5.2)
    >>> 0.6 < float(clearness_means(Site(-3.4, 45.0, 1690.0, 3.0), (month,) * 12)[0]) < 0.8
    True
    """
    clear = site.clear_days_wm2.sum(axis=1)
    sun = np.array([month_sun_kwh(site, m + 1, n)[0] for m, n in enumerate(normals)])
    share = sun * 1000.0 / clear
    if np.any(share > 1.15) or np.any(share < 0.1):
        month = int(np.argmax(np.abs(share - 0.6))) + 1
        raise InputError(
            say(
                "month {month}: {value:.1f} kWh/m2 a day is {share:.0f} % of a clear sky.",
                month=month,
                value=sun[month - 1],
                share=share[month - 1] * 100,
            ),
            fix="Check the unit: kWh per m2 and day (1 MJ = 0.278 kWh).",
        )
    return np.asarray(np.minimum(share, 1.0))


def vapour_mean(site: Site, month: int, n: MonthNormals) -> float:
    """Vapour pressure whose hourly relative humidity averages to the month's.

    Equation: root of mean over the hours of min(p/p_sat, 1), or of WET_RH while it rains, = rh, by halving.
    Args: site; month 0-11; its normals.
    Returns: [Pa]. Valid range: rh 0.05 to 0.99. Source: the generator's own day (`hours.py`).

    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> 1300.0 < vapour_mean(Site(-3.4, 45.0, 1690.0, 3.0), 4, month) < 1800.0
    True
    """
    return _vapour_mean(site, month, n)


@lru_cache(maxsize=512)
def _vapour_mean(site: Site, month: int, n: MonthNormals) -> float:
    day = np.array([30.4 * month + 15.0])
    high, low = np.array([[n.tmax_c]]), np.array([[n.tmin_c]])
    temp = hours_of_days(site, day, high, low, np.array([USUAL_LATE_H]))[0, 0]
    saturation = saturation_pressure_pa(temp)
    least, most = 1.0, float(saturation.max())
    raining = min(n.rain_days / 30.4, 1.0) * RAINY_HOURS / 24.0
    for _ in range(60):
        middle = 0.5 * (least + most)
        dry = np.minimum(middle / saturation, 1.0)
        mean = float(((1.0 - raining) * dry + raining * np.maximum(dry, WET_RH)).mean())
        least, most = (middle, most) if mean < n.rh else (least, middle)
    return middle
