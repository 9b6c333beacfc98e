"""The hours of generated days: temperature on solar time, showers, sun between clouds, gusts."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from drydown.air.dayshape import HOURS, hours_of_days
from drydown.air.moist import magnus_dew_c, saturation_pressure_pa
from drydown.air.normals import WET_RH
from drydown.air.series import Site
from drydown.air.sun import cloud_of_clearness, sky_longwave_wm2

if TYPE_CHECKING:
    from drydown.air.generator import Daily

__all__ = ["hourly"]

Array = NDArray[np.float64]
SUN_NOISE, GUST, GUST_LAG, SHOWER_NOISE = 0.35, 0.30, 0.5, 1.25
NOON_DRY = 0.035
"""Share by which vapour falls towards noon, when the air mixes deeper: two hourly stations."""
MOST_SUN = 1.10
HOUR_SPREAD_H = 4.5
"""How far a day's rain lies from the usual hour, own estimate with two hourly stations."""
LEAST_MM = 0.1


def _showers(daily: Daily, climate: dict[str, Array]) -> Array:
    """A wet day's rain over its hours, (members, days, 24), about a usual hour."""
    shocks = daily.shocks
    at = climate["rain_usual_h"][:, None] + HOUR_SPREAD_H * shocks[:, :, 7]
    width = climate["rain_width_h"][:, None] * np.exp(0.35 * shocks[:, :, 8])
    away = np.abs(HOURS - at[:, :, None]) % 24.0
    away = np.minimum(away, 24.0 - away)
    weight = np.exp(SHOWER_NOISE * shocks[:, :, 57:81] - 0.5 * (away / width[:, :, None]) ** 2)
    share = weight / weight.sum(axis=2, keepdims=True)
    rain = share * daily.rain_mm[:, :, None]
    rain = np.where(rain < LEAST_MM, 0.0, rain)
    kept = rain.sum(axis=2, keepdims=True)
    return np.asarray(np.where(kept > 0.0, rain * daily.rain_mm[:, :, None] / np.maximum(kept, 1e-9), 0.0))


def _sun(site: Site, daily: Daily, dates: list[date], rain: Array, climate: dict[str, Array]) -> Array:
    clear = site.clear_days_wm2[[d.month - 1 for d in dates]][None]
    k = daily.clearness[:, :, None]
    ragged = SUN_NOISE * np.clip((1.0 - k) / 0.35, 0.15, 1.0)
    veiled = np.where(rain > 0.2, climate["rain_sun"][:, None, None], 1.0)
    sun = clear * veiled * np.exp(ragged * daily.shocks[:, :, 9:33])
    wanted = k * clear.sum(axis=2, keepdims=True)
    for _again in range(3):  # what the clear sky caps is given to the day's other hours
        sun = np.minimum(sun * (wanted / np.maximum(sun.sum(axis=2, keepdims=True), 1e-9)), MOST_SUN * clear)
    return np.asarray(sun)


def _wind(daily: Daily, night: Array) -> Array:
    swing = (1.0 - night) / (0.85 * night + 0.80)
    shape = np.maximum(1.0 + swing[:, None, None] * np.cos(2.0 * np.pi * (HOURS - 13.5) / 24.0), 0.05)
    gust, z = np.empty_like(daily.shocks[:, :, 33:57]), daily.shocks[:, :, 33]
    for h in range(24):
        z = GUST_LAG * z + np.sqrt(1.0 - GUST_LAG**2) * daily.shocks[:, :, 33 + h]
        gust[:, :, h] = z
    return np.asarray(daily.wind_ms[:, :, None] * shape * np.exp(GUST * gust - 0.5 * GUST**2))


def hourly(site: Site, daily: Daily, dates: list[date], climate: dict[str, Array]) -> dict[str, Array]:
    """Columns of `HourlyWeather` for whole days, each (members, hours).

    Args: site; daily; dates; climate, name -> (members,). Returns: columns by name. Valid range: any.
    Source: the module; humidity from the day's vapour, at most saturated, 92 % while it rains.

    >>> from drydown.air.normals import MonthNormals
    >>> from datetime import datetime, timezone
    >>> from drydown.air.generator import generate
    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = generate(here, (month,) * 12, datetime(2026, 1, 1, tzinfo=timezone.utc), 24 * 120, 1, 1)
    >>> bool((air.rh <= 1.0).all())
    True
    """
    members, days = daily.tmax_c.shape
    doys = np.array([float(d.timetuple().tm_yday) for d in dates])
    temp = hours_of_days(site, doys, daily.tmax_c, daily.tmin_c, climate["warmest_after_noon_h"])
    temp = np.clip(temp, -29.0, 54.0)
    rain = _showers(daily, climate)
    mixed = 1.0 - NOON_DRY * np.cos(2.0 * np.pi * (HOURS - 13.0) / 24.0)
    rh = np.minimum(daily.vapour_pa[:, :, None] * mixed / saturation_pressure_pa(temp), 1.0)
    rh = np.clip(np.where(rain > 0.2, np.maximum(rh, WET_RH), rh), 0.05, 1.0)
    ghi = np.minimum(_sun(site, daily, dates, rain, climate), 1450.0)
    cloud = cloud_of_clearness(daily.clearness)[:, :, None]
    sky = sky_longwave_wm2(temp, magnus_dew_c(temp, rh), HOURS, cloud, site.pressure_pa)
    flat = {
        "temp_c": temp,
        "rh": rh,
        "ghi_wm2": ghi,
        "wind_ms": np.minimum(_wind(daily, climate["wind_night"]), 44.0),
    }
    flat |= {"rain_mm": rain, "sky_wm2": np.clip(sky, 121.0, 559.0)}
    return {key: v.reshape(members, days * 24) for key, v in flat.items()}
