"""A lot's drying curve, drawn by hand for the width it stands in; letters in it never shrink.

Moisture runs on a scale that gives the dry end more room: equal steps of ln(m - 6), m in % wet basis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from drydown.desk.chart import Dot
from drydown.desk.taper import SHARES, outline
from drydown.outlook.forecast import DryingForecast

__all__ = ["Curve", "curves_of"]

DRIEST, FLOOR = 9.0, 6.0
"""The lowest moisture that is drawn, and where the scale would end, % wb."""
GRID = (50, 40, 30, 25, 20, 15, 12, 10)
LONGEST = timedelta(days=60)
LEFT, TOP, FOOT, TAPER = 34.0, 22.0, 30.0, 16.0


class Label(NamedTuple):
    """A word at a point."""

    x: float
    y: float
    words: str

    @property
    def text_y(self) -> float:
        """The foot of letters that stand beside the point."""
        return self.y + 4.0


@dataclass(frozen=True, slots=True)
class Curve:
    """A drawing: its size, and what stands in it by kind, in its own units."""

    name: str
    width: int
    height: int
    nights: tuple[float, ...]
    night_w: float
    days: tuple[Label, ...]
    grid: tuple[Label, ...]
    old: tuple[tuple[str, str], ...]
    band: str
    middle: str
    target_y: float
    target: str
    now_x: float
    reads: tuple[Label, ...]
    dry: Label | None
    bar: str
    taper: str
    bottom: float

    @property
    def right(self) -> float:
        """Where the drawing ends."""
        return self.width - 12.0

    @property
    def plot_h(self) -> float:
        """Height between the words above and the days below."""
        return self.bottom - TOP

    @property
    def target_text_y(self) -> float:
        """Just above the dashed line."""
        return self.target_y - 5.0

    @property
    def dry_text_x(self) -> float:
        """Beside the dot, never past the edge."""
        return min((self.dry.x if self.dry else 0.0) + 8.0, self.right - 62.0)

    @property
    def dry_text_y(self) -> float:
        """Above the dot."""
        return (self.dry.y if self.dry else 0.0) - 16.0

    @property
    def read_labels(self) -> list[Label]:
        """Numbers of readings, the latest always, others where they do not stand on one another."""
        kept: list[Label] = []
        for r in reversed(self.reads):
            if all(abs(r.x - k.x) > 30 or abs(r.y - k.y) > 15 for k in kept):
                kept.append(r)
        return [Label(min(r.x + 7, self.right - 26), r.y - 7, r.words) for r in kept]

    @property
    def now_label(self) -> float:
        """Where the word at now stands, never past the edge."""
        return min(max(self.now_x, LEFT + 30), self.right - 30)


@dataclass(frozen=True, slots=True)
class _Frame:
    """From moments and moistures to points."""

    begin: datetime
    end: datetime
    width: int
    height: int
    wettest: float

    def x(self, at: datetime) -> float:
        share = (at - self.begin) / (self.end - self.begin)
        return round(LEFT + min(max(share, 0.0), 1.0) * (self.width - 12.0 - LEFT), 1)

    def y(self, percent: float) -> float:
        top, low = math.log(self.wettest - FLOOR), math.log(DRIEST - FLOOR)
        share = (top - math.log(max(percent, DRIEST) - FLOOR)) / (top - low)
        return round(TOP + 6 + max(share, 0.0) * (self.height - TOP - FOOT - TAPER - 6), 1)

    def line(self, found: DryingForecast, row: int, until: datetime) -> list[str]:
        """Points of one of the three curves, every two hours."""
        hours = min(found.curve_wb.shape[1] - 1, int((until - found.case.start) / timedelta(hours=1)))
        values = 100.0 * np.asarray(found.curve_wb[row, : hours + 1 : 2])
        start = found.case.start
        return [f"{self.x(start + timedelta(hours=2 * i))},{self.y(v)}" for i, v in enumerate(values)]


def curves_of(
    found: DryingForecast,
    earlier: Sequence[DryingForecast],
    dots: Sequence[Dot],
    begin: datetime,
    now: datetime,
) -> tuple[Curve, Curve]:
    """The curve for a narrow and for a broad screen.

    Args: found, the forecast; earlier ones, the oldest first; dots, readings (moment, fraction wb);
    begin, when it was spread; now.
    """
    return (
        _curve("narrow", 358, 264, found, earlier, dots, begin, now),
        _curve("broad", 640, 300, found, earlier, dots, begin, now),
    )


def _frame(
    found: DryingForecast,
    earlier: Sequence[DryingForecast],
    dots: Sequence[Dot],
    begin: datetime,
    now: datetime,
    width: int,
    height: int,
) -> _Frame:
    late = found.dry_on()[2] or found.case.start + timedelta(hours=found.curve_wb.shape[1] - 1)
    end = min(max(late, now + timedelta(hours=24)) + timedelta(hours=12), begin + LONGEST)
    first = [100.0 * float(f.curve_wb[2, 0]) for f in (*earlier, found)]
    wettest = max([*first, *(100.0 * m for _t, m in dots), 30.0])
    return _Frame(begin, max(end, begin + timedelta(days=2)), width, height, wettest + 2.0)


def _curve(
    name: str,
    width: int,
    height: int,
    found: DryingForecast,
    earlier: Sequence[DryingForecast],
    dots: Sequence[Dot],
    begin: datetime,
    now: datetime,
) -> Curve:
    frame = _frame(found, earlier, dots, begin, now, width, height)
    bottom = height - FOOT
    mids = [frame.x(m) if m else None for m in found.dry_on()]
    middle = found.dry_on()[1]
    target = 100.0 * found.case.target_wb
    dry = None
    if middle is not None:
        words = f"{date_format(middle, 'D')} {middle:%H}:00"
        dry = Label(frame.x(middle), frame.y(target), words)
    return Curve(
        name, width, height, *_nights(frame), _days(frame, name == "broad"),
        tuple(Label(LEFT, frame.y(g), str(g)) for g in GRID if g < frame.wettest),
        tuple(_old(frame, earlier, found)), _band(frame, found), _polyline(frame, found),
        frame.y(target), _("target %(m)g") % {"m": round(target, 1)}, frame.x(now),
        tuple(Label(frame.x(t), frame.y(100.0 * m), f"{100.0 * m:.1f}") for t, m in dots), dry,
        _box(frame.x(begin), frame.x(now), bottom), _taper(frame.x(now), mids, width - 12.0, bottom), bottom,
    )  # fmt: skip


def _nights(frame: _Frame) -> tuple[tuple[float, ...], float]:
    """Where nights begin (18 h) and how broad they are."""
    day = frame.begin.replace(hour=18, minute=0, second=0, microsecond=0)
    found = []
    while day < frame.end:
        if day > frame.begin:
            found.append(frame.x(day))
        day += timedelta(days=1)
    width = (frame.width - 12.0 - LEFT) * (timedelta(hours=12) / (frame.end - frame.begin))
    return tuple(found), round(width, 1)


def _days(frame: _Frame, broad: bool) -> tuple[Label, ...]:
    """Days under the axis, as many as there is room for."""
    noon = frame.begin.replace(hour=12, minute=0, second=0, microsecond=0)
    count = (frame.end - frame.begin) / timedelta(days=1)
    every = max(1, math.ceil(count * (46.0 if broad else 26.0) / (frame.width - LEFT)))
    found = []
    for i in range(math.ceil(count) + 1):
        at = noon + timedelta(days=i)
        if i % every == 0 and frame.begin < at < frame.end:
            words = f"{date_format(at, 'D')} {at.day}" if broad else str(at.day)
            found.append(Label(frame.x(at), frame.height - 2.0, words))
    return tuple(found)


def _band(frame: _Frame, found: DryingForecast) -> str:
    low, high = frame.line(found, 0, frame.end), frame.line(found, 2, frame.end)
    return " ".join([*low, *reversed(high)])


def _polyline(frame: _Frame, found: DryingForecast) -> str:
    return " ".join(frame.line(found, 1, frame.end))


def _old(frame: _Frame, earlier: Sequence[DryingForecast], found: DryingForecast) -> list[tuple[str, str]]:
    """Earlier forecasts, each until the next began."""
    ends = [*(e.case.start for e in earlier[1:]), found.case.start]
    return [
        (
            " ".join([*frame.line(e, 0, end), *reversed(frame.line(e, 2, end))]),
            " ".join(frame.line(e, 1, end)),
        )
        for e, end in zip(earlier, ends, strict=False)
    ]


def _box(start: float, end: float, bottom: float) -> str:
    return f"M{start} {bottom - 14}H{max(end, start + 2)}v10H{start}Z"


def _taper(now: float, mids: Sequence[float | None], right: float, bottom: float) -> str:
    """As tall as the chance that it is still wet."""
    points, share = [(now, 1.0)], 1.0
    for x, part in zip(mids, SHARES, strict=True):
        if x is not None:
            points.append((max(x, now), part))
            share = part
    if mids[-1] is None:
        points.append((right, share))
    return outline(points, bottom - 9.0)
