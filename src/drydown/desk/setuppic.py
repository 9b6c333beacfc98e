"""Pictures of what is described so far: places to scale, twelve months as curves and bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from drydown.books.numbers import parse_decimal
from drydown.desk.setupnames import MONTHS
from drydown.errors import InputError
from drydown.numerals import number
from drydown.words import say

__all__ = ["Box", "Climate", "climate_of", "plan_of"]

WIDTH, GAP, LOW, MOST = 596.0, 8.0, 46.0, 420.0


@dataclass(frozen=True, slots=True)
class Box:
    """A place, to scale; only its area is meant."""

    x: float
    y: float
    width: float
    height: float
    name: str
    area: str

    @property
    def name_y(self) -> float:
        """Foot of the name."""
        return self.y + 17.0

    @property
    def area_y(self) -> float:
        """Foot of the area."""
        return self.y + 34.0

    @property
    def text_x(self) -> float:
        """Where letters begin."""
        return self.x + 6.0


def _read(text: str) -> float | None:
    try:
        found = float(parse_decimal(text, "")) if text.strip() else None
    except InputError:
        return None
    return found


def plan_of(values: dict[str, str]) -> dict[str, Any]:
    """Beds and dryers as boxes in rows, each as large as its area; what cannot be read is left out."""
    areas: list[tuple[str, float]] = []
    for prefix in ("equipment.beds", "equipment.dryers"):
        for i in range(1, 41):
            area = _read(values.get(f"{prefix}.{i}.area_m2", ""))
            name = values.get(f"{prefix}.{i}.name", "").strip()
            if area is not None and area > 0:
                areas.append((name or "?", area))
    if not areas:
        return {"boxes": [], "height": 0, "total": ""}
    total = sum(a for _n, a in areas)
    return {**_laid(areas), "total": say("{area} m2 in {n} places", area=number(total), n=len(areas))}


def _rows_of(areas: Sequence[tuple[str, float]]) -> list[list[tuple[str, float]]]:
    """Up to three places a row, as long as none becomes too narrow for its name."""
    rows = [[areas[0]]]
    for item in areas[1:]:
        wider = [*rows[-1], item]
        smallest = min(a for _n, a in wider) / sum(a for _n, a in wider)
        if len(wider) <= 3 and smallest * WIDTH > 90:
            rows[-1] = wider
        else:
            rows.append([item])
    return rows


def _laid(areas: Sequence[tuple[str, float]]) -> dict[str, Any]:
    """Rows of boxes, all to one scale: the lowest row is high enough for its letters, where that fits."""
    rows = _rows_of(areas)
    room = [WIDTH - GAP * (len(row) - 1) for row in rows]
    sums = [sum(a for _n, a in row) for row in rows]
    scale = max(LOW * r / s for r, s in zip(room, sums, strict=True))
    scale = min(scale, MOST / sum(s / r for r, s in zip(room, sums, strict=True)))
    boxes, y = [], 0.0
    for row, width, area in zip(rows, room, sums, strict=True):
        height, x = area * scale / width, 0.0
        for name, part in row:
            share = part / area * width
            said = f"{number(part)} m2"
            boxes.append(Box(round(x, 1), round(y, 1), round(share, 1), round(height, 1), name, said))
            x += share + GAP
        y += height + GAP
    return {"boxes": boxes, "height": round(y, 1)}


@dataclass(frozen=True, slots=True)
class Climate:
    """Twelve months: highest and lowest as curves, rain as bars, humidity as figures under them."""

    high: str
    low: str
    rain: str
    rh: tuple[tuple[float, str], ...]
    months: tuple[tuple[float, str], ...]
    grid: tuple[tuple[float, str], ...]
    rain_top: str
    known: int


def climate_of(values: dict[str, str]) -> Climate:
    """The months as typed so far; a month that cannot be read is left out."""
    rows = {
        key: [_read(values.get(f"weather.months.{m}.{key}", "")) for m in range(1, 13)]
        for key in ("tmax_c", "tmin_c", "rh_percent", "rain_mm")
    }
    temps = [t for key in ("tmax_c", "tmin_c") for t in rows[key] if t is not None]
    least, most = (min(temps), max(temps)) if temps else (10.0, 30.0)
    least, most = 5 * math.floor(least / 5), max(5 * math.ceil(most / 5), 5 * math.floor(least / 5) + 5)
    rain_most = max([r for r in rows["rain_mm"] if r is not None] or [100.0]) or 100.0

    def x(month: int) -> float:
        return round(60.0 + month * 46.0, 1)

    def y(temp: float) -> float:
        return round(140.0 - 120.0 * (temp - least) / (most - least), 1)

    def line(key: str) -> str:
        return " ".join(f"{x(m)},{y(t)}" for m, t in enumerate(rows[key]) if t is not None)

    bars = "".join(
        f"M{x(m) - 15} 240V{240 - 80 * max(r, 0.0) / rain_most:.1f}h30V240Z"
        for m, r in enumerate(rows["rain_mm"]) if r
    )  # fmt: skip
    grid = tuple((y(t), f"{t:g}") for t in range(int(least), int(most) + 1, 5))
    return Climate(
        line("tmax_c"), line("tmin_c"), bars,
        tuple((x(m), f"{h:g}") for m, h in enumerate(rows["rh_percent"]) if h is not None),
        tuple((x(m), str(name)[:3]) for m, name in enumerate(MONTHS)), grid, f"{rain_most:g}",
        sum(all(rows[k][m] is not None for k in rows) for m in range(12)),
    )  # fmt: skip
