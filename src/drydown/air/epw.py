"""Read an EPW weather file (8 header lines, then one line an hour, 35 columns).

The format is public; hour 1 ends at 01:00. Traps met in real files are answered with the
line and the column.
"""

from __future__ import annotations

from calendar import isleap
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import dew_point_c
from drydown.air.series import RANGES, HourlyWeather, Site
from drydown.air.sun import sky_longwave_wm2
from drydown.errors import InputError
from drydown.words import say

__all__ = ["read_epw"]

Array = NDArray[np.float64]

# name: (column from 0, missing from this value on, multiplier, may be filled)
_COLUMNS = {
    "temp_c": (6, 99.9, 1.0),
    "rh": (8, 999.0, 0.01),
    "sky_wm2": (12, 9999.0, 1.0),
    "ghi_wm2": (13, 9999.0, 1.0),
    "wind_ms": (21, 999.0, 1.0),
}
_RAIN_COLUMN = 33
_MAX_GAP_H = 6


def read_epw(path: Path) -> HourlyWeather:
    """Read a whole EPW year.

    Args: path of the file. Returns: `HourlyWeather`, one member, 8760 or 8784 hours.
    Valid range: ranges of `series.RANGES`; gaps up to 6 h in a column are bridged and noted.
    Source: EnergyPlus weather file data dictionary (columns and hour rule as published).
    """
    lines = _lines(path)
    site = _site(lines[0], path.name)
    rows = [_row(line, number, path.name) for number, line in enumerate(lines[8:], 9)]
    if len(rows) not in {8760, 8784}:
        raise InputError(
            say("has {rows} hours; a year has 8760 or 8784.", rows=len(rows)),
            path.name,
            "Is the file cut short?",
        )
    notes = ["a typical-year file: its months may come from different years"]
    found = {key: _column(rows, key, path.name, notes) for key in _COLUMNS if key != "sky_wm2"}
    found["rh"] = np.clip(found["rh"], 0.01, 1.0)
    start = datetime(_year(rows), int(rows[0][1]), int(rows[0][2]), tzinfo=site.zone)
    hour: Array = (np.arange(len(rows), dtype=np.float64) + 0.5) % 24.0
    sky = _sky(rows, found, hour, site, path.name, notes)
    columns = {**found, "sky_wm2": sky, "rain_mm": _rain(rows, notes)}
    return HourlyWeather.of(site, start, columns, tuple(notes))


def _year(rows: list[list[str]]) -> int:
    """The year to date the file by: 365 days dated in a leap year would be a day off after February."""
    year = int(rows[0][0])
    return year - 1 if len(rows) == 8760 and isleap(year) else year


def _lines(path: Path) -> list[str]:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(say("cannot be read ({strerror}).", strerror=error.strerror), str(path)) from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")  # only names in the header can differ; numbers cannot
    lines = text.splitlines()
    if len(lines) < 10 or not lines[0].upper().startswith("LOCATION"):
        raise InputError(
            "is not an EPW file: its first line does not begin with LOCATION.",
            path.name,
            "For a table made at the station use the CSV layout in docs/weather-files.md.",
        )
    return [line for line in lines if line.strip()]


def _site(header: str, name: str) -> Site:
    cells = [c.strip() for c in header.split(",")]
    if len(cells) != 10:
        raise InputError(
            say("LOCATION has {cells} cells, 10 are needed.", cells=len(cells)),
            say("{name}, line 1", name=name),
            "A decimal comma splits a number in two: write 5.5, not 5,5.",
        )
    try:
        lat, lon, zone, elevation = (float(c) for c in cells[6:10])
    except ValueError as error:
        raise InputError(
            "latitude, longitude, time zone and altitude (cells 7 to 10) must be numbers.",
            say("{name}, line 1", name=name),
        ) from error
    return Site(lat, lon, elevation, zone, cells[1])


def _row(line: str, number: int, name: str) -> list[str]:
    cells = line.split(",")
    if len(cells) < 32:
        raise InputError(
            say("has {cells} cells, at least 32 are needed.", cells=len(cells)),
            say("{name}, line {number}", name=name, number=number),
            "Semicolons or decimal commas do not belong in an EPW file.",
        )
    return cells


def _column(rows: list[list[str]], key: str, name: str, notes: list[str]) -> Array:
    """One column as numbers, short gaps bridged, long gaps and nonsense refused."""
    column, missing, factor = _COLUMNS[key]
    values = np.empty(len(rows))
    for i, row in enumerate(rows):
        try:
            values[i] = float(row[column])
        except ValueError as error:
            raise InputError(
                say("'{value}' is not a number.", value=row[column]),
                say("{name}, line {i}, column {column}", name=name, i=i + 9, column=column + 1),
            ) from error
    gone = values >= missing
    return _bridge(values * factor, gone, f"{name}, column {column + 1} ({key})", notes)


def _bridge(values: Array, gone: NDArray[np.bool_], where: str, notes: list[str]) -> Array:
    if not gone.any():
        return values
    edges = np.flatnonzero(np.diff(np.concatenate(([0], gone.view(np.int8), [0]))))
    starts, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - starts))
    if (ends - starts)[longest] > _MAX_GAP_H:
        raise InputError(
            say(
                "{value} hours are missing from line {starts}; up to {max_gap_h} can be bridged.",
                value=(ends - starts)[longest],
                starts=starts[longest] + 9,
                max_gap_h=_MAX_GAP_H,
            ),
            where,
            "Fill the gap from a neighbour station.",
        )
    hours = np.arange(values.size)
    notes.append(
        say("{where}: {sum} missing hours bridged by a straight line", where=where, sum=int(gone.sum()))
    )
    return np.asarray(np.interp(hours, hours[~gone], values[~gone]))


def _sky(
    rows: list[list[str]], found: dict[str, Array], hour: Array, site: Site, name: str, notes: list[str]
) -> Array:
    """Sky long-wave from the file; where it has none, from the dew point, with a note."""
    column, missing, _ = _COLUMNS["sky_wm2"]
    cells = np.array([float(row[column]) for row in rows])
    low, high, _ = RANGES["sky_wm2"]
    good = (cells < missing) & (cells >= low) & (cells <= high)
    if good.all():
        return cells
    notes.append(
        say("{name}: sky radiation missing for {sum} hours, estimated", name=name, sum=int((~good).sum()))
    )
    dew = dew_point_c(found["temp_c"], found["rh"])
    estimate = sky_longwave_wm2(found["temp_c"], dew, hour, 0.5, site.pressure_pa)
    return np.where(good, cells, estimate)


def _rain(rows: list[list[str]], notes: list[str]) -> Array:
    """Liquid precipitation depth, mm; many files carry none, and that is said."""
    cells = [row[_RAIN_COLUMN].strip() if len(row) > _RAIN_COLUMN else "" for row in rows]
    rain = np.array([float(c) if c else 999.0 for c in cells])
    rain = np.where((rain >= 999.0) | (rain < 0.0), 0.0, rain)
    if rain.sum() < 1.0:
        notes.append("the file carries no rain: wetting and covering for rain are not seen")
    return np.asarray(rain)
