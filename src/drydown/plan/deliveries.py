"""Fruit that is expected, from a plain table: date, species, route, kg, and what else is known."""

from __future__ import annotations

import csv
import io
from datetime import datetime, timedelta, tzinfo

from drydown.errors import InputError, RangeError
from drydown.plan.week import Coming
from drydown.station.model import Station
from drydown.words import say

__all__ = ["COLUMNS", "read_deliveries"]

COLUMNS = ("date", "species", "route", "kg")
"""Columns that are needed; `time` (16:00 where absent), `low_kg` and `high_kg` may stand beside them."""
MOST_ROWS = 400
USUAL_H = 16.0


def read_deliveries(text: str, station: Station, zone: tzinfo) -> tuple[Coming, ...]:
    """Read a table of fruit that is expected.

    Args: text, CSV by comma or semicolon; station; zone of its clock. Routes that are open stand with a slash
    between them ("washed/natural"): the plan chooses. Returns: rows in order of time. Raises `InputError`,
    `RangeError` with the line. Source: our own layout, docs/week.md.
    """
    lines = [x for x in text.lstrip("\ufeff").splitlines() if x.strip()]
    if len(lines) < 2:
        raise InputError("has no rows.", "deliveries", say("Columns: {c}.", c=", ".join(COLUMNS)))
    mark = ";" if lines[0].count(";") > lines[0].count(",") else ","
    rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=mark))
    head = [c.strip().casefold() for c in rows[0]]
    missing = [c for c in COLUMNS if c not in head]
    if missing:
        raise InputError(say("has no column {c}.", c=missing[0]), "deliveries")
    if len(rows) > MOST_ROWS + 1:
        raise InputError(say("has more than {n} rows.", n=MOST_ROWS), "deliveries")
    found = []
    for number, cells in enumerate(rows[1:], 2):
        row = {name: cell.strip() for name, cell in zip(head, cells, strict=False)}
        found.append(_row(row, number, station, zone, mark))
    return tuple(sorted(_named(found), key=lambda c: c.at))


def _row(row: dict[str, str], number: int, station: Station, zone: tzinfo, mark: str) -> Coming:
    where = say("deliveries, line {n}", n=number)
    try:
        at = datetime.fromisoformat(row.get("date", "")).replace(tzinfo=zone)
        hours = datetime.strptime(row["time"], "%H:%M") if row.get("time") else None  # noqa: DTZ007
    except ValueError as error:
        raise InputError("the date or time cannot be read.", where, "Write 2026-11-30 and 16:00.") from error
    at += timedelta(hours=USUAL_H if hours is None else hours.hour + hours.minute / 60.0)
    species, routes = row.get("species", ""), tuple(r.strip() for r in row.get("route", "").split("/"))
    if species not in station.species:
        raise InputError(say("'{s}' is not taken in here.", s=species), where)
    odd = next((r for r in routes if r not in station.routes), None)
    if odd is not None:
        raise InputError(say("'{r}' is not a route of this station.", r=odd), where)
    kg = _kg(row.get("kg", ""), where, mark)
    low = _kg(row["low_kg"], where, mark) if row.get("low_kg") else kg
    high = _kg(row["high_kg"], where, mark) if row.get("high_kg") else kg
    if not low <= kg <= high:
        raise RangeError("low, kg and high must rise.", where)
    return Coming("", species, routes, at, kg, low, high)


def _kg(text: str, where: str, mark: str) -> float:
    try:
        value = float(text.replace(",", ".") if mark == ";" else text)
    except ValueError as error:
        raise InputError(say("'{t}' is not a mass in kg.", t=text[:20]), where) from error
    if not 0.0 < value <= 1e6:
        raise RangeError(say("must be above 0 and at most 1 000 000 kg, got {v:g}.", v=value), where)
    return value


def _named(rows: list[Coming]) -> list[Coming]:
    """Each with a name of its own: species, route, day, and a number where there are several."""
    seen: dict[str, int] = {}
    found = []
    for one in rows:
        plain = f"{one.species[0].upper()}{''.join(r[0].upper() for r in one.routes)} {one.at:%d.%m}"
        seen[plain] = seen.get(plain, 0) + 1
        name = plain if seen[plain] == 1 else f"{plain} {seen[plain]}"
        found.append(Coming(name, one.species, one.routes, one.at, one.kg, one.low_kg, one.high_kg))
    return found
