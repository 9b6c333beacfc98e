"""Hourly weather from twelve lines of monthly normals, as alike to measured weather as the normals allow.

A day: rain as a two-state chain with gamma amounts; highs, lows, sun, vapour and wind as residuals that hang
together and remember the day before (Richardson 1981); slow monthly swings. An hour: temperature on solar
time (Parton and Logan 1981), rain in showers about the usual hour, sun cut while it rains, gusty wind. What
the normals do not tell of a place (`climate.toml`) is drawn per member or is the station's own. Seeded by
date: the same seed gives the same weather on the same date, from whatever day and however far one looks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, ndtr

from drydown.air.climate import climate_of, sun_spread_at
from drydown.air.hours import hourly
from drydown.air.normals import WET_MM, MonthNormals, clearness_means, vapour_mean
from drydown.air.series import HourlyWeather, Site
from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["LAG", "TOGETHER", "Daily", "generate", "shocks_of"]

Array = NDArray[np.float64]
SETTLE_DAYS = 20
"""Days drawn before the first one, after which chain and residuals no longer depend on where they began."""
LAG = np.array([0.50, 0.56, 0.34, 0.78, 0.60])
"""How highs, lows, sun, vapour and wind remember the day before: medians of six stations (`climate.toml`)."""
TOGETHER = np.array(
    [
        [1.00, 0.08, 0.72, -0.10, 0.00],
        [0.08, 1.00, -0.18, 0.50, 0.00],
        [0.72, -0.18, 1.00, -0.28, 0.05],
        [-0.10, 0.50, -0.28, 1.00, -0.05],
        [0.00, 0.00, 0.05, -0.05, 1.00],
    ]
)
"""How they hang together on one day, wet and dry days apart: the same stations."""
WET_COOLER_C, WET_MOIST = 1.0, 0.03
LEAST_K, MOST_K = 0.06, 1.05
CALM, SUNNY, GUSTS, SHOWERS = 9, 33, 57, 81
"""Columns of a day's shocks: five residuals, wet, amount, hour, width of rain; 24 each of sun, wind, rain."""


@dataclass(frozen=True, slots=True)
class Daily:
    """Daily values, each (members, days); shocks (members, days, SHOWERS) for the hours."""

    tmax_c: Array
    tmin_c: Array
    clearness: Array
    rain_mm: Array
    wind_ms: Array
    vapour_pa: Array
    shocks: Array


def generate(
    site: Site,
    normals: tuple[MonthNormals, ...],
    start: datetime,
    hours: int,
    members: int,
    seed: int,
    known: Mapping[str, float] | None = None,
) -> HourlyWeather:
    """`members` independent futures of hourly weather from `start`.

    A member has one weather: two lots, or two horizons, see the same on the same date.

    Args: site; twelve normals, January first; start (aware); hours; members; seed; known, what the station
    knows of its climate by name (`climate.py`), beside what the site itself carries. Returns:
    `HourlyWeather`, shape (members, hours).
    Valid range: up to 400 days and 5000 members. Monthly means of the normals are kept.
    Source: Richardson 1981; Parton and Logan 1981; constants of `climate.toml`; docs/weather-files.md.

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
    skip = (
        int((local - midnight) / timedelta(hours=1)) + 24
    )  # a day before, whose evening the first night ends
    days = (skip + hours + 23) // 24 + 1
    first = midnight.date() - timedelta(days=SETTLE_DAYS + 1)
    dates = [first + timedelta(days=d) for d in range(days + SETTLE_DAYS)]
    climate = climate_of(site, dict(site.climate) | dict(known or {}), members, seed)
    daily = _daily(site, normals, dates, climate, shocks_of(seed, first, len(dates), members), seed)
    whole = hourly(site, daily, dates[SETTLE_DAYS:], climate)
    cut = {key: values[:, skip : skip + hours].copy() for key, values in whole.items()}
    return HourlyWeather.of(site, start, cut)


def shocks_of(seed: int, first: date, days: int, members: int) -> Array:
    """Standard normal shocks of every day, (members, days, SHOWERS), each day from a stream of its own date.

    The same date gives the same shocks whatever the start, the horizon and the number of members.
    Args: seed; first day; days, members [count]. Returns: [-]. Valid range: any. Source: definition.

    >>> a, b = (shocks_of(1, date(2026, 5, 4), 3, n) for n in (2, 5))
    >>> bool((a == b[:2]).all())
    True
    """
    start = first.toordinal()
    rows = [np.random.default_rng([seed, start + d]).standard_normal((members, SHOWERS)) for d in range(days)]
    return np.stack(rows, axis=1)


def _residuals(shocks: Array) -> Array:
    """Residuals of highs, lows, sun, vapour and wind, (members, days, 5), near zero mean and unit variance.

    x(d) = lag x(d-1) + L e with L L' = R - lag R lag, so that R stays what hangs together (Richardson 1981).
    """
    noise = np.linalg.cholesky(TOGETHER - LAG[:, None] * TOGETHER * LAG[None, :])
    driven = shocks @ noise.T
    x, out = np.zeros((shocks.shape[0], LAG.size)), np.empty_like(driven)
    for d in range(shocks.shape[1]):
        x = LAG * x + driven[:, d]
        out[:, d] = x
    return out


def _daily(
    site: Site,
    normals: tuple[MonthNormals, ...],
    dates: list[date],
    climate: dict[str, Array],
    shocks: Array,
    seed: int,
) -> Daily:
    months = np.array([d.month - 1 for d in dates])
    wet, rain = _rain(normals, months, climate, shocks)
    x = _residuals(shocks[:, :, : LAG.size])
    slow_sun, slow_heat = _slow(seed, dates, shocks.shape[0])

    def of(name: str) -> Array:
        values: Array = np.array([float(getattr(n, name)) for n in normals], dtype=np.float64)
        return np.asarray(values[months])

    share = of("rain_days") / 30.4
    cooler = WET_COOLER_C * (share - wet) + climate["odd_heat_c"][:, None] * slow_heat
    tmax = of("tmax_c") + cooler + climate["high_spread_c"][:, None] * x[:, :, 0]
    tmin = of("tmin_c") + 0.5 * cooler + climate["low_spread_c"][:, None] * x[:, :, 1]
    tmin = np.minimum(tmin, tmax - 1.0)
    by_month = clearness_means(site, normals)
    shares = np.array([n.rain_days / 30.4 for n in normals])
    wet_sun = climate["wet_sun"][:, None]
    dry_k = _dry_clearness(by_month, shares, climate)[:, months]
    spread = sun_spread_at(by_month, climate["sun_spread"][:, None])[:, months]
    k = np.where(wet, wet_sun * dry_k, dry_k) * (1.0 + spread * x[:, :, 2])
    k = k * (1.0 + climate["odd_sun"][:, None] * slow_sun)
    gust = climate["wind_spread"][:, None]
    wind = of("wind_ms") * np.exp(gust * x[:, :, 4] - 0.5 * gust**2)
    moist = np.array([vapour_mean(site, m, n) for m, n in enumerate(normals)])[months]
    vapour = moist * (1.0 + WET_MOIST * (wet - share) + climate["vapour_spread"][:, None] * x[:, :, 3])
    cut = slice(SETTLE_DAYS, None)
    return Daily(
        tmax[:, cut], tmin[:, cut], np.clip(k, LEAST_K, MOST_K)[:, cut], rain[:, cut], wind[:, cut],
        vapour[:, cut], shocks[:, cut],
    )  # fmt: skip


def _dry_clearness(mean_k: Array, share: Array, climate: dict[str, Array]) -> Array:
    """Clearness of the mean dry day, (members, months), so that all days keep the month's mean.

    No day is clearer than MOST_K: what that cuts off is given back by three steps of a fixed point, the
    expectation taken over nine points of the normal (Gauss and Hermite).
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    weights = weights / weights.sum()
    wet_sun, spread = climate["wet_sun"][:, None], sun_spread_at(mean_k, climate["sun_spread"][:, None])
    dry = mean_k / (1.0 - share + share * wet_sun)
    for _step in range(3):
        kept = np.zeros_like(dry)
        for x, w in zip(nodes, weights, strict=True):
            for part, level in ((1.0 - share, dry), (share, dry * wet_sun)):
                kept += w * part * np.clip(level * (1.0 + spread * x), LEAST_K, MOST_K)
        dry = dry * np.minimum(mean_k / kept, 1.3)
    return dry


def _rain(
    normals: tuple[MonthNormals, ...], months: NDArray[np.int64], climate: dict[str, Array], shocks: Array
) -> tuple[Array, Array]:
    """Wet days (1 mm and more) and their rain, (members, days).

    Chain: P(W|D) = f (1 - r), P(W|W) = f + r (1 - f). Rain: 1 mm and a gamma amount above it.
    """
    f = np.minimum(np.array([n.rain_days for n in normals]) / 30.4, 1.0)[months]
    stays = climate["rain_persistence"]
    u = ndtr(shocks[:, :, 5])
    wet = np.zeros(u.shape, dtype=bool)
    before = u[:, 0] < f[0]
    for d in range(months.size):
        before = u[:, d] < np.where(before, f[d] + stays * (1.0 - f[d]), f[d] * (1.0 - stays))
        wet[:, d] = before
    mean = np.array([n.rain_mm / max(n.rain_days, 1e-9) for n in normals])[months]
    above = np.maximum(mean - WET_MM, 0.2 * mean + 1e-9)
    least = np.maximum(mean - above, 0.0)
    spread = climate["rain_spread"][:, None] * mean
    shape = np.clip((above / np.maximum(spread, 1e-9)) ** 2, 0.05, 50.0)
    amount = np.zeros(u.shape)
    at = wet.nonzero()
    drawn = gammaincinv(shape[at], np.clip(ndtr(shocks[:, :, 6][at]), 1e-6, 1.0 - 1e-6))
    amount[at] = (np.broadcast_to(least, u.shape)[at]) + drawn * (
        np.broadcast_to(above, u.shape)[at] / shape[at]
    )
    return wet.astype(float), np.minimum(amount, 180.0)


def _slow(seed: int, dates: list[date], members: int) -> tuple[Array, Array]:
    """Slow swings of sun and heat, (members, days) each, unit variance: lines between months' middles."""
    first, last = dates[0], dates[-1]
    months = range(first.year * 12 + first.month - 2, last.year * 12 + last.month + 1)
    drawn = np.stack(
        [np.random.default_rng([seed, 91, m]).standard_normal((members, 2)) for m in months], axis=1
    )
    middle = np.array([date(m // 12, m % 12 + 1, 15).toordinal() for m in months], dtype=float)
    days = np.array([d.toordinal() for d in dates], dtype=float)
    after = np.clip(np.searchsorted(middle, days), 1, middle.size - 1)
    part = (days - middle[after - 1]) / (middle[after] - middle[after - 1])
    lines = drawn[:, after - 1] * (1.0 - part)[None, :, None] + drawn[:, after] * part[None, :, None]
    lines /= np.sqrt((1.0 - part) ** 2 + part**2)[None, :, None]
    return lines[:, :, 0], lines[:, :, 1]
