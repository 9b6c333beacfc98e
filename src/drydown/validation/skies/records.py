"""Measured weather as whole days: hourly tables of a network, daily tables of trial stations, EPW years.

The measured files are not Drydown's and are not shipped; the folder that holds them is given.
"""

from __future__ import annotations

import csv
import gzip
import io
import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drydown.air.epw import read_epw
from drydown.air.normals import WET_MM, MonthNormals
from drydown.air.series import HourlyWeather, Site
from drydown.errors import InputError

__all__ = ["Record", "from_weather", "normals_of", "read_daily", "read_folder", "read_hourly"]

Array = NDArray[np.float64]
SATURATED = 0.99
"""Humidity of a logger that went blank beside high readings."""
MOST_KWH = 9.0
"""A mean daily sun below this is kilowatt-hours, whatever the heading says: no place has 9 kWh or 9 MJ."""


@dataclass(frozen=True, slots=True)
class Record:
    """Whole days of one site: hours (day, 24) where they were measured; highs, lows, sun and rain by day.

    sun [kWh/(m2 day)]; kind "hourly", "daily" or "typical"; `good` which days may be used.
    """

    name: str
    site: Site
    kind: str
    dates: tuple[date, ...]
    good: NDArray[np.bool_]
    tmax_c: Array
    tmin_c: Array
    sun_kwh: Array
    rain_mm: Array
    temp_c: Array | None = None
    rh: Array | None = None
    ghi_wm2: Array | None = None
    wind_ms: Array | None = None
    rain_hour_mm: Array | None = None

    @property
    def months(self) -> NDArray[np.int64]:
        """Calendar month of each day, 0 to 11."""
        return np.array([d.month - 1 for d in self.dates])


def read_folder(folder: Path) -> list[Record]:
    """Every record of a folder, in the order of names."""
    found = []
    for file in sorted(folder.iterdir()):
        if file.name.startswith("daily_") and file.name.endswith((".csv", ".csv.gz")):
            found.append(read_daily(file))
        elif file.name.endswith((".csv", ".csv.gz")):
            found.append(read_hourly(file))
        elif file.suffix == ".epw":
            with suppress(InputError):  # too far from the equator for any coffee, or no whole year
                found.append(from_weather(read_epw(file), file.stem, "typical"))
    return found


def _lines(file: Path) -> tuple[str, list[dict[str, str]]]:
    raw = file.read_bytes()
    text = (gzip.decompress(raw) if file.suffix == ".gz" else raw).decode("utf-8")
    head, _, rest = text.partition("\n")
    return head, list(csv.DictReader(io.StringIO(rest)))


def _site(head: str, name: str) -> Site:
    numbers = re.search(r"latitude (-?[\d.]+), longitude (-?[\d.]+), (-?[\d.]+) m(?:, UTC([+-]\d+))?", head)
    if numbers is None:
        raise InputError("its first line does not say latitude, longitude and height.", name)
    lat, lon, height = (float(numbers[i]) for i in (1, 2, 3))
    zone = float(numbers[4]) if numbers[4] else round(lon / 15.0)
    return Site(lat, lon, height, zone, name)


def read_daily(file: Path) -> Record:
    """A daily table: date, sun_mj_m2, tmax_c, tmin_c, rain_mm; days missing are gaps."""
    head, rows = _lines(file)
    name = file.name.split(".")[0]
    by_day = {date.fromisoformat(r["date"]): r for r in rows}
    first, last = min(by_day), max(by_day)
    dates = tuple(date.fromordinal(o) for o in range(first.toordinal(), last.toordinal() + 1))
    columns = {}
    for key in ("sun_mj_m2", "tmax_c", "tmin_c", "rain_mm"):
        columns[key] = np.array([_number(by_day[d][key]) if d in by_day else np.nan for d in dates])
    good = np.isfinite(np.stack(list(columns.values()))).all(axis=0) & (columns["tmax_c"] > columns["tmin_c"])
    sun = columns["sun_mj_m2"]
    mean = float(np.nanmean(sun))
    sun = sun if mean < MOST_KWH else sun / 3.6  # some tables head kilowatt-hours as megajoules
    return Record(
        name, _site(head, name), "daily", dates, good, columns["tmax_c"], columns["tmin_c"],
        sun, columns["rain_mm"],
    )  # fmt: skip


def _number(cell: str) -> float:
    return float(cell) if cell.strip() else np.nan


def read_hourly(file: Path) -> Record:
    """An hourly table, hour beginning: time, complete_day, temp_c, rh_percent, ghi_wm2, wind_ms, rain_mm."""
    head, rows = _lines(file)
    name = file.name.split(".")[0]
    start = datetime.fromisoformat(rows[0]["time"])
    days = len(rows) // 24
    rows = rows[: 24 * days]
    hours = {
        k: np.array([_number(r[k]) for r in rows]).reshape(days, 24)
        for k in ("temp_c", "rh_percent", "ghi_wm2", "wind_ms", "rain_mm")
    }
    rh = np.where(np.isnan(hours["rh_percent"]), SATURATED, hours["rh_percent"] / 100.0)
    whole = np.array([r["complete_day"] == "1" for r in rows]).reshape(days, 24).all(axis=1)
    good = whole & np.isfinite(hours["temp_c"]).all(axis=1) & np.isfinite(hours["wind_ms"]).all(axis=1)
    dates = tuple(date.fromordinal(start.date().toordinal() + d) for d in range(days))
    return _of_hours(
        name,
        _site(head, name),
        "hourly",
        dates,
        good,
        hours["temp_c"],
        rh,
        np.nan_to_num(hours["ghi_wm2"]),
        hours["wind_ms"],
        np.nan_to_num(hours["rain_mm"]),
    )


def from_weather(air: HourlyWeather, name: str, kind: str, member: int = 0) -> Record:
    """A record from hourly weather that begins at midnight, one member."""
    days = air.hours // 24
    cut = {
        k: np.asarray(getattr(air, k)[member, : 24 * days]).reshape(days, 24)
        for k in ("temp_c", "rh", "ghi_wm2", "wind_ms", "rain_mm")
    }
    first = air.start.date().toordinal()
    dates = tuple(date.fromordinal(first + d) for d in range(days))
    return _of_hours(
        name,
        air.site,
        kind,
        dates,
        np.ones(days, bool),
        cut["temp_c"],
        cut["rh"],
        cut["ghi_wm2"],
        cut["wind_ms"],
        cut["rain_mm"],
    )


def _of_hours(
    name: str, site: Site, kind: str, dates: tuple[date, ...], good: NDArray[np.bool_], temp: Array,
    rh: Array, ghi: Array, wind: Array, rain: Array,
) -> Record:  # fmt: skip
    with np.errstate(invalid="ignore"):
        return Record(
            name, site, kind, dates, good, temp.max(axis=1), temp.min(axis=1), ghi.sum(axis=1) / 1000.0,
            rain.sum(axis=1), temp, np.clip(rh, 0.01, 1.0), ghi, wind, rain,
        )  # fmt: skip


def normals_of(record: Record) -> tuple[MonthNormals, ...]:
    """Twelve normals as a station would state them, from good days; daily records get a humidity and wind.

    Months without ten good days take the year's means.
    """
    made = []
    for month in range(12):
        use = record.good & (record.months == month)
        use = use if use.sum() >= 10 else record.good
        wet = record.rain_mm[use] >= WET_MM
        days = max(float(wet.mean()), 1e-3) * 30.4 if wet.any() else 0.0
        rain = float(record.rain_mm[use].mean()) * 30.4 if days else 0.0
        rh = float(record.rh[use].mean()) if record.rh is not None else 0.78
        wind = float(record.wind_ms[use].mean()) if record.wind_ms is not None else 1.5
        high, low, sun = (float(v[use].mean()) for v in (record.tmax_c, record.tmin_c, record.sun_kwh))
        rain = max(rain, 0.1) if days else 0.0
        made.append(MonthNormals(high, low, min(rh, 0.985), rain, min(days, 30.4), wind, sun))
    return tuple(made)
