"""Hourly weather with units and ranges checked at entry.

Each value is the mean (rain: the sum) of the hour that ends at its time stamp.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from drydown.air.sun import clear_sky_days_wm2
from drydown.errors import InputError, RangeError
from drydown.units import pressure_at_altitude_pa
from drydown.words import say

__all__ = ["RANGES", "HourlyWeather", "Site"]

Array = NDArray[np.float64]

RANGES: dict[str, tuple[float, float, str]] = {
    "temp_c": (-30.0, 55.0, "C"),
    "rh": (0.01, 1.0, "(a fraction)"),
    "ghi_wm2": (0.0, 1500.0, "W/m2"),
    "wind_ms": (0.0, 45.0, "m/s"),
    "rain_mm": (0.0, 200.0, "mm in the hour"),
    "sky_wm2": (120.0, 560.0, "W/m2"),
}


@dataclass(frozen=True, slots=True)
class Site:
    """Where the weather is: degrees, metres, hours from UTC of local standard time."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    utc_offset_h: float
    name: str = ""
    climate: tuple[tuple[str, float], ...] = ()
    """What is known of its weather beyond monthly means, by the names of `climate.py`."""

    def __post_init__(self) -> None:
        limits = {
            "latitude_deg": (-60.0, 60.0),
            "longitude_deg": (-180.0, 180.0),
            "elevation_m": (-420.0, 5500.0),
            "utc_offset_h": (-12.0, 14.0),
        }
        for key, (low, high) in limits.items():
            value = getattr(self, key)
            if not low <= value <= high:
                raise RangeError(
                    say("must be from {low:g} to {high:g}, got {value:g}.", low=low, high=high, value=value),
                    where=key,
                )

    @property
    def pressure_pa(self) -> float:
        """Mean air pressure at the site, Pa (FAO-56 eq. 7)."""
        return pressure_at_altitude_pa(self.elevation_m)

    @property
    def zone(self) -> timezone:
        """Local standard time."""
        return timezone(timedelta(hours=self.utc_offset_h))

    @property
    def clear_days_wm2(self) -> Array:
        """Clear-sky sun of the middle day of each month, (12, 24), by the local hour [W/m2]."""
        return clear_sky_days_wm2(self.latitude_deg, self.longitude_deg, self.elevation_m, self.utc_offset_h)


@dataclass(frozen=True, slots=True, eq=False)
class HourlyWeather:
    """Weather by the hour, for one or many parallel futures.

    Arrays have shape (members, hours). `start` is the beginning of the first hour (aware).
    `temp_c` air temperature [C]; `rh` [fraction]; `ghi_wm2` sun on level ground [W/m2];
    `wind_ms` at 10 m [m/s]; `rain_mm` [mm/h]; `sky_wm2` long-wave from the sky [W/m2].
    """

    site: Site
    start: datetime
    temp_c: Array
    rh: Array
    ghi_wm2: Array
    wind_ms: Array
    rain_mm: Array
    sky_wm2: Array
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.start.tzinfo is None:
            raise InputError("the start of a weather series needs a time zone.")
        shape = self.temp_c.shape
        for key, (low, high, unit) in RANGES.items():
            values = getattr(self, key)
            if values.ndim != 2 or values.shape != shape:
                raise InputError(
                    say("has shape {shape}, the others {shape_2}.", shape=values.shape, shape_2=shape),
                    where=key,
                )
            bad = ~((values >= low) & (values <= high))
            if bad.any():
                member, hour = (int(i) for i in np.argwhere(bad)[0])
                raise RangeError(
                    say(
                        "must be from {low:g} to {high:g} {unit}, got {value:g}.",
                        low=low,
                        high=high,
                        unit=unit,
                        value=values[member, hour],
                    ),
                    where=say("{key}, hour {hour}", key=key, hour=hour + 1),
                )
            values.setflags(write=False)

    @classmethod
    def of(
        cls, site: Site, start: datetime, columns: Mapping[str, Array], notes: tuple[str, ...] = ()
    ) -> HourlyWeather:
        """From columns by name; a column of shape (hours,) becomes one member."""
        c = {key: np.atleast_2d(np.asarray(columns[key], dtype=np.float64)) for key in RANGES}
        return cls(
            site, start, c["temp_c"], c["rh"], c["ghi_wm2"], c["wind_ms"], c["rain_mm"], c["sky_wm2"], notes
        )

    @property
    def members(self) -> int:
        """How many parallel futures."""
        return int(self.temp_c.shape[0])

    @property
    def hours(self) -> int:
        """How many hours."""
        return int(self.temp_c.shape[1])

    def local_hours(self) -> Array:
        """Local hour of day at the middle of each hour, shape (hours,)."""
        local = self.start.astimezone(self.site.zone)
        first = local.hour + local.minute / 60.0 + 0.5
        return np.asarray((first + np.arange(self.hours)) % 24.0)

    def whole_days(self) -> tuple[date, int, int]:
        """The first local day that is whole, the hours before it, and how many whole days there are."""
        local = self.start.astimezone(self.site.zone)
        before = (24 - local.hour) % 24
        first = local.date() + timedelta(days=1 if before else 0)
        return first, before, (self.hours - before) // 24

    def window(self, start: datetime, hours: int) -> HourlyWeather:
        """The part from `start`; a one-year series wraps round at its end (calendar match)."""
        year = self.hours in {8760, 8784}
        begin = start
        if year:
            begin = _same_day(start, self.start, self.site.zone)
        first = int((begin - self.start) / timedelta(hours=1))
        if not year and (first < 0 or first + hours > self.hours):
            end = self.start + timedelta(hours=self.hours)
            raise InputError(
                say(
                    "the weather runs from {start:%Y-%m-%d} to {end:%Y-%m-%d}, but {hours} h from "
                    "{start_2:%Y-%m-%d %H:%M} are needed.",
                    start=self.start,
                    end=end,
                    hours=hours,
                    start_2=start,
                ),
                fix="Give a longer file, or use the station's monthly normals.",
            )
        index = np.arange(first, first + hours) % self.hours
        cut = {key: getattr(self, key)[:, index].copy() for key in RANGES}
        return replace(self, start=start, **cut)

    def hours_from(self, start: datetime) -> int:
        """Hours this weather can serve from a moment; a whole year wraps round and never ends."""
        if self.hours in {8760, 8784}:
            return self.hours
        return max(0, self.hours - int((start - self.start) / timedelta(hours=1)))

    def after(self, first: HourlyWeather) -> HourlyWeather:
        """This weather with its first hours replaced by a forecast that begins with it.

        `first` has one member or as many as this; it may end early.
        """
        if first.start != self.start:
            raise InputError("the forecast and the weather after it begin at different times.")
        if first.members not in {1, self.members}:
            raise InputError(
                say(
                    "a forecast of {members} members does not fit {members_2}.",
                    members=first.members,
                    members_2=self.members,
                )
            )
        hours = min(first.hours, self.hours)
        joined = {}
        for key in RANGES:
            values = getattr(self, key).copy()
            values[:, :hours] = getattr(first, key)[:, :hours]
            joined[key] = values
        return HourlyWeather.of(self.site, self.start, joined, (*first.notes, *self.notes))

    def draw(self, rows: NDArray[np.int64]) -> HourlyWeather:
        """Members by number, repeats allowed."""
        chosen = {key: getattr(self, key)[rows] for key in RANGES}
        return HourlyWeather.of(self.site, self.start, chosen, self.notes)

    def years(self, start: datetime, hours: int) -> HourlyWeather | None:
        """One member for each year of a series of several years, from the same day of each.

        None where fewer than three years cover the hours.
        """
        found = []
        local = start.astimezone(self.site.zone)
        day = 28 if (local.month, local.day) == (2, 29) else local.day
        last = self.start + timedelta(hours=self.hours)
        for year in range(self.start.astimezone(self.site.zone).year, last.year + 1):
            begin = local.replace(year=year, day=day)
            if begin >= self.start and begin + timedelta(hours=hours) <= last:
                found.append(self.window(begin, hours))
        if len(found) < 3:
            return None
        stacked = {key: np.concatenate([getattr(w, key) for w in found]) for key in RANGES}
        note = say("{found} past years as futures", found=len(found))
        return HourlyWeather.of(self.site, start, stacked, (*self.notes, note))

    def digest(self) -> str:
        """Hash of the content, for caching."""
        total = hashlib.sha256(f"{self.site}{self.start.astimezone(UTC)}".encode())
        for key in RANGES:
            total.update(np.ascontiguousarray(getattr(self, key)).tobytes())
        return total.hexdigest()


def _same_day(start: datetime, first: datetime, zone: timezone) -> datetime:
    """The same local month, day and hour inside the year that begins at `first`."""
    local, origin = start.astimezone(zone), first.astimezone(zone)
    day = 28 if (local.month, local.day) == (2, 29) else local.day
    moved = local.replace(year=origin.year, day=day)
    return moved if moved >= origin else moved.replace(year=origin.year + 1)
