"""Pictures of what to build: money against service, and the worst day again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from drydown.numerals import number

__all__ = ["Dot", "Front", "Lane", "Stay", "day_picture", "front_picture"]

WIDE, TALL, EDGE = 340.0, 200.0, 34.0
HOUR, FIRST_H, LAST_H = 8.0, 6.0, 72.0


@dataclass(frozen=True, slots=True)
class Dot:
    """A design: where it stands, and whether it is the choice."""

    x: float
    y: float
    chosen: bool
    words: str


@dataclass(frozen=True, slots=True)
class Front:
    """All designs, and the ends of both axes."""

    dots: tuple[Dot, ...]
    low: float
    high: float
    most: float


def front_picture(points: Sequence[Sequence[Any]]) -> Front:
    """Designs by money a year (across) and by how much they miss the levels (down is better).

    Args: points, (money, per cent missed, chosen). Returns: places in a box of 340 by 200. Valid range: one
    point and more. Source: none.
    """
    money = [float(p[0]) for p in points]
    missed = [float(p[1]) for p in points]
    low, high, most = min(money), max(money), max(*missed, 0.01)
    wide = max(high - low, 1e-9)
    dots = tuple(
        Dot(
            EDGE + (WIDE - EDGE - 10.0) * (m - low) / wide, 8.0 + (TALL - 34.0) * (1.0 - s / most),
            bool(p[2]), f"{number(m)}; {s:.1f} %",
        )
        for m, s, p in zip(money, missed, points, strict=True)
    )  # fmt: skip
    return Front(tuple(sorted(dots, key=lambda d: d.chosen)), low, high, most)


@dataclass(frozen=True, slots=True)
class Stay:
    """Part of a lot's day: where it begins and how wide it is."""

    what: str
    x: float
    wide: float


@dataclass(frozen=True, slots=True)
class Lane:
    """A lot of the worst day."""

    name: str
    stays: tuple[Stay, ...]


@dataclass(frozen=True, slots=True)
class DayPicture:
    """The lots of a day and its hours."""

    lanes: tuple[Lane, ...]
    hours: tuple[tuple[float, str], ...]
    wide: float


def day_picture(worst: Mapping[str, Any]) -> DayPicture:
    """The worst day again, from six in the morning to the third midnight.

    Args: worst, plain data of the report. Returns: lanes. Valid range: any day. Source: the simulated lots.
    """
    lanes = []
    for name, bars in worst["lots"]:
        stays = []
        for what, a, b in bars:
            begin, end = max(a, FIRST_H), min(b, LAST_H)
            if end > begin:
                stays.append(Stay(what, HOUR * (begin - FIRST_H), HOUR * (end - begin)))
        lanes.append(Lane(name, tuple(stays)))
    marks = tuple((HOUR * (h - FIRST_H), f"{h % 24:.0f}") for h in (6.0, 12.0, 18.0, 24.0, 36.0, 48.0, 60.0))
    return DayPicture(tuple(lanes), marks, HOUR * (LAST_H - FIRST_H))
