"""A place's own climate, and its normals, from whatever it has measured: a season of gauge, or years.

Only what the data can tell is learnt; the rest stays a spread (`climate.toml`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.climate import CLIMATE, climate_limits, sun_spread_at
from drydown.air.dayshape import solar_day
from drydown.air.moist import saturation_pressure_pa
from drydown.air.normals import WET_MM, MonthNormals
from drydown.air.series import HourlyWeather, Site
from drydown.errors import InputError
from drydown.tables import table
from drydown.words import say

__all__ = ["Learnt", "WholeDays", "learn", "learn_from", "normals_from"]

Array = NDArray[np.float64]
LEAST_DAYS, LEAST_OF_A_KIND, LEAST_MONTH_DAYS = 60, 20, 15
NOT_TOLD: dict[str, tuple[str, ...]] = {
    "hours made from": ("wind_night", "warmest_after_noon_h", "rain_usual_h", "rain_sun"),
    "humidity not written down": ("vapour_spread",),
    "wind not written down": ("wind_spread", "wind_night"),
    "range of temperature": ("wet_sun", "sun_spread"),
    "rain not written down": ("wet_sun", "rain_persistence", "rain_spread"),
    "no rain_mm column": ("wet_sun", "rain_persistence", "rain_spread"),
}
"""Words of a reader's note, and what was then estimated by us and tells nothing of the place."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """One number of a climate, by how many days it was told."""

    value: float
    days: int


@dataclass(frozen=True, slots=True)
class WholeDays:
    """Whole days, (day, 24) each, with their month 0-11; they need not follow one another."""

    temp: Array
    rh: Array
    sun: Array
    wind: Array
    rain: Array
    clear: Array
    month: NDArray[np.int64]

    @property
    def wet(self) -> NDArray[np.bool_]:
        """Days of 1 mm and more."""
        return np.asarray(self.rain.sum(axis=1) >= WET_MM)


def _days(air: HourlyWeather) -> WholeDays:
    first, skip, days = air.whole_days()
    if days < 1:
        raise InputError("has no whole day.", air.site.name or "the weather")

    def of(name: str) -> Array:
        return np.asarray(getattr(air, name))[0, skip : skip + 24 * days].reshape(days, 24)

    month = np.array([(first + timedelta(days=d)).month - 1 for d in range(days)])
    clear = air.site.clear_days_wm2[month]
    return WholeDays(of("temp_c"), of("rh"), of("ghi_wm2"), of("wind_ms"), of("rain_mm"), clear, month)


def learn(air: HourlyWeather) -> dict[str, Learnt]:
    """What a weather series tells of its climate beyond means, by the names of `climate.py`.

    Equation: wet and dry days apart; residuals from the month's mean; the slow swings of `climate.toml` taken
    off spreads of highs and lows. Args: air, one member; what its notes say was made up by us is not learnt.
    Returns: name -> `Learnt` [h, C, -]; names the data cannot tell are left out. Valid range: 60 days and
    more; each number inside `climate_limits` or left out. Source: the estimators the spreads of
    `climate.toml` were made with.

    >>> from drydown.air.normals import MonthNormals
    >>> from drydown.air.series import Site
    >>> from datetime import datetime, timezone
    >>> from drydown.air.generator import generate
    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = generate(here, (month,) * 12, datetime(2026, 1, 1, tzinfo=timezone.utc), 24 * 120, 1, 1)
    >>> "wet_sun" in learn(air)
    True
    """
    made_up = {
        name for words, names in NOT_TOLD.items() if any(words in n for n in air.notes) for name in names
    }
    return {name: told for name, told in learn_from(_days(air), air.site).items() if name not in made_up}


def learn_from(d: WholeDays, site: Site) -> dict[str, Learnt]:
    """As `learn`, from whole days.

    Equation: as `learn`. Args: d, whole days; site. Returns: name -> `Learnt` [h, C, -].
    Valid range: 60 days. Source: as `learn`.

    >>> flat = np.full((60, 24), 20.0)
    >>> still = WholeDays(flat, flat / 25, flat, flat / 20, 0 * flat, flat + 300, np.zeros(60, dtype=int))
    >>> "wet_sun" in learn_from(still, Site(0.0, 45.0, 0.0, 3.0))
    False
    """
    if d.month.size < LEAST_DAYS:
        raise InputError(
            say("has {days} whole days; {least} are needed.", days=int(d.month.size), least=LEAST_DAYS),
            site.name or "the weather",
        )
    made, limits = {}, climate_limits()
    told: dict[str, Callable[[], float | None]] = {
        "rain_persistence": lambda: _persistence(d), "rain_spread": lambda: _rain_spread(d),
        "rain_usual_h": lambda: _usual_hour(d), "wet_sun": lambda: _wet_sun(d),
        "rain_sun": lambda: _rain_sun(d),
        "sun_spread": lambda: _sun_spread(d), "high_spread_c": lambda: _spread(d.temp.max(axis=1), d),
        "low_spread_c": lambda: _spread(d.temp.min(axis=1), d), "vapour_spread": lambda: _vapour(d),
        "wind_spread": lambda: _wind(d), "wind_night": lambda: _wind_night(d),
        "warmest_after_noon_h": lambda: _warmest(d, site),
    }  # fmt: skip
    for name in CLIMATE:
        value = told[name]() if name in told else None
        low, high = limits[name]
        if value is not None and np.isfinite(value) and low <= value <= high:
            made[name] = Learnt(round(float(value), 3), int(d.month.size))
    return made


def _left(values: Array, month: NDArray[np.int64]) -> Array:
    out = values.astype(float).copy()
    for m in np.unique(month):
        out[month == m] -= out[month == m].mean()
    return out


def _enough(d: WholeDays) -> bool:
    return LEAST_OF_A_KIND <= int(d.wet.sum()) <= d.wet.size - LEAST_OF_A_KIND


def _persistence(d: WholeDays) -> float | None:
    if not _enough(d):
        return None
    x = _left(d.wet.astype(float), d.month)
    r = float((x[1:] * x[:-1]).mean() / (x**2).mean())
    days = d.month.size / np.unique(d.month).size
    return r + (1.0 + 3.0 * r) / days  # what taking off each month's own mean hides (Marriott and Pope 1954)


def _rain_spread(d: WholeDays) -> float | None:
    amount = d.rain.sum(axis=1)[d.wet]
    return float(amount.std() / amount.mean()) if amount.size >= LEAST_OF_A_KIND else None


def _usual_hour(d: WholeDays) -> float | None:
    """Hour about which rain gathers; none where it was put there by us, or falls at all hours."""
    rain = d.rain[d.wet].sum(axis=0)
    if d.wet.sum() < LEAST_OF_A_KIND or (rain > 0).sum() <= 3:
        return None
    turn = np.exp(2j * np.pi * (np.arange(24) + 0.5) / 24.0)
    middle = (rain * turn).sum() / rain.sum()
    return float((np.angle(middle) / (2.0 * np.pi) * 24.0) % 24.0) if abs(middle) > 0.1 else None


def _clearness(d: WholeDays) -> Array:
    return np.asarray(d.sun.sum(axis=1) / d.clear.sum(axis=1))


def _wet_sun(d: WholeDays) -> float | None:
    k = _clearness(d)
    return float(k[d.wet].mean() / k[~d.wet].mean()) if _enough(d) else None


def _rain_sun(d: WholeDays) -> float | None:
    """Sun of rainy hours over that of the same days' dry hours, each over the clear sky."""
    up = d.clear > 200.0
    wet, dry = d.wet[:, None] & up & (d.rain > 0.2), d.wet[:, None] & up & (d.rain <= 0.0)
    if wet.sum() < LEAST_OF_A_KIND or dry.sum() < LEAST_OF_A_KIND:
        return None
    return float(d.sun[wet].sum() / d.clear[wet].sum() / (d.sun[dry].sum() / d.clear[dry].sum()))


def _sun_spread(d: WholeDays) -> float:
    k = _clearness(d)
    left = k.copy()
    for kind in (d.wet, ~d.wet):
        if kind.any():
            left[kind] = k[kind] - k[kind].mean()
    return float(left.std() / k.mean() / sun_spread_at(k.mean(), 1.0))


def _spread(values: Array, d: WholeDays) -> float:
    left = _left(values, d.month)
    for kind in (d.wet, ~d.wet):
        if kind.any():
            left[kind] -= left[kind].mean()
    slow = table("drydown.air", "climate.toml")["odd_heat_c"]["typical"]
    return float(np.sqrt(max(left.std() ** 2 - slow**2, 0.01)))


def _vapour(d: WholeDays) -> float:
    vapour = (d.rh * saturation_pressure_pa(d.temp)).mean(axis=1)
    return float(_left(vapour, d.month).std() / vapour.mean())


def _wind(d: WholeDays) -> float | None:
    wind = d.wind.mean(axis=1)
    spread = float(_left(wind, d.month).std() / max(wind.mean(), 0.05))
    return spread if spread > 0.01 else None


def _wind_night(d: WholeDays) -> float:
    mean = d.wind.mean(axis=0)
    night = np.concatenate([mean[:5], mean[22:]]).mean()
    return float(night / max(mean[10:17].mean(), 0.05))


def _warmest(d: WholeDays, site: Site) -> float:
    """Vertex of a parabola through the warmest mean hour and its neighbours, after the sun's noon."""
    mean = d.temp.mean(axis=0)
    top = int(np.clip(mean.argmax(), 1, 22))
    a, b, c = mean[top - 1 : top + 2]
    vertex = top + 0.5 + 0.5 * (a - c) / min(a - 2.0 * b + c, -1e-6)
    rise, length = solar_day(site, 30.4 * float(np.mean(d.month)) + 15.0)
    return float(vertex - (rise + 0.5 * length))


def normals_from(air: HourlyWeather) -> tuple[MonthNormals | None, ...]:
    """Twelve normals from a series; None for a month with fewer than 15 days.

    Equation: means of daily highs, lows and sun, of humidity and wind; rain days are those of 1 mm and more.
    Args: air, one member. Returns: January first [C, mm, kWh/(m2 day)].
    Valid range: any. Source: definitions.

    >>> from drydown.air.normals import MonthNormals
    >>> from drydown.air.series import Site
    >>> from datetime import datetime, timezone
    >>> from drydown.air.generator import generate
    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = generate(here, (month,) * 12, datetime(2026, 1, 1, tzinfo=timezone.utc), 24 * 120, 1, 1)
    >>> [n is None for n in normals_from(air)].count(True)
    8
    """
    d = _days(air)
    return tuple(_month(d, m) for m in range(12))


def _month(d: WholeDays, month: int) -> MonthNormals | None:
    use = d.month == month
    if use.sum() < LEAST_MONTH_DAYS:
        return None
    wet = float(d.wet[use].mean()) * 30.4
    rain = float(d.rain[use].sum(axis=1).mean()) * 30.4 if wet else 0.0
    high, low = float(d.temp[use].max(axis=1).mean()), float(d.temp[use].min(axis=1).mean())
    sun = float(d.sun[use].sum(axis=1).mean()) / 1000.0
    rh, wind = float(np.clip(d.rh[use].mean(), 0.05, 0.985)), float(d.wind[use].mean())
    return MonthNormals(high, low, rh, rain if wet else 0.0, wet if rain else 0.0, wind, sun)
