"""What people do to a drying lot through the day: rake, cover, shade, and when."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.words import say

__all__ = ["ROUTINE_SOURCE", "Event", "Routine"]

ROUTINE_SOURCE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Event:
    """Something done outside the routine: `what` from `from_h` until `until_h`, hours from the start.

    "cover", "uncover", "shade", "unshade" replace the routine in that time; "rake" turns the
    layer at the start of `from_h`; "still" leaves it unturned.
    """

    what: str
    from_h: int
    until_h: int

    def __post_init__(self) -> None:
        known = ("cover", "uncover", "shade", "unshade", "rake", "still")
        if self.what not in known:
            raise RangeError(
                say("event '{what}' is not known.", what=self.what),
                fix=say("Choose: {known}.", known=", ".join(known)),
            )
        if not 0 <= self.from_h < self.until_h:
            raise RangeError(
                say(
                    "event '{what}' must end after it begins: {from_h}, {until_h}.",
                    what=self.what,
                    from_h=self.from_h,
                    until_h=self.until_h,
                )
            )


@dataclass(frozen=True, slots=True)
class Routine:
    """A day's handling. Hours are local, 0 to 24.

    `rake_hours`: at the start of these hours the layer is turned. Covered from `cover_from`
    to `cover_until` (over midnight), and in any hour with more than `rain_cover_mm` of rain
    unless that is None. `shade_from` to `shade_until`: no sun (None: no shading). Heaped where
    `heap_share` is below 1: the heap shows the air that share of the spread area, in covered hours.
    """

    rake_hours: tuple[int, ...] = (8, 10, 12, 14, 16)
    cover_from: float | None = 17.5
    cover_until: float = 7.5
    rain_cover_mm: float | None = 0.1
    shade_from: float | None = None
    shade_until: float = 0.0
    events: tuple[Event, ...] = ()
    heap_share: float = 1.0

    def __post_init__(self) -> None:
        if any(not 0 <= h < 24 for h in self.rake_hours):
            raise RangeError(
                say("rake hours must be from 0 to 23, got {rake_hours}.", rake_hours=self.rake_hours)
            )
        if not 0.05 <= self.heap_share <= 1.0:
            raise RangeError(
                say("heap_share must be from 0.05 to 1, got {heap_share:g}.", heap_share=self.heap_share)
            )
        if self.rain_cover_mm is not None and self.rain_cover_mm < 0:
            raise RangeError(
                say(
                    "rain_cover_mm must be 0 or more, got {rain_cover_mm:g}.",
                    rain_cover_mm=self.rain_cover_mm,
                )
            )

    def covered(self, hour: NDArray[np.float64], rain_mm: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which hours are covered. `hour` local mid-hours (hours,), `rain_mm` (members, hours)."""
        night = np.zeros(hour.shape, dtype=bool)
        if self.cover_from is not None:
            night = (hour >= self.cover_from) | (hour < self.cover_until)
        covered = np.broadcast_to(night, rain_mm.shape).copy()
        if self.rain_cover_mm is not None:
            covered |= rain_mm > self.rain_cover_mm
        for event in self._of("cover", "uncover"):
            covered[..., event.from_h : event.until_h] = event.what == "cover"
        return covered

    def raked(self, hour: NDArray[np.float64]) -> NDArray[np.float64]:
        """1 where the layer is turned at the start of the hour."""
        raked = np.isin(np.floor(hour).astype(int), self.rake_hours).astype(float)
        for event in self._of("rake", "still"):
            if event.what == "rake":
                raked[event.from_h : event.from_h + 1] = 1.0
            else:
                raked[event.from_h : event.until_h] = 0.0
        return raked

    def shaded(self, hour: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which hours are shaded."""
        shaded = np.zeros(hour.shape, dtype=bool)
        if self.shade_from is not None:
            shaded = (hour >= self.shade_from) & (hour < self.shade_until)
        for event in self._of("shade", "unshade"):
            shaded[event.from_h : event.until_h] = event.what == "shade"
        return shaded

    def _of(self, *kinds: str) -> tuple[Event, ...]:
        return tuple(e for e in self.events if e.what in kinds)
