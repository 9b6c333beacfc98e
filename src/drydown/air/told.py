"""A forecast as a service or a file says it: hours by name, read like any other weather.

JSON, shape `drydown.air/1`: {"shape", "issued", "start", "hours": {"temp_c": [...], "rh_percent": [...],
"ghi_wm2": [...], "wind_ms": [...], "rain_mm": [...]}}: times with their offset from UTC, each value that of
the hour that begins at its place. A service with other names is read by a map from our names to its own
(docs/loggers.md). Or a table with a line an hour, its `time` the end of the hour as in weather files, local
unless it has an offset.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drydown.air.csvfile import COLUMNS
from drydown.air.moist import magnus_dew_c
from drydown.air.series import HourlyWeather, Site
from drydown.air.sun import cloud_of_clearness, sky_longwave_wm2
from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["MOST_HOURS", "SHAPE", "ToldAir", "read_told"]

Array = NDArray[np.float64]
SHAPE = "drydown.air/1"
MOST_HOURS = 24 * 16


@dataclass(frozen=True, slots=True)
class ToldAir:
    """A forecast: its air, and when it was issued."""

    air: HourlyWeather
    issued: datetime


def read_told(text: str, site: Site, names: Mapping[str, str] | None = None) -> ToldAir:
    """Read a forecast.

    Args: text, JSON or a table; site; names, from our names ("start", "issued", "hours", "temp_c", ...) to
    where the service has them, steps parted by points ("hourly.temperature"). Returns: `ToldAir`, its air an
    `HourlyWeather` of one member. Valid range: 1 to 384 whole hours, values as in weather files [C, %, W/m2,
    m/s, mm]. Raises `InputError`, `RangeError` with a sentence. Source: docs/loggers.md.

    >>> hours = {"temp_c": [20.0], "rh_percent": [70], "ghi_wm2": [0], "wind_ms": [1.0], "rain_mm": [0.2]}
    >>> told = {"shape": SHAPE, "issued": "2026-11-26T05:00+03:00", "start": "2026-11-26T06:00+03:00"}
    >>> read_told(json.dumps(told | {"hours": hours}), Site(-3.4, 45.0, 1690.0, 3.0)).air.hours
    1
    """
    if text.lstrip("\ufeff \r\n\t")[:1] not in {"{", "["}:
        text, names = _of_table(text, site, dict(names or {})), None
    try:
        told = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            "is not JSON.", "the forecast", "Give the address of a forecast by the hour."
        ) from error
    where = dict(names or {})
    if not where and (not isinstance(told, dict) or told.get("shape") != SHAPE):
        raise InputError(
            say("has no shape '{shape}', and no map of its names is stated.", shape=SHAPE), "the forecast"
        )
    start = _moment(_found(told, where.get("start", "start"), first=True), "start")
    issued = (
        _moment(_found(told, where.get("issued", "issued")), "issued")
        if _has(told, where.get("issued", "issued"))
        else start
    )
    columns = {key: _column(told, where.get(key, f"hours.{key}"), key) for key in COLUMNS}
    counts = {len(values) for values in columns.values()}
    if len(counts) != 1 or not 1 <= counts.copy().pop() <= MOST_HOURS:
        raise InputError(
            say("needs 1 to {most} hours, as many of each quantity.", most=MOST_HOURS), "the forecast"
        )
    if start.minute or start.second:
        raise InputError("begins within an hour; give whole hours.", "the forecast")
    return ToldAir(_weather(site, start, columns), issued)


def _of_table(text: str, site: Site, names: Mapping[str, str]) -> str:
    """A table with a line an hour in our own shape. Columns by name, or by the map's."""
    lines = [line for line in text.lstrip("\ufeff").splitlines() if line.strip()][: MOST_HOURS + 1]
    mark = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=mark))
    head = [c.strip().casefold() for c in rows[0]] if rows else []
    where = {key: names.get(key, key) for key in ("time", *COLUMNS)}
    missing = [name for name in where.values() if name.casefold() not in head]
    if missing or len(rows) < 2:
        raise InputError(
            say("is neither JSON nor a table with the columns {names}.", names=", ".join(where.values())),
            "the forecast", "Give a line an hour, its time the end of the hour.",
        )  # fmt: skip
    at = {key: head.index(name.casefold()) for key, name in where.items()}
    if any(len(r) < len(head) for r in rows[1:]):
        raise InputError("has a line with too few columns.", "the forecast")
    ends = [_end(r[at["time"]], site, n) for n, r in enumerate(rows[1:], 2)]
    if any(b - a != timedelta(hours=1) for a, b in pairwise(ends)):
        raise InputError("must have a line for each hour, in order.", "the forecast")
    decimal = (lambda t: t.replace(",", ".")) if mark == ";" else str
    hours = {key: [decimal(r[at[key]].strip()) for r in rows[1:]] for key in COLUMNS}
    start = (ends[0] - timedelta(hours=1)).isoformat()
    return json.dumps({"shape": SHAPE, "start": start, "hours": hours})


def _end(cell: str, site: Site, line: int) -> datetime:
    try:
        at = datetime.fromisoformat(cell.strip())
    except ValueError as error:
        where = say("the forecast, line {n}", n=line)
        raise InputError(say("'{cell}' is no time.", cell=cell[:40]), where) from error
    return at if at.tzinfo else at.replace(tzinfo=site.zone)


def _steps(told: Any, path: str) -> Any:
    for step in path.split("."):
        if not isinstance(told, dict) or step not in told:
            raise KeyError(path)
        told = told[step]
    return told


def _has(told: Any, path: str) -> bool:
    try:
        return _steps(told, path) is not None
    except KeyError:
        return False


def _found(told: Any, path: str, first: bool = False) -> Any:
    try:
        value = _steps(told, path)
    except KeyError as error:
        raise InputError(say("has nothing at '{path}'.", path=path), "the forecast") from error
    return value[0] if first and isinstance(value, list) and value else value


def _moment(value: Any, name: str) -> datetime:
    try:
        at = datetime.fromisoformat(str(value))
    except ValueError as error:
        raise InputError(say("'{value}' is no time.", value=str(value)[:40]), name) from error
    if at.tzinfo is None:
        raise InputError(
            "a time of a forecast needs its offset from UTC.", name, "Write 2026-11-26T06:00+03:00."
        )
    return at


def _column(told: Any, path: str, key: str) -> Array:
    values = _found(told, path)
    low, high = COLUMNS[key]
    try:
        column = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError("holds something that is no number.", path) from error
    if column.ndim != 1 or not np.isfinite(column).all():
        raise InputError("needs a number for each hour.", path)
    if not ((column >= low) & (column <= high)).all():
        raise RangeError(say("must be from {low:g} to {high:g}.", low=low, high=high), path)
    return column


def _weather(site: Site, start: datetime, c: Mapping[str, Array]) -> HourlyWeather:
    rh = np.clip(c["rh_percent"] / 100.0, 0.01, 1.0)
    local = start.astimezone(site.zone)
    middles = [local + timedelta(hours=h + 0.5) for h in range(rh.size)]
    hour = np.array([m.hour + m.minute / 60.0 for m in middles])
    clear = np.array([site.clear_days_wm2[m.month - 1, m.hour] for m in middles])
    day = np.array([(m.date() - middles[0].date()).days for m in middles])
    share = np.empty(rh.size)
    for d in np.unique(day):
        share[day == d] = c["ghi_wm2"][day == d].sum() / max(clear[day == d].sum(), 1.0)
    cloud = cloud_of_clearness(np.clip(np.where(np.bincount(day)[day] >= 12, share, 0.6), 0.05, 1.0))
    sky = sky_longwave_wm2(c["temp_c"], magnus_dew_c(c["temp_c"], rh), hour, cloud, site.pressure_pa)
    columns = {
        "temp_c": c["temp_c"], "rh": rh, "ghi_wm2": c["ghi_wm2"], "wind_ms": c["wind_ms"],
        "rain_mm": c["rain_mm"],
        "sky_wm2": np.clip(sky, 121.0, 559.0),
    }  # fmt: skip
    return HourlyWeather.of(site, local, columns)
