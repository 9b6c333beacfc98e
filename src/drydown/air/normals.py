"""Hourly weather from twelve lines of monthly normals: rain, temperature, humidity, sun, wind.

A daily generator (wet and dry days as a two-state chain, gamma rain amounts, correlated
residuals of temperature and sun), then an hourly shape for each day. Seeded by date: the same
seed gives the same weather on the same date, from whatever day and however far one looks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import dew_point_c, saturation_pressure_pa
from drydown.air.series import HourlyWeather, Site
from drydown.air.sun import (
    clear_sky_days_wm2,
    daylight_hours,
    extraterrestrial_mj_m2,
    ghi_from_sunshine_mj_m2,
    ghi_from_temperatures_mj_m2,
    sky_longwave_wm2,
)
from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["MonthNormals", "generate", "month_sun_kwh", "residuals", "wet_day_chances"]

Array = NDArray[np.float64]

# Residuals x(d) = A x(d-1) + B e for Tmax, Tmin and sun: averages of 31 US stations, as read
# in an open watershed model's source (column-major there). Not fitted for the tropics.
RESIDUAL_A = np.array([[0.567, 0.086, -0.002], [0.253, 0.504, -0.050], [-0.006, -0.039, 0.244]])
RESIDUAL_B = np.array([[0.781, 0.0, 0.0], [0.328, 0.637, 0.0], [0.238, -0.341, 0.873]])
SPREAD_TMAX_C = 1.5
SPREAD_TMIN_C = 1.0
SPREAD_SUN = 0.22
WET_SUN = 0.72
WET_COOLER_C = 1.2
# The five numbers above are own estimates for tropical highlands.
SETTLE_DAYS = 20
"""Days drawn before the first one, after which rain and residuals no longer depend on where they began."""


@dataclass(frozen=True, slots=True)
class MonthNormals:
    """Long-term means of one calendar month.

    tmax_c, tmin_c [C]; rh mean [fraction]; rain_mm [mm in the month]; rain_days [days with
    rain]; wind_ms [m/s at 10 m]; ghi_kwh_m2 [kWh/(m2 day)] or sunshine_h [h/day], or neither.
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


def wet_day_chances(rain_days: float, days_in_month: float) -> tuple[float, float]:
    """Chances of rain after a dry day and after a wet day.

    Equation: P(W|D) = 0.75 f, P(W|W) = 0.25 + 0.75 f, f the wet share; keeps f in the long run.
    Args: rain_days, days_in_month [days]. Returns: (P(W|D), P(W|W)) [fractions].
    Valid range: 0 <= f <= 1. Source: Geng et al. 1986 (constants from memory).

    >>> after_dry, after_wet = wet_day_chances(15.0, 30.0)
    >>> after_wet > after_dry
    True
    """
    f = min(rain_days / days_in_month, 1.0)
    return 0.75 * f, 0.25 + 0.75 * f


def residuals(shocks: Array) -> Array:
    """Daily residuals of Tmax, Tmin and sun, each near zero mean and unit variance.

    Equation: x(d) = A x(d-1) + B e. Args: shocks e, standard normal, (members, days, 3), from
    SETTLE_DAYS before the first day wanted. Returns: [-] (members, days - SETTLE_DAYS, 3).
    Valid range: more than SETTLE_DAYS days. Source: Richardson generator, constants as in the module.

    >>> residuals(np.zeros((2, SETTLE_DAYS + 5, 3))).shape
    (2, 5, 3)
    """
    x = np.zeros((shocks.shape[0], 3))
    out = np.empty((shocks.shape[0], shocks.shape[1] - SETTLE_DAYS, 3))
    for d in range(shocks.shape[1]):
        x = x @ RESIDUAL_A.T + shocks[:, d] @ RESIDUAL_B.T
        if d >= SETTLE_DAYS:
            out[:, d - SETTLE_DAYS] = x
    return out


def _by_date(
    seed: int, what: int, first: date, days: int, draw: Callable[[np.random.Generator, int], Array]
) -> Array:
    """What is drawn for each day, (members, days, ...), each from a stream of its own date.

    The same date gives the same draws whatever the start, the horizon and the number of members.
    """
    start = first.toordinal()
    return np.stack([draw(np.random.default_rng([seed, what, start + d]), d) for d in range(days)], axis=1)


def generate(
    site: Site,
    normals: tuple[MonthNormals, ...],
    start: datetime,
    hours: int,
    members: int,
    seed: int,
) -> HourlyWeather:
    """`members` independent futures of hourly weather from `start`.

    A member has one weather: two lots, or two horizons, see the same on the same date.

    Args: site; twelve normals, January first; start (aware); hours; members; seed.
    Returns: `HourlyWeather`, shape (members, hours).
    Valid range: up to 400 days and 5000 members. Monthly means of the normals are kept.
    Source: Richardson-type generator; Geng et al. 1986 for rain; hourly shapes are our own.

    >>> from datetime import datetime, timezone
    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> made = generate(here, (month,) * 12, datetime(2026, 5, 4, tzinfo=timezone.utc), 48, 3, seed=1)
    >>> made.temp_c.shape
    (3, 48)
    """
    if len(normals) != 12:
        raise InputError(say("twelve months of normals are needed, got {normals}.", normals=len(normals)))
    if not (0 < hours <= 9600 and 0 < members <= 5000):
        raise RangeError(
            say(
                "hours must be 1 to 9600 and members 1 to 5000: {hours}, {members}.",
                hours=hours,
                members=members,
            )
        )
    local = start.astimezone(site.zone).replace(tzinfo=None)
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
    skip = int((local - midnight) / timedelta(hours=1))
    days = (skip + hours + 23) // 24 + 1
    first = midnight.date() - timedelta(days=SETTLE_DAYS)
    months = np.array([(first + timedelta(days=d)).month - 1 for d in range(days + SETTLE_DAYS)])
    daily = _daily(site, normals, _Calendar(seed, first, months, members))
    whole = _hourly(site, daily, months[SETTLE_DAYS:])
    cut = {key: values[:, skip : skip + hours].copy() for key, values in whole.items()}
    return HourlyWeather.of(site, start, cut)


@dataclass(frozen=True, slots=True)
class _Daily:
    """Daily values, each (members, days)."""

    tmax_c: Array
    tmin_c: Array
    clearness: Array
    rain_mm: Array
    rain_from_h: Array
    wind_ms: Array
    vapour_pa: Array


@dataclass(frozen=True, slots=True)
class _Calendar:
    """Days to draw for, SETTLE_DAYS before the first one wanted included."""

    seed: int
    first: date
    months: NDArray[np.int64]
    members: int

    def draw(self, what: int, one: Callable[[np.random.Generator, int], Array]) -> Array:
        """One quantity for every day."""
        return _by_date(self.seed, what, self.first, self.months.size, one)


def _daily(site: Site, normals: tuple[MonthNormals, ...], days: _Calendar) -> _Daily:
    n, months = days.members, days.months[SETTLE_DAYS:]
    wet, rain = _rain(normals, days)
    x = residuals(days.draw(0, lambda rng, _d: rng.standard_normal((n, 3))))
    share = np.array([n.rain_days / 30.4 for n in normals])[months]
    cooler = WET_COOLER_C * (share - wet)
    tmax = np.array([n.tmax_c for n in normals])[months] + cooler + SPREAD_TMAX_C * x[:, :, 0]
    tmin = np.array([n.tmin_c for n in normals])[months] + SPREAD_TMIN_C * x[:, :, 1]
    tmin = np.minimum(tmin, tmax - 1.0)
    mean_k = _clearness_means(site, normals)[months]
    dry_k = mean_k / (1.0 - share + share * WET_SUN)
    k = np.where(wet, WET_SUN * dry_k, dry_k) * (1.0 + SPREAD_SUN * x[:, :, 2])
    windy = days.draw(1, lambda rng, _d: rng.lognormal(-0.045, 0.3, n))[:, SETTLE_DAYS:]
    wind = np.array([n.wind_ms for n in normals])[months] * windy
    vapour = np.array([_vapour_mean(n) for n in normals])[months]
    moist = days.draw(2, lambda rng, _d: rng.standard_normal(n))[:, SETTLE_DAYS:]
    vapour = vapour * (1.0 + 0.04 * (wet - share) + 0.05 * moist)
    begin = days.draw(3, lambda rng, _d: rng.normal(15.5, 3.5, n))[:, SETTLE_DAYS:]
    return _Daily(tmax, tmin, np.clip(k, 0.10, 1.05), rain, begin, wind, vapour)


def _rain(normals: tuple[MonthNormals, ...], days: _Calendar) -> tuple[Array, Array]:
    """Wet days and their rain, (members, days), after SETTLE_DAYS in which the start is forgotten."""
    months, n = days.months, days.members
    chances = np.array([wet_day_chances(n.rain_days, 30.4) for n in normals])[months]
    mean = np.array([n.rain_mm / max(n.rain_days, 1e-9) for n in normals])[months]
    scale = np.maximum(-2.16 + 1.83 * mean, 0.4 * mean + 1e-9)
    draws = days.draw(4, lambda rng, _d: rng.random(n))
    wet = np.zeros((n, months.size))
    before = draws[:, 0] < np.array([n.rain_days for n in normals])[months[0]] / 30.4
    for d in range(months.size):
        before = draws[:, d] < np.where(before, chances[d, 1], chances[d, 0])
        wet[:, d] = before
    shape = mean / scale + 1e-9
    amount = days.draw(5, lambda rng, d: rng.gamma(shape[d], scale[d], n))
    return wet[:, SETTLE_DAYS:], np.minimum(wet * amount, 150.0)[:, SETTLE_DAYS:]


def _clearness_means(site: Site, normals: tuple[MonthNormals, ...]) -> Array:
    """Mean share of clear-sky sun in each month."""
    clear = clear_sky_days_wm2(
        site.latitude_deg, site.longitude_deg, site.elevation_m, site.utc_offset_h
    ).sum(axis=1)
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


def _vapour_mean(n: MonthNormals) -> float:
    """Vapour pressure whose hourly relative humidity averages to the month's, Pa."""
    hour = np.arange(24, dtype=np.float64) + 0.5
    temp = _temperature(np.full(24, n.tmax_c), np.full(24, n.tmin_c), np.full(24, n.tmin_c), hour)
    saturation = saturation_pressure_pa(temp)
    low, high = 1.0, float(saturation.max())
    for _ in range(60):
        middle = 0.5 * (low + high)
        mean = float(np.minimum(middle / saturation, 1.0).mean())
        low, high = (middle, high) if mean < n.rh else (low, middle)
    return middle


def _temperature(tmax: Array, tmin: Array, tmin_next: Array, hour: Array) -> Array:
    """Half cosines from the minimum at 06:00 up to the maximum at 14:00 and down again."""
    rising = tmin + (tmax - tmin) * 0.5 * (1.0 - np.cos(np.pi * (hour - 6.0) / 8.0))
    fall = (hour - 14.0) / 16.0
    falling = tmin_next + (tmax - tmin_next) * 0.5 * (1.0 + np.cos(np.pi * fall))
    night = (hour + 10.0) / 16.0
    early = tmin + (tmax - tmin) * 0.5 * (1.0 + np.cos(np.pi * night))
    return np.where(hour < 6.0, early, np.where(hour < 14.0, rising, falling))


def _hourly(site: Site, daily: _Daily, months: NDArray[np.int64]) -> dict[str, Array]:
    members, days = daily.tmax_c.shape
    hour: Array = (np.arange(24, dtype=np.float64) + 0.5)[np.newaxis, np.newaxis, :]
    after = np.concatenate([daily.tmin_c[:, 1:], daily.tmin_c[:, -1:]], axis=1)
    temp = _temperature(daily.tmax_c[:, :, None], daily.tmin_c[:, :, None], after[:, :, None], hour)
    rain = _rain_hours(daily.rain_mm, daily.rain_from_h)
    rh = np.minimum(daily.vapour_pa[:, :, None] / saturation_pressure_pa(temp), 1.0)
    rh = np.clip(np.where(rain > 0.1, np.maximum(rh, 0.92), rh), 0.05, 1.0)
    clear = clear_sky_days_wm2(site.latitude_deg, site.longitude_deg, site.elevation_m, site.utc_offset_h)[
        months
    ]
    ghi = np.minimum(daily.clearness[:, :, None] * clear[np.newaxis], 1450.0)
    wind = daily.wind_ms[:, :, None] * (1.0 + 0.6 * np.cos(2.0 * np.pi * (hour - 14.0) / 24.0))
    cloud = np.clip((1.0 - daily.clearness) / 0.75, 0.0, 1.0)[:, :, None]
    flat = {"temp_c": np.clip(temp, -29.0, 54.0), "rh": rh, "ghi_wm2": ghi}
    flat |= {"wind_ms": np.minimum(wind, 44.0), "rain_mm": rain}
    flat["sky_wm2"] = sky_longwave_wm2(temp, dew_point_c(flat["temp_c"], rh), hour, cloud)
    return {key: v.reshape(members, days * 24) for key, v in flat.items()}


def _rain_hours(rain_mm: Array, from_h: Array) -> Array:
    """Spread each day's rain over a block of hours, most often in the afternoon."""
    begin = np.clip(from_h, 0.0, 22.0)
    length = np.clip(1.0 + rain_mm / 6.0, 1.0, 9.0)
    hour = np.arange(24)[np.newaxis, np.newaxis, :]
    inside = (hour >= np.floor(begin)[:, :, None]) & (hour < np.floor(begin + length)[:, :, None] + 1)
    return np.asarray(inside * (rain_mm / inside.sum(axis=2))[:, :, None])
