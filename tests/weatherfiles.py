"""Small weather files of our own making, good and bad."""

from __future__ import annotations

import math

__all__ = ["csv_lines", "epw_lines"]


def _sun(hour: float) -> float:
    return max(0.0, 850.0 * math.sin(math.pi * (hour - 6.0) / 12.0)) if 6 < hour < 18 else 0.0


def epw_lines() -> list[str]:
    """A whole invented year in EPW layout."""
    head = ["LOCATION,Own,Own,XXX,none,000000,-3.4,45.0,3.0,1600.0"]
    head += ["DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0", "HOLIDAYS,No,0,0,0"]
    head += ["COMMENTS 1,invented", "COMMENTS 2,invented", "DATA PERIODS,1,1,Data,Sunday,1/1,12/31"]
    days = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    rows = []
    for month, count in enumerate(days, 1):
        for day in range(1, count + 1):
            for hour in range(1, 25):
                cells = ["2001", str(month), str(day), str(hour), "60", "x"] + ["0"] * 29
                temp = 18.0 + 5.0 * math.cos(2 * math.pi * (hour - 15) / 24)
                cells[6], cells[7], cells[8] = f"{temp:.1f}", "12.0", "70"
                cells[9], cells[12] = "83000", "330"
                cells[13] = f"{_sun(hour - 0.5):.0f}"
                cells[21], cells[33] = "2.0", "0"
                rows.append(",".join(cells))
    return head + rows


def csv_lines(hours: int = 48) -> list[str]:
    """Two invented days in our own CSV layout; each time is the end of the hour."""
    rows = ["time,temp_c,rh_percent,ghi_wm2,wind_ms,rain_mm"]
    for i in range(1, hours + 1):
        day, hour = 1 + (i - 1) // 24, (i - 1) % 24 + 1
        rows.append(f"2026-03-{day:02d} {hour:02d}:00,15.5,78.0,{_sun(hour - 0.5):.1f},1.5,0.0")
    return rows
