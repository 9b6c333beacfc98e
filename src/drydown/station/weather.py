"""Read a weather file of either layout for a station."""

from __future__ import annotations

from pathlib import Path

from drydown.air.csvfile import read_csv
from drydown.air.epw import read_epw
from drydown.air.normals import MonthNormals
from drydown.air.series import HourlyWeather, Site
from drydown.errors import InputError
from drydown.station.model import Station
from drydown.words import say

__all__ = ["read_weather", "station_weather"]


def read_weather(path: Path, site: Site | None) -> HourlyWeather:
    """An EPW or CSV file by its ending.

    Args: path; site of the station (an EPW brings its own). Returns: `HourlyWeather`.
    Valid range: endings .epw and .csv. Raises `InputError` otherwise.
    """
    kind = path.suffix.lower()
    if kind == ".epw":
        return read_epw(path)
    if kind not in {".csv", ".txt"}:
        raise InputError(
            say("ends in '{kind}'.", kind=kind), path.name, "A weather file ends in .epw or .csv."
        )
    if site is None:
        raise InputError("does not say where it was measured.", path.name, "Give the station file as well.")
    return read_csv(path, site)


def station_weather(station: Station, folder: Path) -> HourlyWeather | tuple[MonthNormals, ...]:
    """The weather a station gave: its normals, else its file (beside the station file)."""
    normals = station.normals()
    if normals is not None:
        return normals
    if station.weather.file is None:
        raise InputError(
            "has no climate yet.", "the station", "Type its twelve months, or name a weather file."
        )
    return read_weather(folder / str(station.weather.file), station.place.site())
