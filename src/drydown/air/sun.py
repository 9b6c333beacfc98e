"""Sun and sky: daily radiation from little data, clear sky by the hour, long-wave from the sky."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.units import STEFAN_BOLTZMANN, ZERO_C_K
from drydown.words import say

__all__ = [
    "clear_sky_days_wm2",
    "cloud_of_clearness",
    "daylight_hours",
    "extraterrestrial_mj_m2",
    "ghi_from_sunshine_mj_m2",
    "ghi_from_temperatures_mj_m2",
    "sky_longwave_wm2",
    "sun_position",
    "swinbank_sky_c",
]

Array = NDArray[np.float64]
SOLAR_CONSTANT_MJ = 0.0820

CLOUD_FACTOR = 0.784
"""Share of what the clear sky lacks that a whole cover of cloud gives back."""
CLOUD_TAKES = 0.75
"""Share of the clear sky's sun that a whole cover of cloud takes, own estimate."""


def _declination(day_of_year: float | Array) -> Array:
    return np.asarray(0.409 * np.sin(2.0 * np.pi * np.asarray(day_of_year) / 365.0 - 1.39))


def _sunset_angle(latitude_deg: float, declination: Array) -> Array:
    if not -66.0 <= latitude_deg <= 66.0:
        raise RangeError(
            say("latitude must be from -66 to 66 degrees, got {latitude_deg:g}.", latitude_deg=latitude_deg)
        )
    cosine = np.clip(-np.tan(np.radians(latitude_deg)) * np.tan(declination), -1.0, 1.0)
    return np.asarray(np.arccos(cosine))


def extraterrestrial_mj_m2(latitude_deg: float, day_of_year: float | Array) -> Array:
    """Daily radiation above the atmosphere on a level surface.

    Equation: Ra = 24 60/pi Gsc dr [ws sin f sin d + cos f cos d sin ws].
    Args: latitude_deg [deg, north positive]; day_of_year [1-366]. Returns: [MJ/(m2 day)].
    Valid range: latitudes to 66 degrees. Source: FAO-56 eq. 21.

    >>> round(float(extraterrestrial_mj_m2(-20.0, 246)), 1)
    32.2
    """
    doy = np.asarray(day_of_year, dtype=float)
    d, f = _declination(doy), np.radians(latitude_deg)
    ws = _sunset_angle(latitude_deg, d)
    dr = 1.0 + 0.033 * np.cos(2.0 * np.pi * doy / 365.0)
    arc = ws * np.sin(f) * np.sin(d) + np.cos(f) * np.cos(d) * np.sin(ws)
    return np.asarray(24.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ * dr * arc)


def daylight_hours(latitude_deg: float, day_of_year: float | Array) -> Array:
    """Hours from sunrise to sunset.

    Equation: N = 24 ws / pi. Args: latitude_deg [deg]; day_of_year [1-366]. Returns: [h].
    Valid range: latitudes to 66 degrees. Source: FAO-56 eq. 34 (example 9: 11.7 h).

    >>> round(float(daylight_hours(-20.0, 246)), 1)
    11.7
    """
    return np.asarray(24.0 / np.pi * _sunset_angle(latitude_deg, _declination(day_of_year)))


def ghi_from_sunshine_mj_m2(sunshine_h: float, daylight_h: float, ra_mj_m2: float) -> float:
    """Daily sun on level ground from hours of bright sunshine.

    Equation: Rs = (0.25 + 0.50 n/N) Ra.
    Args: sunshine_h, daylight_h [h]; ra_mj_m2 [MJ/(m2 day)]. Returns: [MJ/(m2 day)].
    Valid range: 0 <= n <= N. Source: FAO-56 eq. 35 (example 10: 14.45).

    >>> round(ghi_from_sunshine_mj_m2(7.1, 10.9, 25.1), 1)
    14.4
    """
    if not 0.0 <= sunshine_h <= daylight_h + 0.05:
        raise RangeError(
            say(
                "sunshine hours must be from 0 to the daylight of {daylight_h:.1f} h, got {sunshine_h:g}.",
                daylight_h=daylight_h,
                sunshine_h=sunshine_h,
            )
        )
    return (0.25 + 0.50 * sunshine_h / daylight_h) * ra_mj_m2


def ghi_from_temperatures_mj_m2(tmax_c: float, tmin_c: float, ra_mj_m2: float) -> float:
    """Daily sun on level ground from the day's temperature range; a last resort, inland.

    Equation: Rs = 0.16 sqrt(Tmax - Tmin) Ra.
    Args: tmax_c, tmin_c [C]; ra_mj_m2 [MJ/(m2 day)]. Returns: [MJ/(m2 day)].
    Valid range: Tmax above Tmin; weekly or longer means. Source: FAO-56 eq. 50 (example 15: 22.3).

    >>> round(ghi_from_temperatures_mj_m2(26.6, 14.8, 40.6), 1)
    22.3
    """
    if tmax_c <= tmin_c:
        raise RangeError(
            say("tmax_c {tmax_c:g} must be above tmin_c {tmin_c:g}.", tmax_c=tmax_c, tmin_c=tmin_c)
        )
    return float(0.16 * np.sqrt(tmax_c - tmin_c) * ra_mj_m2)


def sky_longwave_wm2(
    temp_c: float | Array, dew_c: float | Array, hour: float | Array, cloud: float | Array, pressure_pa: float
) -> Array:
    """Long-wave radiation from the sky on level ground.

    Equation: e0 = 0.711 + 0.0056 Td + 7.3e-5 Td2 + 0.013 cos(2 pi t/24) + 0.00012 (P/100 - 1000);
    e = e0 + 0.784 (1 - e0) N; L = e sigma T4.
    Args: temp_c, dew_c [C]; hour [local hours from midnight]; cloud [fraction of sky]; pressure_pa [Pa].
    Returns: [W/m2]. Valid range: dew points -20 to 30 C. A recalibration of 2017 lies 14 to 18 W/m2 higher
    in clear air (second-hand): good to some 15 W/m2.
    Source: Berdahl and Martin 1984 as in open code of building energy; cloud factor of a compliance manual of
    2013, that of clouds at 2 km (0.94 at 0.5 km, from memory).

    >>> round(float(sky_longwave_wm2(20.0, 10.0, 12.0, 0.0, 101325.0)))
    319
    """
    td = np.asarray(dew_c, dtype=float)
    clear = 0.711 + 0.0056 * td + 7.3e-5 * td**2
    clear = (
        clear
        + 0.013 * np.cos(2.0 * np.pi * np.asarray(hour) / 24.0)
        + 0.00012 * (pressure_pa / 100.0 - 1000.0)
    )
    emissivity = np.minimum(clear + CLOUD_FACTOR * (1.0 - clear) * np.asarray(cloud), 1.0)
    kelvin = np.asarray(temp_c, dtype=float) + ZERO_C_K
    return np.asarray(emissivity * STEFAN_BOLTZMANN * kelvin**4)


def cloud_of_clearness(clearness: float | Array) -> Array:
    """Cover of cloud that a day's sun tells of.

    Equation: N = (1 - k)/0.75, from 0 to 1. Args: clearness k, the day's sun over the clear sky's [-].
    Returns: [fraction of sky]. Valid range: any. Source: own estimate.

    >>> round(float(cloud_of_clearness(0.7)), 3)
    0.4
    """
    return np.asarray(np.clip((1.0 - np.asarray(clearness)) / CLOUD_TAKES, 0.0, 1.0))


def swinbank_sky_c(temp_c: float | Array) -> Array:
    """Clear-sky temperature from air temperature alone; a cross-check for `sky_longwave_wm2`.

    Equation: Tsky = 0.0552 Ta^1.5, kelvin. Args: temp_c [C]. Returns: [C].
    Valid range: 0 to 40 C; 20 C gives 276.9 K, always colder than the air.
    Source: Swinbank (as printed on conference pages).

    >>> round(float(swinbank_sky_c(20.0)), 1)
    3.9
    """
    return np.asarray(0.0552 * (np.asarray(temp_c, dtype=float) + ZERO_C_K) ** 1.5 - ZERO_C_K)


def sun_position(times_utc: Any, latitude_deg: float, longitude_deg: float) -> tuple[Array, Array]:
    """Zenith and azimuth of the sun, by pvlib's NREL solar position algorithm.

    Args: times_utc (aware datetimes or a pandas index) ; latitude_deg, longitude_deg [deg].
    Returns: apparent zenith and azimuth [deg], shape of the times.
    Valid range: years 1900 to 2100. Source: Reda and Andreas 2004, in pvlib.

    >>> import pandas
    >>> zenith, _noon = sun_position(pandas.DatetimeIndex(["2026-03-20 12:07"], tz="UTC"), 0.0, 0.0)
    >>> bool(zenith[0] < 1.0)
    True
    """
    import pandas as pd  # noqa: PLC0415 (heavy; only where the sun is asked for)
    from pvlib import solarposition  # noqa: PLC0415

    found = solarposition.get_solarposition(pd.DatetimeIndex(times_utc), latitude_deg, longitude_deg)
    return found["apparent_zenith"].to_numpy(), found["azimuth"].to_numpy()


@lru_cache(maxsize=64)
def clear_sky_days_wm2(
    latitude_deg: float, longitude_deg: float, elevation_m: float, utc_offset_h: float
) -> Array:
    """Clear-sky sun on level ground, hour means for the middle day of each month.

    Args: latitude_deg, longitude_deg [deg]; elevation_m [m]; utc_offset_h [h] of local
    standard time. Returns: [W/m2], shape (12, 24): month, hour of the local day.
    Valid range: any inhabited place; two clear-sky models differ by up to 12 %.
    Source: Ineichen and Perez clear sky with monthly Linke turbidity, in pvlib.
    """
    import pandas as pd  # noqa: PLC0415
    from pvlib.location import Location  # noqa: PLC0415

    steps = 4
    days = [pd.Timestamp(year=2021, month=m, day=15, tz="UTC") for m in range(1, 13)]
    offset = pd.Timedelta(hours=-utc_offset_h) + pd.Timedelta(minutes=30 / steps)
    spacing = pd.Timedelta(minutes=60 / steps)
    index = pd.DatetimeIndex([d + offset + i * spacing for d in days for i in range(24 * steps)])
    place = Location(latitude_deg, longitude_deg, altitude=elevation_m)
    sky = place.get_clearsky(index, model="ineichen")["ghi"].to_numpy()
    hours = sky.reshape(12, 24, steps).mean(axis=2)
    hours.setflags(write=False)
    return np.asarray(hours)
