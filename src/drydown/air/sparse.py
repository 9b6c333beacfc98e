"""Weather as people write it down: highs and lows of the day, or two to four readings a day, made hourly.

Daily columns: date, tmax_c, tmin_c, and where they were kept rh_percent (mean), rain_mm, wind_ms,
sunshine_h or ghi_kwh_m2. Readings: time, temp_c, rh_percent at the same hours every day (7, 12, 15), and
where they were kept wind_ms, rain_mm (since the reading before), sunshine_h (of the day). What was not
written down is estimated and said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from drydown.air.dayshape import USUAL_LATE_H, hours_of_days
from drydown.air.moist import dew_point_c, saturation_pressure_pa
from drydown.air.series import HourlyWeather, Site
from drydown.air.sun import (
    cloud_of_clearness,
    daylight_hours,
    extraterrestrial_mj_m2,
    ghi_from_sunshine_mj_m2,
    ghi_from_temperatures_mj_m2,
    sky_longwave_wm2,
)
from drydown.errors import InputError
from drydown.words import say

__all__ = ["Reading", "from_days", "from_readings"]

Array = NDArray[np.float64]
CALM_MS = 1.5
"""Wind taken where none was written down, own estimate."""
NIGHT_FALL_C = 0.8
"""How much colder than the first reading of the day its coldest moment was, own estimate."""
FIRST_LIGHT_H, WARMEST_H = 6.0, 14.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One look at thermometer and hygrometer: local standard time, air [C], humidity [fraction], the rest."""

    at: datetime
    temp_c: float
    rh: float
    more: Mapping[str, float]


def from_days(days: Sequence[tuple[date, Mapping[str, float]]], site: Site, where: str) -> HourlyWeather:
    """Hourly weather from highs and lows of consecutive days.

    Equation: Parton and Logan 1981 between low and high; vapour from the mean humidity, else of the night's
    low; sun from what was kept, else sunshine, else FAO-56 eq. 50.
    Args: days, each with its columns (module); site; where, the file's name. Returns: `HourlyWeather`, whole
    days. Valid range: at least two days in a row.
    Source: FAO-56 chapter 3; shape of the day as `dayshape`.

    >>> rows = [(date(2026, 5, d), {"tmax_c": 24.0, "tmin_c": 14.0}) for d in (4, 5)]
    >>> from_days(rows, Site(-3.4, 45.0, 1690.0, 3.0), "log").hours
    48
    """
    _in_a_row([d for d, _ in days], where)
    high, low = _column(days, "tmax_c"), _column(days, "tmin_c")
    if np.any(high <= low):
        bad = days[int(np.argmax(high <= low))][0]
        raise InputError(say("{day}: tmax_c is not above tmin_c.", day=bad.isoformat()), where)
    doys = np.array([float(d.timetuple().tm_yday) for d, _ in days])
    temp = hours_of_days(site, doys, high[None], low[None], np.array([USUAL_LATE_H])).ravel()
    notes = ["hours made from daily highs and lows: good for days, less for single hours"]
    rh_mean = _kept(days, "rh_percent")
    if rh_mean is None:
        vapour = np.repeat(saturation_pressure_pa(low), 24)
        notes.append("humidity not written down: each night taken as reaching saturation at its low (FAO-56)")
    else:
        saturation = saturation_pressure_pa(temp).reshape(-1, 24)
        vapour = np.repeat(rh_mean / 100.0 / (1.0 / saturation).mean(axis=1), 24)
    rh = np.clip(vapour / saturation_pressure_pa(temp), 0.05, 1.0)
    return _hourly([d for d, _ in days], temp, rh, _rest(days, high, low, site, notes), site, notes)


def from_readings(rows: Sequence[Reading], site: Site, where: str) -> HourlyWeather:
    """Hourly weather from a few readings a day.

    Equation: monotone cubic through the readings and a lowest point at first light; vapour straight between
    readings; sun as `from_days`. Args: rows in order of time; site; where, the file's name. Returns:
    `HourlyWeather`, whole days. Valid range: two readings a day or more, no day left out.
    Source: shape by Fritsch and Carlson 1980, as in scipy; first light and its fall our own estimate.

    >>> hours = ((7, 15.0, 0.95), (12, 22.0, 0.65), (15, 24.0, 0.55))
    >>> rows = [Reading(datetime(2026, 5, d, h), t, rh, {}) for d in (4, 5) for h, t, rh in hours]
    >>> from_readings(rows, Site(-3.4, 45.0, 1690.0, 3.0), "log").hours
    48
    """
    by_day: dict[date, list[Reading]] = {}
    for row in rows:
        by_day.setdefault(row.at.date(), []).append(row)
    dates = list(by_day)
    _in_a_row(dates, where)
    thin = [d for d, seen in by_day.items() if len(seen) < 2]
    if thin:
        raise InputError(
            say("{day} has one reading only.", day=thin[0].isoformat()), where, "Two or more a day."
        )
    start = datetime.combine(dates[0], datetime.min.time())
    at, temp, vapour, low, high = [], [], [], [], []
    for day, seen in by_day.items():
        dawn = min(r.temp_c for r in seen) - NIGHT_FALL_C
        first = (datetime.combine(day, datetime.min.time()) - start) / timedelta(hours=1)
        at += [first + FIRST_LIGHT_H - 0.5]
        temp += [dawn]
        vapour += [float(seen[0].rh * saturation_pressure_pa(seen[0].temp_c))]
        at += [(r.at - start) / timedelta(hours=1) for r in seen]
        temp += [r.temp_c for r in seen]
        vapour += [float(r.rh * saturation_pressure_pa(r.temp_c)) for r in seen]
        low.append(dawn)
        high.append(max(r.temp_c for r in seen))
    if np.any(np.diff(at) <= 0):
        raise InputError("readings need increasing times, the first after 06:00.", where)
    middle = np.arange(24 * len(dates)) + 0.5
    inside = np.clip(middle, at[0], at[-1])
    hourly = PchipInterpolator(at, temp)(inside)
    rh = np.clip(np.interp(middle, at, vapour) / saturation_pressure_pa(hourly), 0.05, 1.0)
    notes = ["hours made from a few readings a day: nights are the weakest"]
    days = [(d, _of_day(seen)) for d, seen in by_day.items()]
    rest = _rest(days, np.array(high), np.array(low), site, notes)
    return _hourly(dates, np.asarray(hourly), rh, rest, site, notes)


def _of_day(seen: Sequence[Reading]) -> dict[str, float]:
    """What a day's readings say together: rain added up, wind in the mean, the last sunshine."""
    found: dict[str, float] = {}
    for name in {k for r in seen for k in r.more}:
        values = [r.more[name] for r in seen if name in r.more]
        found[name] = (
            sum(values) if name == "rain_mm" else values[-1] if "sun" in name else float(np.mean(values))
        )
    return found


def _in_a_row(dates: Sequence[date], where: str) -> None:
    if len(dates) < 2:
        raise InputError("has one day; at least two are needed.", where)
    for before, after in pairwise(dates):
        if after - before != timedelta(days=1):
            raise InputError(
                say(
                    "{after} does not follow {before} by one day.",
                    after=after.isoformat(),
                    before=before.isoformat(),
                ),
                where,
                "Every day needs its line.",
            )


def _column(days: Sequence[tuple[date, Mapping[str, float]]], name: str) -> Array:
    return np.array([row[name] for _day, row in days])


def _kept(days: Sequence[tuple[date, Mapping[str, float]]], name: str) -> Array | None:
    """A column that every day has; None where one lacks it."""
    return _column(days, name) if all(name in row for _day, row in days) else None


def _rest(
    days: Sequence[tuple[date, Mapping[str, float]]], high: Array, low: Array, site: Site, notes: list[str]
) -> dict[str, Array]:
    """Sun [kWh/(m2 day)], wind [m/s] and rain [mm] of each day, estimated and noted where not kept."""
    doys = np.array([d.timetuple().tm_yday for d, _ in days], dtype=float)
    above = extraterrestrial_mj_m2(site.latitude_deg, doys)
    sun, shine = _kept(days, "ghi_kwh_m2"), _kept(days, "sunshine_h")
    if sun is None and shine is not None:
        length = daylight_hours(site.latitude_deg, doys)
        found = [
            ghi_from_sunshine_mj_m2(float(s), float(n), float(a))
            for s, n, a in zip(shine, length, above, strict=True)
        ]
        sun = np.array(found) / 3.6
        notes.append("sun estimated from sunshine hours (FAO-56)")
    if sun is None:
        found = [
            ghi_from_temperatures_mj_m2(float(h), float(n), float(a))
            for h, n, a in zip(high, low, above, strict=True)
        ]
        sun = np.array(found) / 3.6
        notes.append("sun estimated from the day's range of temperature: weak, write down sunshine hours")
    wind, rain = _kept(days, "wind_ms"), _kept(days, "rain_mm")
    if wind is None:
        wind = np.full(len(days), CALM_MS)
        notes.append(say("wind not written down: {wind:g} m/s taken", wind=CALM_MS))
    if rain is None:
        rain = np.zeros(len(days))
        notes.append("rain not written down: wetting and covering for rain are not seen")
    return {"sun": sun, "wind": wind, "rain": rain}


def _hourly(
    dates: Sequence[date], temp: Array, rh: Array, rest: dict[str, Array], site: Site, notes: list[str]
) -> HourlyWeather:
    shape = site.clear_days_wm2[[d.month - 1 for d in dates]]
    share = np.minimum(rest["sun"] * 1000.0 / shape.sum(axis=1), 1.1)
    hour = np.tile(np.arange(24) + 0.5, len(dates))
    cloud = np.repeat(cloud_of_clearness(share), 24)
    rain = np.zeros((len(dates), 24))
    rain[:, 14:17] = rest["rain"][:, None] / 3.0
    if rest["rain"].any():
        notes.append("the day's rain is put between 14 and 17 h")
    columns = {
        "temp_c": temp,
        "rh": rh,
        "ghi_wm2": np.minimum(share[:, None] * shape, 1450.0).ravel(),
        "wind_ms": np.repeat(rest["wind"], 24)
        * (1.0 + 0.6 * np.cos(2.0 * np.pi * (hour - WARMEST_H) / 24.0)),
        "rain_mm": rain.ravel(),
        "sky_wm2": sky_longwave_wm2(temp, dew_point_c(temp, rh), hour, cloud, site.pressure_pa),
    }
    start = datetime.combine(dates[0], datetime.min.time(), tzinfo=site.zone)
    return HourlyWeather.of(site, start, columns, tuple(notes))
