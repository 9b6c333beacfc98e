"""The plan as the yard's own picture: tanks and places as lanes on one axis of days, lots as bars."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from drydown.plan.answer import Answer
from drydown.plan.told import Bar, lanes_of
from drydown.words import say

__all__ = ["LanePic", "Picture", "picture_of"]

UNITS, TALL = 100.0, 16.0
FEWEST_LETTERS = 55.0


@dataclass(frozen=True, slots=True)
class BarPic:
    """A bar: where it begins and how wide it is [units, 100 a day], its height from the lane's top, and
    words."""

    job: str
    x: float
    wide: float
    y: float
    state: str
    words: str
    named: bool


@dataclass(frozen=True, slots=True)
class LanePic:
    """A lane with its bars stacked so that none covers another, and free area by day."""

    name: str
    kind: str
    bars: tuple[BarPic, ...]
    tall: float
    free: tuple[float, ...]
    least: float

    @property
    def over(self) -> float:
        """By how much it is over-full at the worst [m2]."""
        return max(-self.least, 0.0)


@dataclass(frozen=True, slots=True)
class Picture:
    """All lanes, the days of the axis, and where now is."""

    lanes: tuple[LanePic, ...]
    days: tuple[datetime, ...]
    wide: float
    now_x: float


def picture_of(answer: Answer) -> Picture:
    """The picture of a plan.

    Args: answer. Returns: `Picture`, in units of which a hundred are a day.
    """
    week = answer.week
    begin = week.now.replace(hour=0, minute=0, second=0, microsecond=0)
    end = begin + timedelta(days=week.days)

    def x(at: datetime) -> float:
        return min(max((at - begin) / timedelta(days=1), 0.0), float(week.days)) * UNITS

    lanes = []
    for lane in lanes_of(answer):
        through = [b for b in lane.bars if b.state == "lies" and b.end >= end]
        bars, rows = [], list[datetime]()
        if through:
            words = say("{n} lie there all the while", n=len(through))
            names = ", ".join(b.job for b in through)
            bars.append(BarPic(str(words), x(begin), x(end) - x(begin), 0.0, "lies", names, True))
            rows.append(end)
        for bar in lane.bars:
            if bar.begin >= end or bar in through:
                continue
            number = next((n for n, until in enumerate(rows) if until <= bar.begin), len(rows))
            if number == len(rows):
                rows.append(bar.end)
            rows[number] = bar.end
            bars.append(_bar(bar, x(bar.begin), x(bar.end), TALL * number))
        tall = TALL * max(len(rows), 1)
        lanes.append(
            LanePic(lane.name, lane.kind, tuple(bars), tall, lane.free, round(min(lane.free, default=0.0)))
        )
    days = tuple(begin + timedelta(days=d) for d in range(week.days))
    return Picture(tuple(lanes), days, UNITS * week.days, x(week.now))


def _bar(bar: Bar, a: float, b: float, y: float) -> BarPic:
    wide = max(b - a, 2.0)
    return BarPic(bar.job, a, wide, y, bar.state, bar.words, wide > FEWEST_LETTERS)
