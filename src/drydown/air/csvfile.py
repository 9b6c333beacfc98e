"""Read the plain table a station can make itself: hourly, a line a day, or readings. docs/weather-files.md.

Columns by name, in any order: time, temp_c, rh_percent, ghi_wm2, wind_ms, rain_mm.
`time` is local standard time at the END of the hour, YYYY-MM-DD HH:MM.
"""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from drydown.air.logger import mended, whole_hours
from drydown.air.moist import dew_point_c
from drydown.air.series import HourlyWeather, Site
from drydown.air.sparse import Reading, from_days, from_readings
from drydown.air.sun import cloud_of_clearness, sky_longwave_wm2
from drydown.errors import InputError
from drydown.words import say

__all__ = ["COLUMNS", "read_csv"]

Array = NDArray[np.float64]

COLUMNS: dict[str, tuple[float, float]] = {
    "temp_c": (-30.0, 55.0),
    "rh_percent": (1.0, 100.0),
    "ghi_wm2": (0.0, 1500.0),
    "wind_ms": (0.0, 45.0),
    "rain_mm": (0.0, 200.0),
}
FEW: dict[str, tuple[float, float]] = {
    "tmax_c": (-30.0, 55.0),
    "tmin_c": (-30.0, 55.0),
    "temp_c": (-30.0, 55.0),
    "rh_percent": (1.0, 100.0),
    "rain_mm": (0.0, 500.0),
    "wind_ms": (0.0, 45.0),
    "sunshine_h": (0.0, 24.0),
    "ghi_kwh_m2": (0.0, 13.0),
}
"""Columns of a line a day, or of a few readings a day (`sparse.py`)."""
MISSING = {"", "na", "n/a", "nan", "-", "--", "null", "none", "-99", "-999", "-9999", "9999"}


class _Spot(NamedTuple):
    """Where a cell stands; made for every cell, put into words only where something is wrong."""

    name: str
    line: int
    column: str = "time"

    def words(self) -> str:
        return say("{name}, line {number}, column {key}", name=self.name, number=self.line, key=self.column)


def read_csv(path: Path, site: Site) -> HourlyWeather:
    """Read a station's own hourly table.

    Args: path of the file; site it was taken at. Returns: `HourlyWeather`, one member.
    Valid range: `COLUMNS`; at least 24 consecutive hours; gaps up to 4 h are bridged, longer
    ones left out, both noted.
    Source: our own layout, docs/weather-files.md.
    """
    text, notes = _text(path)
    rows, mark = _rows(text, path.name)
    if (few := _few(rows, mark, site, path.name)) is not None:
        return few
    header = _header(rows[0], path.name)
    body = [(n, r) for n, r in enumerate(rows[1:], 2) if any(c.strip() for c in r)]
    if len(body) < 24:
        raise InputError(say("has {body} hours; at least 24 are needed.", body=len(body)), path.name)
    cells = [(n, r[header["time"]]) for n, r in body]
    stamps = [_moment(cell, _Spot(path.name, n)).replace(tzinfo=site.zone) for n, cell in cells]
    first, hours, place = whole_hours(stamps, lambda row: _Spot(path.name, cells[row][0]).words())
    found = {}
    for key in COLUMNS:
        if key in header:
            found[key] = np.full(hours, np.nan)
            found[key][place] = _numbers(body, header[key], key, mark, path.name)
    _traps_raw(found, path.name)
    found, begin = mended(found, first - timedelta(hours=1), site, path.name, notes)
    times = [begin + timedelta(hours=h + 1) for h in range(found["temp_c"].size)]
    _traps(found, times, path.name)
    if "rain_mm" not in found:
        notes.append("no rain_mm column: wetting and covering for rain are not seen")
    return _weather(found, times, site, tuple(notes))


def _few(rows: list[list[str]], mark: str, site: Site, name: str) -> HourlyWeather | None:
    """Weather of a table that is not hourly: a line a day, or a few readings a day; None of an hourly one."""
    names = [c.strip().lower() for c in rows[0]]
    body = [(n, r) for n, r in enumerate(rows[1:], 2) if any(c.strip() for c in r)]
    if {"date", "tmax_c", "tmin_c"} <= set(names):
        return from_days([_day(names, r, n, mark, name) for n, r in body], site, name)
    if not {"time", "temp_c", "rh_percent"} <= set(names) or len(body) < 2:
        return None
    at = names.index("time")
    first, second = (_moment(r[at], _Spot(name, n)) for n, r in body[:2])
    if second - first <= timedelta(hours=1):
        return None
    return from_readings([_reading(names, r, n, mark, name) for n, r in body], site, name)


def _day(
    names: list[str], row: list[str], number: int, mark: str, name: str
) -> tuple[date, dict[str, float]]:
    spot = _Spot(name, number, "date")
    cell = row[names.index("date")].strip()
    try:
        day = date.fromisoformat(cell)
    except ValueError as error:
        raise InputError(
            say("'{cell}' is not a date.", cell=cell), spot.words(), "Write 2026-03-01."
        ) from error
    found = _kept_cells(names, row, number, mark, name)
    if not {"tmax_c", "tmin_c"} <= set(found):
        raise InputError("the day lacks its high or its low.", spot.words())
    return day, found


def _reading(names: list[str], row: list[str], number: int, mark: str, name: str) -> Reading:
    spot = _Spot(name, number)
    found = _kept_cells(names, row, number, mark, name)
    if not {"temp_c", "rh_percent"} <= set(found):
        raise InputError("the reading lacks temperature or humidity.", spot.words())
    more = {k: v for k, v in found.items() if k not in {"temp_c", "rh_percent"}}
    at = _moment(row[names.index("time")], spot)
    return Reading(at, found["temp_c"], found["rh_percent"] / 100.0, more)


def _kept_cells(names: list[str], row: list[str], number: int, mark: str, name: str) -> dict[str, float]:
    """The cells that hold a number, by column, each inside its range."""
    found = {}
    for key, cell in zip(names, row, strict=True):
        if key not in FEW or cell.strip().lower() in MISSING:
            continue
        spot = _Spot(name, number, key)
        value, (low, high) = _number(cell.strip(), mark, spot), FEW[key]
        if not low <= value <= high:
            raise InputError(
                say("{cell} is outside {low:g} to {high:g}.", cell=cell.strip(), low=low, high=high),
                spot.words(),
            )
        found[key] = value
    return found


def _text(path: Path) -> tuple[str, list[str]]:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(say("cannot be read ({strerror}).", strerror=error.strerror), str(path)) from error
    if raw[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        raise InputError("is saved as UTF-16.", path.name, "Save it as CSV UTF-8.")
    if b"\x00" in raw[:4000]:
        raise InputError("is not a text file.", path.name, "Save the sheet as CSV first.")
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return raw.decode("latin-1"), [say("line {line} is not UTF-8; read as Latin-1", line=line)]


def _rows(text: str, name: str) -> tuple[list[list[str]], str]:
    """Cells and the decimal mark; the separator is read off the header line."""
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    if not lines or not lines[0].strip():
        raise InputError("is empty.", name, "The first line must name the columns.")
    separator = max(";\t,", key=lines[0].count)
    if not lines[0].count(separator):
        raise InputError(
            "has one column only.",
            say("{name}, line 1", name=name),
            "Separate columns by comma, semicolon or tab.",
        )
    rows = list(csv.reader(lines, delimiter=separator))
    width = len(rows[0])
    for number, row in enumerate(rows, 1):
        if row and len(row) != width:
            hint = "With commas between columns the decimal mark must be a point."
            raise InputError(
                say("has {row} cells, the header has {width}.", row=len(row), width=width),
                say("{name}, line {number}", name=name, number=number),
                hint if separator == "," and len(row) > width else "",
            )
    return rows, "." if separator == "," else ","


def _header(cells: list[str], name: str) -> dict[str, int]:
    names = [c.strip().lower() for c in cells]
    twice = {n for n in names if names.count(n) > 1 and n}
    if twice:
        raise InputError(
            say("column '{pop}' stands twice.", pop=twice.pop()), say("{name}, line 1", name=name)
        )
    needed = ["time", "temp_c", "rh_percent", "ghi_wm2", "wind_ms"]
    absent = [n for n in needed if n not in names]
    if absent:
        raise InputError(
            say(
                "column '{value}' is missing; the header reads: {names}.",
                value=absent[0],
                names=", ".join(names),
            ),
            say("{name}, line 1", name=name),
            "Column names are listed in docs/weather-files.md.",
        )
    return {n: i for i, n in enumerate(names)}


def _moment(cell: str, spot: _Spot) -> datetime:
    """A time without a zone; 24:00 is midnight at the end of that day."""
    cell = cell.strip()
    day_end = cell.endswith("24:00")
    text = cell[: -len("24:00")] + "00:00" if day_end else cell
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            say("'{cell}' is not a time.", cell=cell), spot.words(), "Write 2026-03-01 14:00."
        ) from error
    if moment.tzinfo is not None:
        raise InputError(
            say("'{cell}' carries a time zone.", cell=cell),
            spot.words(),
            "Write local standard time without a zone.",
        )
    return moment + timedelta(days=1) if day_end else moment


def _numbers(
    body: list[tuple[int, list[str]]],
    column: int,
    key: str,
    mark: str,
    name: str,
) -> Array:
    low, high = COLUMNS[key]
    values = np.full(len(body), np.nan)
    for i, (number, row) in enumerate(body):
        cell = row[column].strip()
        if cell.lower() in MISSING:
            continue
        spot = _Spot(name, number, key)
        values[i] = _number(cell, mark, spot)
        if not low <= values[i] <= high:
            raise InputError(
                say("{cell} is outside {low:g} to {high:g}.", cell=cell, low=low, high=high),
                spot.words(),
                _hint(key, values[i]),
            )
    return values


def _number(cell: str, mark: str, spot: _Spot) -> float:
    text = cell.replace(mark, ".") if mark == "," else cell
    if text.count(".") > 1:
        raise InputError(
            say("'{cell}' has more than one decimal mark.", cell=cell), spot.words(), "No group marks."
        )
    try:
        return float(text)
    except ValueError as error:
        raise InputError(
            say("'{cell}' is not a number.", cell=cell), spot.words(), "Write NA if it is missing."
        ) from error


def _hint(key: str, value: float) -> str:
    if key == "temp_c" and value <= 100:
        return "Are temp_c and rh_percent swapped, or is it Fahrenheit?"
    if key == "ghi_wm2" and value < 0:
        return "Small negative night readings: set them to 0."
    if key == "ghi_wm2":
        return "The unit is W/m2 (hour mean), not kJ or lux."
    return ""


def _traps_raw(found: dict[str, Array], name: str) -> None:
    """A column that holds nothing at all."""
    for key, values in found.items():
        if np.isnan(values).all():
            raise InputError("has no value at all.", say("{name}, column {key}", name=name, key=key))


def _traps(found: dict[str, Array], times: list[datetime], name: str) -> None:
    """Mistakes that pass every single-value range."""
    rh, temp, sun = found["rh_percent"], found["temp_c"], found["ghi_wm2"]
    if rh.max() <= 1.0:
        raise InputError(
            "all values are 1 or less.", say("{name}, column rh_percent", name=name), "Per cent, please."
        )
    if rh.max() < 50.0 and temp.min() >= 15.0 and temp.mean() > rh.mean():
        raise InputError(
            "look swapped: the humidity never reaches 50 and runs below the temperature.",
            say("{name}, columns temp_c and rh_percent", name=name),
        )
    hour = np.array([(t - timedelta(minutes=30)).hour for t in times])
    night = sun[(hour >= 22) | (hour <= 3)].sum()
    if sun.sum() > 0 and night > 0.02 * sun.sum():
        raise InputError(
            say("{sum:.0f} % of the sun falls between 22:00 and 04:00.", sum=night / sun.sum() * 100),
            say("{name}, column time", name=name),
            "Is the clock in UTC, or are 12-hour times without pm?",
        )
    if len(times) >= 48 and sun.sum() == 0:
        raise InputError("is zero throughout.", say("{name}, column ghi_wm2", name=name))


def _weather(
    found: dict[str, Array], times: list[datetime], site: Site, notes: tuple[str, ...]
) -> HourlyWeather:
    temp, rh = found["temp_c"], np.clip(found["rh_percent"] / 100.0, 0.01, 1.0)
    middle = [t - timedelta(minutes=30) for t in times]
    hour = np.array([t.hour + t.minute / 60.0 for t in middle])
    sky = sky_longwave_wm2(
        temp, dew_point_c(temp, rh), hour, _cloud(found["ghi_wm2"], middle, site), site.pressure_pa
    )
    columns = {
        "temp_c": temp,
        "rh": rh,
        "ghi_wm2": found["ghi_wm2"],
        "wind_ms": found["wind_ms"],
        "rain_mm": found.get("rain_mm", np.zeros(temp.size)),
        "sky_wm2": sky,
    }
    return HourlyWeather.of(site, times[0] - timedelta(hours=1), columns, notes)


def _cloud(sun: Array, middle: list[datetime], site: Site) -> Array:
    """Cloud share of each day, from the day's sun against the clear sky."""
    clear_days = site.clear_days_wm2
    days = np.array([t.toordinal() for t in middle])
    clear = np.array([clear_days[t.month - 1, t.hour] for t in middle])
    cloud = np.full(sun.size, 0.5)
    for day in np.unique(days):
        mask = days == day
        if clear[mask].sum() > 500.0:
            cloud[mask] = cloud_of_clearness(sun[mask].sum() / clear[mask].sum())
    return cloud
