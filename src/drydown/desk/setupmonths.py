"""Twelve months of weather pasted from a spreadsheet, or read from a file of such rows."""

from __future__ import annotations

import re

from drydown.books.numbers import parse_decimal
from drydown.errors import InputError
from drydown.words import say

__all__ = ["COLUMNS", "months_from"]

COLUMNS = ("tmax_c", "tmin_c", "rh_percent", "rain_mm", "rain_days", "wind_ms", "ghi_kwh_m2_day")
LEAST = 6
"""Columns that are needed; the sun may be left out."""
WHERE = "months"


def _cells(line: str) -> list[str]:
    """Cells of a line: by tabs, else semicolons, else blanks; by commas only where all else is missing."""
    for mark in ("\t", ";"):
        if mark in line:
            return [c.strip() for c in line.split(mark)]
    blanks = line.split()
    return blanks if len(blanks) >= LEAST else [c.strip() for c in line.split(",")]


def _number(text: str) -> float | None:
    sign = -1.0 if text.startswith(("-", "\u2212")) else 1.0
    try:
        return sign * float(parse_decimal(text.lstrip("-\u2212"), WHERE))
    except InputError:
        return None


def _without_month_numbers(rows: list[list[str]]) -> list[list[str]]:
    """Rows without a first column that only counts the months."""
    counts = [row[0].rstrip(".") for row in rows] == [str(i) for i in range(1, 13)]
    return [row[1:] for row in rows] if counts else rows


def months_from(text: str) -> dict[str, str]:
    """Values of the monthly table from pasted rows; keys as in the station file.

    Args: text: twelve rows of six or seven numbers (highest, lowest, humidity, rain, rain days, wind,
    sun), January first, or the same lying on its side; a row or column of names, and a first column
    that counts the months, are left out.
    Raises `InputError` saying which row is not understood.
    """
    rows = [cells for cells in (_cells(line) for line in text.splitlines() if line.strip()) if any(cells)]
    named = [[c for c in row if c and not re.search(r"[A-Za-z]", c)] for row in rows]
    kept = [row for row in named if len(row) >= LEAST]
    if len(kept) in {LEAST, LEAST + 1} and all(len(row) >= 12 for row in kept):
        kept = [list(column) for column in zip(*(row[:12] for row in kept), strict=True)]
    if len(kept) != 12:
        raise InputError(
            say("{kept} rows with six numbers or more were found, twelve are needed.", kept=len(kept)), WHERE,
            "One row a month: highest, lowest, humidity, rain, rain days, wind, and the sun if known.",
        )  # fmt: skip
    kept = _without_month_numbers(kept)
    found: dict[str, str] = {}
    for month, row in enumerate(kept, 1):
        if not LEAST <= len(row) <= len(COLUMNS):
            raise InputError(
                say("month {month} has {row} numbers, not six or seven.", month=month, row=len(row)),
                WHERE,
                "Mend it there.",
            )
        for key, cell in zip(COLUMNS, row, strict=False):
            value = _number(cell)
            if value is None:
                raise InputError(
                    say("'{value}' in month {month} is not a number.", value=cell[:20], month=month),
                    WHERE,
                    "Mend it there.",
                )
            found[f"weather.months.{month}.{key}"] = f"{value:.10g}"
    return found
