"""What is compared: numbers that tell one weather from another, each over the good days of a record."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import saturation_pressure_pa
from drydown.air.normals import WET_MM
from drydown.validation.skies.records import Record

__all__ = ["statistics"]

Array = NDArray[np.float64]
Stats = dict[str, float]


def statistics(record: Record) -> Stats:
    """All statistics a record can give, by name; those that hours are needed for only where it has hours."""
    found = _days(record) | _rain_days(record) | _sums(record)
    if record.temp_c is not None:
        found |= _cycle(record) | _vapour(record) | _rain_hours(record) | _wind(record)
    return {k: v for k, v in found.items() if np.isfinite(v)}


def _season(values: Array, months: NDArray[np.int64], good: NDArray[np.bool_]) -> Array:
    """What is left of daily values after their calendar month's mean."""
    out = values.astype(float).copy()
    for month in range(12):
        use = good & (months == month)
        if use.any():
            out[months == month] -= values[use].mean()
    return out


def _lag(x: Array, good: NDArray[np.bool_], by: int = 1) -> float:
    """Correlation of neighbouring good days."""
    pair = good[:-by] & good[by:]
    return _corr(x[:-by][pair], x[by:][pair])


def _corr(x: Array, y: Array) -> float:
    return float(np.corrcoef(x, y)[0, 1]) if len(x) > 30 and x.std() > 0 and y.std() > 0 else np.nan


def _clearness(r: Record) -> Array:
    clear = r.site.clear_days_wm2.sum(axis=1) / 1000.0
    return np.asarray(r.sun_kwh / clear[r.months])


def _days(r: Record) -> Stats:
    g, m = r.good, r.months
    high, low, k = (_season(v, m, g) for v in (r.tmax_c, r.tmin_c, r.sun_kwh))
    spread = _season(r.tmax_c - r.tmin_c, m, g)
    clear = _clearness(r)[g]
    wet = r.rain_mm[g] >= WET_MM
    return {
        "mean high": float(r.tmax_c[g].mean()), "mean low": float(r.tmin_c[g].mean()),
        "mean sun": float(r.sun_kwh[g].mean()),
        "sd of highs": float(high[g].std()), "sd of lows": float(low[g].std()), "sd of daily range": float(spread[g].std()),
        "sd of daily sun": float(k[g].std()), "lag of highs": _lag(high, g), "lag of lows": _lag(low, g), "lag of sun": _lag(k, g),
        "highs with sun": _corr(high[g], k[g]), "range with sun": _corr(spread[g], k[g]), "highs with lows": _corr(high[g], low[g]),
        "sun of wet days over dry": float(r.sun_kwh[g][wet].mean() / r.sun_kwh[g][~wet].mean()) if 20 < wet.sum() < len(wet) - 20 else np.nan,
        "days below 0.4 of clear": float((clear < 0.4).mean()), "days above 0.85 of clear": float((clear > 0.85).mean()),
    }  # fmt: skip


def _rain_days(r: Record) -> Stats:
    g, wet = r.good, r.rain_mm >= WET_MM
    pair = g[:-1] & g[1:]
    before, after = wet[:-1][pair], wet[1:][pair]
    if before.sum() < 30 or (~before).sum() < 30:
        return {}
    runs_wet, runs_dry = _runs(wet, g)
    amount = r.rain_mm[g & wet]
    return {
        "rain a year": float(r.rain_mm[g].mean() * 365.25), "wet days a year": float(wet[g].mean() * 365.25),
        "wet after wet": float(after[before].mean()), "wet after dry": float(after[~before].mean()),
        "rain of a wet day": float(amount.mean()), "sd of rain of wet days": float(amount.std()),
        "mean wet spell": float(np.mean(runs_wet)), "mean dry spell": float(np.mean(runs_dry)),
        "long wet spells": float(np.percentile(runs_wet, 95)), "long dry spells": float(np.percentile(runs_dry, 95)),
    }  # fmt: skip


def _runs(wet: NDArray[np.bool_], good: NDArray[np.bool_]) -> tuple[list[int], list[int]]:
    """Lengths of wet and of dry spells; a gap ends one."""
    found: tuple[list[int], list[int]] = ([], [])
    length, kind = 0, False
    for is_wet, is_good in zip(wet, good, strict=True):
        if is_good and length and is_wet == kind:
            length += 1
            continue
        if length:
            found[0 if kind else 1].append(length)
        length, kind = (1, bool(is_wet)) if is_good else (0, kind)
    if length:
        found[0 if kind else 1].append(length)
    return found[0] or [0], found[1] or [0]


def _windows(values: Array, good: NDArray[np.bool_], days: int) -> Array:
    """Means over windows without gaps, one after the other."""
    found = []
    for first in range(0, len(values) - days + 1, days):
        if good[first : first + days].all():
            found.append(values[first : first + days].mean())
    return np.array(found)


def _sums(r: Record) -> Stats:
    g, m = r.good, r.months
    sun, rain = _season(r.sun_kwh, m, g), r.rain_mm
    mean = _season(0.5 * (r.tmax_c + r.tmin_c), m, g)
    found = {}
    for days in (7, 14):
        for name, values in (("sun", sun), ("temperature", mean), ("rain", rain)):
            windows = _windows(values, g, days)
            found[f"sd of {days} days of {name}"] = float(windows.std()) if len(windows) >= 20 else np.nan
    for name, values in (("sun", sun), ("temperature", mean)):
        months = _windows(values, g, 30)
        found[f"sd of months of {name}"] = float(months.std()) if len(months) >= 20 else np.nan
    return found


def _cycle(r: Record) -> Stats:
    g = r.good
    t, rh = r.temp_c[g], r.rh[g]  # type: ignore[index]
    deficit = (1.0 - rh) * saturation_pressure_pa(t) / 1000.0
    day, damp, dry = t.mean(axis=0), rh.mean(axis=0), deficit.mean(axis=0)
    found = {
        "mean temperature": float(t.mean()),
        "mean humidity": float(rh.mean()),
        "hour of the high": float(np.argmax(day)),
        "hour of the low": float(np.argmin(day)),
    }
    for words, hours in (
        ("8-11 h", slice(8, 11)),
        ("12-15 h", slice(12, 15)),
        ("18-21 h", slice(18, 21)),
        ("2-5 h", slice(2, 5)),
    ):
        found[f"temperature {words}"] = float(day[hours].mean())
        found[f"humidity {words}"] = float(damp[hours].mean())
        found[f"vapour deficit {words}"] = float(dry[hours].mean())
    return found


def _vapour(r: Record) -> Stats:
    g, m = r.good, r.months
    saturation = saturation_pressure_pa(np.nan_to_num(np.asarray(r.temp_c), nan=15.0))
    vapour = _season((r.rh * saturation).mean(axis=1) / 1000.0, m, g)  # type: ignore[operator]
    deficit = _season(((1.0 - r.rh) * saturation).mean(axis=1) / 1000.0, m, g)  # type: ignore[operator]
    damp, sun = _season(r.rh.mean(axis=1), m, g), _season(r.sun_kwh, m, g)  # type: ignore[union-attr]
    return {
        "sd of daily vapour": float(vapour[g].std()), "lag of vapour": _lag(vapour, g), "sd of daily humidity": float(damp[g].std()),
        "deficit with sun": _corr(deficit[g], sun[g]), "humidity with sun": _corr(damp[g], sun[g]), "sd of daily deficit": float(deficit[g].std()),
        "lag of humidity": _lag(damp, g), "hours at 97 % or more": float((r.rh[g] >= 0.97).mean()),  # type: ignore[index]
    }  # fmt: skip


def _rain_hours(r: Record) -> Stats:
    g = r.good & (r.rain_mm >= WET_MM)
    rain = r.rain_hour_mm[g]  # type: ignore[index]
    if len(rain) < 30:
        return {}
    clear = r.site.clear_days_wm2[r.months][g]
    sun = r.ghi_wm2[g]  # type: ignore[index]
    raining = (rain >= 0.2) & (clear > 200.0)
    return {
        "rainy hours of a wet day": float((rain >= 0.2).sum(axis=1).mean()),
        "largest hour of a wet day": float((rain.max(axis=1) / rain.sum(axis=1)).mean()),
        "sun in rainy hours over clear": float(sun[raining].sum() / clear[raining].sum()) if raining.sum() > 20 else np.nan,
        "rain from 12 to 20 h": float(rain[:, 12:20].sum() / rain.sum()),
    }  # fmt: skip


def _wind(r: Record) -> Stats:
    g, m = r.good, r.months
    wind = r.wind_ms[g]  # type: ignore[index]
    daily = _season(np.nan_to_num(r.wind_ms.mean(axis=1)), m, g)  # type: ignore[union-attr]
    mean = wind.mean(axis=0)
    day, night = mean[10:17].mean(), np.concatenate([mean[:5], mean[22:]]).mean()
    smooth = wind / np.maximum(mean, 0.1)
    steps = np.abs(np.diff(smooth, axis=1)).mean()
    return {
        "mean wind": float(wind.mean()), "wind of night over day": float(night / max(day, 0.05)),
        "hour to hour of wind": float(steps), "sd of daily wind over its mean": float(daily[g].std() / wind.mean()), "lag of daily wind": _lag(daily, g),
    }  # fmt: skip


Statistic = Callable[[Record], Stats]
