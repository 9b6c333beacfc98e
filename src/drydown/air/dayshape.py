"""Temperature through a day on solar time, from its high and low and the low of the day after."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import Site
from drydown.air.sun import daylight_hours

__all__ = ["AFTER_SUNRISE_H", "HOURS", "USUAL_LATE_H", "day_shape", "hours_of_days", "solar_day"]

Array = NDArray[np.float64]
NIGHT_DECAY, AFTER_SUNRISE_H, PEAKED = 2.8, 0.0, 1.3
"""Decay of a night's warmth and the coldest moment after sunrise [h] (2.2 and -0.17 in Parton and Logan
1981), and a power of the sine: two hourly stations, whose mornings warm and afternoons cool faster."""
USUAL_LATE_H = 1.3
"""The warmest moment after the sun's noon, where nobody measured it [h]: `climate.toml`."""
HOURS = np.arange(24, dtype=np.float64) + 0.5


def solar_day(site: Site, day_of_year: float) -> tuple[float, float]:
    """Sunrise on the clock and length of the day.

    Equation: noon = 12 + zone - longitude/15 - equation of time; half the day before it. Args: site; day of
    the year. Returns: (sunrise [h], length [h]). Valid range: below 60 degrees. Source: FAO-56 eq. 33, 34.

    >>> rise, length = solar_day(Site(0.0, 45.0, 0.0, 3.0), 80.0)
    >>> abs(rise - 6.1) < 0.1, round(length, 1)
    (True, 12.0)
    """
    b = 2.0 * np.pi * (day_of_year - 81.0) / 364.0
    ahead = 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)
    noon = 12.0 + site.utc_offset_h - site.longitude_deg / 15.0 - ahead
    length = float(daylight_hours(site.latitude_deg, day_of_year))
    return float(noon - 0.5 * length), length


def day_shape(
    rise: Array, length: Array, late: Array, tmax: Array, tmin: Array, tmin_next: Array
) -> tuple[Array, Array]:
    """Temperature of a day's hours from sunrise on, and of the night that follows, as functions of the clock.

    Equation: day Tn + (Tx - Tn) sin^p[pi (h - rise - c)/(Y + 2 a)]; night from sunset to the next low by an
    exponential that ends there. Args: rise, length, late a [h], highs and lows [C], each (members, days, 1).
    Returns: both (members, days, 24): this day's hours as if it were light, and as if it were the night
    after; [C]. Valid range: any. Source: Parton and Logan 1981.

    >>> one = np.ones((1, 1, 1))
    >>> light, _dark = day_shape(6 * one, 12 * one, 1.5 * one, 24 * one, 12 * one, 12 * one)
    >>> int(light[0, 0].argmax())
    13
    """
    lasts = length + 2.0 * late
    swing = np.maximum(np.sin(np.pi * np.clip(HOURS - rise - AFTER_SUNRISE_H, 0.0, lasts) / lasts), 0.0)
    light = tmin + (tmax - tmin) * swing**PEAKED
    dusk = tmin + (tmax - tmin) * np.sin(np.pi * (length - AFTER_SUNRISE_H) / lasts) ** PEAKED
    since = np.where(rise <= HOURS, HOURS - rise - length, HOURS + 24.0 - rise - length)
    spent = np.clip(since / (24.0 - length + AFTER_SUNRISE_H), 0.0, 1.0)
    left = (np.exp(-NIGHT_DECAY * spent) - np.exp(-NIGHT_DECAY)) / (1.0 - np.exp(-NIGHT_DECAY))
    return light, tmin_next + (dusk - tmin_next) * left


def hours_of_days(site: Site, days_of_year: Array, tmax: Array, tmin: Array, late: Array) -> Array:
    """Air of each hour of days in a row.

    Equation: `day_shape`; before dawn the night of the day before, on the first day its own. Args: site;
    days_of_year (days,); tmax, tmin (members, days) [C]; late (members,) [h], the warmest moment after noon.
    Returns: [C], (members, days, 24). Valid range: highs above lows. Source: Parton and Logan 1981.

    >>> here, two = Site(-3.4, 45.0, 1690.0, 3.0), np.array([[24.0, 22.0]])
    >>> hours_of_days(here, np.array([120.0, 121.0]), two, two - 9.0, np.array([1.3])).shape
    (1, 2, 24)
    """
    rises, lengths = zip(*(solar_day(site, float(d)) for d in days_of_year), strict=True)
    rise, length = np.array(rises)[None, :, None], np.array(lengths)[None, :, None]
    after = np.concatenate([tmin[:, 1:], tmin[:, -1:]], axis=1)
    light, dark = day_shape(
        rise, length, late[:, None, None], tmax[:, :, None], tmin[:, :, None], after[:, :, None]
    )
    own = day_shape(rise, length, late[:, None, None], tmax[:, :, None], tmin[:, :, None], tmin[:, :, None])[
        1
    ]
    evening = np.concatenate([own[:, :1], dark[:, :-1]], axis=1)
    early, lit = rise + AFTER_SUNRISE_H > HOURS, rise + length > HOURS
    return np.asarray(np.where(early, evening, np.where(lit, light, dark)))
