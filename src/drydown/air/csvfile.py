"""Read the plain hourly table a station can make itself. Layout: docs/weather-files.md.

Columns by name, in any order: time, temp_c, rh_percent, ghi_wm2, wind_ms, rain_mm.
`time` is local standard time at the END of the hour, YYYY-MM-DD HH:MM.
"""

from __future__ import annotations

import csv
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import dew_point_c
from drydown.air.series import HourlyWeather, Site
from drydown.air.sun import clear_sky_days_wm2, sky_longwave_wm2
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
MISSING = {"", "na", "n/a", "nan", "-", "--", "null", "none", "-99", "-999", "-9999", "9999"}
_MAX_GAP_H = 3


def read_csv(path: Path, site: Site) -> HourlyWeather:
    """Read a station's own hourly table.

    Args: path of the file; site it was taken at. Returns: `HourlyWeather`, one member.
    Valid range: `COLUMNS`; at least 24 consecutive hours; gaps up to 3 h are bridged, noted.
    Source: our own layout, docs/weather-files.md.
    """
    text, notes = _text(path)
    rows, mark = _rows(text, path.name)
    header = _header(rows[0], path.name)
    body = [(n, r) for n, r in enumerate(rows[1:], 2) if any(c.strip() for c in r)]
    if len(body) < 24:
        raise InputError(say("has {body} hours; at least 24 are needed.", body=len(body)), path.name)
    times = _times([(n, r[header["time"]]) for n, r in body], site, path.name)
    found = {
        key: _numbers(body, header[key], key, mark, path.name, notes) for key in COLUMNS if key in header
    }
    _traps(found, times, path.name)
    if "rain_mm" not in found:
        notes.append("no rain_mm column: wetting and covering for rain are not seen")
    return _weather(found, times, site, tuple(notes))


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


def _times(cells: list[tuple[int, str]], site: Site, name: str) -> list[datetime]:
    """Hour ends, evenly one hour apart; 24:00 is midnight at the end of that day."""
    times: list[datetime] = []
    for number, cell in cells:
        where = say("{name}, line {number}, column time", name=name, number=number)
        moment = _moment(cell.strip(), where).replace(tzinfo=site.zone)
        if times and moment - times[-1] != timedelta(hours=1):
            raise InputError(
                say(
                    "{cell} does not follow {value:%Y-%m-%d %H:%M} by one hour.",
                    cell=cell.strip(),
                    value=times[-1],
                ),
                where,
                "Every hour needs one line: put NA where a value is missing; no summer time.",
            )
        times.append(moment)
    return times


def _moment(cell: str, where: str) -> datetime:
    day_end = cell.endswith("24:00")
    text = cell[: -len("24:00")] + "00:00" if day_end else cell
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            say("'{cell}' is not a time.", cell=cell), where, "Write 2026-03-01 14:00."
        ) from error
    if moment.tzinfo is not None:
        raise InputError(
            say("'{cell}' carries a time zone.", cell=cell),
            where,
            "Write local standard time without a zone.",
        )
    return moment + timedelta(days=1) if day_end else moment


def _numbers(
    body: list[tuple[int, list[str]]],
    column: int,
    key: str,
    mark: str,
    name: str,
    notes: list[str],
) -> Array:
    low, high = COLUMNS[key]
    values = np.full(len(body), np.nan)
    for i, (number, row) in enumerate(body):
        cell = row[column].strip()
        if cell.lower() in MISSING:
            continue
        where = f"{name}, line {number}, column {key}"
        values[i] = _number(cell, mark, where)
        if not low <= values[i] <= high:
            raise InputError(
                say("{cell} is outside {low:g} to {high:g}.", cell=cell, low=low, high=high),
                where,
                _hint(key, values[i]),
            )
    return _bridge(values, key, body, name, notes)


def _number(cell: str, mark: str, where: str) -> float:
    text = cell.replace(mark, ".") if mark == "," else cell
    if text.count(".") > 1:
        raise InputError(say("'{cell}' has more than one decimal mark.", cell=cell), where, "No group marks.")
    try:
        return float(text)
    except ValueError as error:
        raise InputError(
            say("'{cell}' is not a number.", cell=cell), where, "Write NA if it is missing."
        ) from error


def _hint(key: str, value: float) -> str:
    if key == "temp_c" and value <= 100:
        return "Are temp_c and rh_percent swapped, or is it Fahrenheit?"
    if key == "ghi_wm2" and value < 0:
        return "Small negative night readings: set them to 0."
    if key == "ghi_wm2":
        return "The unit is W/m2 (hour mean), not kJ or lux."
    return ""


def _bridge(values: Array, key: str, body: list[tuple[int, list[str]]], name: str, notes: list[str]) -> Array:
    gone = np.isnan(values)
    if not gone.any():
        return values
    run = 0
    for i, missing in enumerate(gone):
        run = run + 1 if missing else 0
        if run > _MAX_GAP_H:
            raise InputError(
                say("more than {max_gap_h} hours in a row are missing.", max_gap_h=_MAX_GAP_H),
                say("{name}, line {value}, column {key}", name=name, value=body[i][0], key=key),
                "Fill the gap from a neighbour station, or use monthly normals.",
            )
    hours = np.arange(values.size)
    notes.append(say("{key}: {sum} missing hours bridged by a straight line", key=key, sum=int(gone.sum())))
    return np.asarray(np.interp(hours, hours[~gone], values[~gone]))


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
    sky = sky_longwave_wm2(temp, dew_point_c(temp, rh), hour, _cloud(found["ghi_wm2"], middle, site))
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
    clear_days = clear_sky_days_wm2(
        site.latitude_deg, site.longitude_deg, site.elevation_m, site.utc_offset_h
    )
    days = np.array([t.toordinal() for t in middle])
    clear = np.array([clear_days[t.month - 1, t.hour] for t in middle])
    cloud = np.full(sun.size, 0.5)
    for day in np.unique(days):
        mask = days == day
        if clear[mask].sum() > 500.0:
            cloud[mask] = np.clip((1.0 - sun[mask].sum() / clear[mask].sum()) / 0.75, 0.0, 1.0)
    return cloud
