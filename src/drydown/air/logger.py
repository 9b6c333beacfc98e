"""What loggers do: go blank at saturation, stop, stick, drift, run by another clock. Mended, or told."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.air.series import HourlyWeather, Site
from drydown.errors import InputError
from drydown.words import say

__all__ = ["BRIDGED_H", "mended", "oddities", "whole_hours"]

Array = NDArray[np.float64]
BRIDGED_H = 4
"""Gaps up to this are bridged by a straight line; longer ones are told and left out."""
DAMP_PERCENT, SATURATED_PERCENT = 93.0, 99.5
"""Beside readings from here up a blank of the hygrometer is read as saturated."""
LEAST_HOURS = 24
STUCK_H = 18
"""A sensor that gives one value so long is stuck; a saturated hygrometer may."""
BRIGHTER, DULLER = 1.15, 0.60
"""Best days of a month against the clear sky: above, or below, the sun's sensor or its unit is off."""


def whole_hours(
    times: list[datetime], where: Callable[[int], str]
) -> tuple[datetime, int, NDArray[np.int64]]:
    """First hour end, number of hours to the last, and the place of each row among them.

    Hours without a row are gaps; a row that goes back, repeats or is off the hour is refused.

    Args: times, hour ends; where, words for the place of a row. Returns: first time, number of hours, place
    of each row [h]. Valid range: whole hours. Source: definition.

    >>> day = datetime(2026, 3, 1)
    >>> whole_hours([day, day + timedelta(hours=2)], str)[1]
    3
    """
    first = times[0]
    place = np.empty(len(times), dtype=np.int64)
    for i, moment in enumerate(times):
        away = (moment - first) / timedelta(hours=1)
        place[i] = round(away)
        if abs(away - place[i]) > 1e-6 or (i and place[i] <= place[i - 1]):
            raise InputError(
                say(
                    "{at:%Y-%m-%d %H:%M} does not follow {before:%Y-%m-%d %H:%M} by whole hours.",
                    at=moment,
                    before=times[i - 1],
                ),
                where(i),
                "One line an hour, in order; put NA where a value is missing; no summer time.",
            )
    return first, int(place[-1]) + 1, place


def mended(
    found: dict[str, Array], begin: datetime, site: Site, name: str, notes: list[str]
) -> tuple[dict[str, Array], datetime]:
    """Columns without gaps, and the beginning of their first hour: blanks read, short gaps bridged, the
    rest left out.

    Args: found, columns with nan; begin of the first hour; site; name of the file; notes, added to.
    Returns: the longest stretch without a long gap. Raises `InputError` where no stretch has a day.
    Valid range: hourly columns [C, %, W/m2, m/s, mm]. Source: own rules.

    >>> from datetime import timezone
    >>> hours = {key: np.full(30, 20.0) for key in ("temp_c", "rh_percent", "ghi_wm2")}
    >>> hours["temp_c"][3], notes = np.nan, []
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> made, _begin = mended(hours, datetime(2026, 3, 1, tzinfo=timezone.utc), here, "log", notes)
    >>> float(made["temp_c"][3])
    20.0
    """
    found = dict(found)
    found["rh_percent"] = _saturated(found["rh_percent"], found["temp_c"], notes)
    hours = found["temp_c"].size
    middle = [begin + timedelta(hours=h + 0.5) for h in range(hours)]
    clear = site.clear_days_wm2
    dark = np.array([clear[t.month - 1, t.hour] <= 0.0 for t in middle])
    found["ghi_wm2"] = np.where(np.isnan(found["ghi_wm2"]) & dark, 0.0, found["ghi_wm2"])
    for key, values in found.items():
        found[key] = _bridged(values, key, notes)
    gone = np.isnan(np.stack(list(found.values()))).any(axis=0)
    first, last = _longest(np.asarray(~gone))
    if last - first < LEAST_HOURS:
        raise InputError(
            say(
                "has no {hours} hours in a row without a gap longer than {most} h.",
                hours=LEAST_HOURS,
                most=BRIDGED_H,
            ),
            name,
            "Fill the gaps from a neighbour station, or use monthly normals.",
        )
    if last - first < hours:
        notes.append(
            say(
                "{out} of {hours} hours left out: gaps over {most} h; read from {begin:%Y-%m-%d %H:%M} on",
                out=hours - (last - first),
                hours=hours,
                most=BRIDGED_H,
                begin=begin + timedelta(hours=first),
            )
        )
    return {k: v[first:last] for k, v in found.items()}, begin + timedelta(hours=first)


def _saturated(rh: Array, temp: Array, notes: list[str]) -> Array:
    """A blank humidity beside 93 per cent or more, while the thermometer went on, is saturated air."""
    gone, known = np.isnan(rh) & ~np.isnan(temp), np.flatnonzero(~np.isnan(rh))
    if not gone.any() or not known.size:
        return rh
    at = np.flatnonzero(gone)
    after = np.minimum(np.searchsorted(known, at), known.size - 1)
    before = np.maximum(np.searchsorted(known, at) - 1, 0)
    damp = np.maximum(rh[known[before]], rh[known[after]]) >= DAMP_PERCENT
    out = rh.copy()
    out[at[damp]] = SATURATED_PERCENT
    if damp.any():
        notes.append(
            say(
                "{count} hours of humidity blank beside {damp:g} % or more, read as saturated",
                count=int(damp.sum()),
                damp=DAMP_PERCENT,
            )
        )
    return out


def _bridged(values: Array, key: str, notes: list[str]) -> Array:
    """Gaps up to BRIDGED_H filled by a straight line (rain by none), and said."""
    gone = np.isnan(values)
    if not gone.any() or gone.all():
        return values
    hours, known, out, filled = np.arange(values.size), ~gone, values.copy(), 0
    for first, last in _stretches(gone):
        if last - first <= BRIDGED_H:
            line = np.interp(hours[first:last], hours[known], values[known])
            out[first:last] = 0.0 if key == "rain_mm" else line
            filled += last - first
    if filled:
        notes.append(say("{key}: {sum} missing hours bridged by a straight line", key=key, sum=int(filled)))
    return out


def _stretches(marked: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First hour, and hour after the last, of each run of marked hours."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], marked.astype(int), [0]])))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]


def _longest(good: NDArray[np.bool_]) -> tuple[int, int]:
    return max(_stretches(good) or [(0, 0)], key=lambda run: run[1] - run[0])


def oddities(air: HourlyWeather) -> tuple[str, ...]:
    """What looks wrong in a station's hourly weather, in sentences.

    Equation: one value for STUCK_H hours; damp air that grows drier month by month; dry air while it rains;
    the best days of a month against the clear sky; the middle of the sun against the sun's noon.
    Args: air, one member. Returns: sentences [-], none where nothing is odd. Valid range: a week and more.
    Source: own rules.

    >>> from drydown.air.normals import MonthNormals
    >>> from datetime import datetime, timezone
    >>> from drydown.air.generator import generate
    >>> month = MonthNormals(24.0, 13.0, 0.75, 100.0, 12.0, 1.5)
    >>> here = Site(-3.4, 45.0, 1690.0, 3.0)
    >>> air = generate(here, (month,) * 12, datetime(2026, 1, 1, tzinfo=timezone.utc), 24 * 120, 1, 1)
    >>> oddities(air)
    ()
    """
    found = []
    for name, key in (("air temperature", "temp_c"), ("humidity", "rh"), ("wind", "wind_ms")):
        values = np.asarray(getattr(air, key))[0]
        moving = (
            (values < 0.97)
            if key == "rh"
            else (values > 0.05)
            if key == "wind_ms"
            else np.ones(values.size, bool)
        )
        run = _stuck(values, moving)
        if run >= STUCK_H:
            found.append(say("{name}: one value for {run} hours: is the sensor stuck?", name=name, run=run))
    rain, rh = air.rain_mm[0], air.rh[0]
    wet = rain > 1.0
    if wet.sum() >= 10 and float(np.median(rh[wet])) < 0.80:
        found.append(
            say(
                "humidity is {rh:.0f} % in the middle of the rain: it reads low, or the clocks differ",
                rh=100.0 * float(np.median(rh[wet])),
            )
        )
    return (*found, *_drifts(air), *_sun_oddities(air))


def _stuck(values: Array, counts: NDArray[np.bool_]) -> int:
    """Longest run of one value among the hours that count."""
    longest, run = 0, 1
    for i in range(1, values.size):
        run = run + 1 if values[i] == values[i - 1] and counts[i] else 1
        longest = max(longest, run)
    return longest


def _drifts(air: HourlyWeather) -> list[str]:
    """A hygrometer whose dampest hours grow drier from month to month."""
    months = air.rh[0].size // 720
    if months < 4:
        return []
    best = np.array([np.percentile(air.rh[0, 720 * m : 720 * (m + 1)], 95) for m in range(months)])
    slope = float(np.polyfit(np.arange(months), best, 1)[0])
    if slope < -0.01 and best[-1] < best[0] - 0.05:
        return [
            say(
                "humidity: its dampest hours fall by {points:.1f} points a month: has the sensor drifted?",
                points=-100.0 * slope,
            )
        ]
    return []


def _sun_oddities(air: HourlyWeather) -> list[str]:
    s = air.site
    clear = s.clear_days_wm2
    middle = [air.start + timedelta(hours=h + 0.5) for h in range(air.hours)]
    local = [t.astimezone(s.zone) for t in middle]
    sky = np.array([clear[t.month - 1, t.hour] for t in local])
    hour = np.array([t.hour + t.minute / 60.0 for t in local])
    sun = air.ghi_wm2[0]
    found: list[str] = []
    if sun.sum() > 0.0:
        late = float((sun * hour).sum() / sun.sum() - (sky * hour).sum() / sky.sum())
        if abs(late) > 0.8:
            found.append(
                say(
                    "the sun's middle lies {late:+.1f} h from noon: the clock, or hours that begin or end",
                    late=late,
                )
            )
    days = air.hours // 24
    if days >= 20:
        share = np.sort(
            sun[: 24 * days].reshape(days, 24).sum(axis=1) / sky[: 24 * days].reshape(days, 24).sum(axis=1)
        )
        best = float(share[-max(days // 20, 1)])
        if best > BRIGHTER or best < DULLER:
            found.append(
                say(
                    "the brightest days have {best:.0f} % of a clear sky: sensor, shade or unit",
                    best=100.0 * best,
                )
            )
    return found
