"""All lines of a day, in order, without those that were put off or done."""

from __future__ import annotations

from dataclasses import dataclass

from drydown.day.drylines import dry_lines
from drydown.day.keeplines import keep_lines
from drydown.day.line import Line, ordered
from drydown.day.now import DayNow
from drydown.day.otherlines import other_lines
from drydown.day.planlines import plan_lines
from drydown.day.waterlines import water_lines
from drydown.day.wetlines import wet_lines

__all__ = ["Lines", "lines_of"]


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines to show, in order, and those that are put off."""

    now: tuple[Line, ...]
    put_off: tuple[Line, ...]


def lines_of(day: DayNow) -> Lines:
    """Every line of the day.

    Args: day. Returns: lines in the order of `line.ORDER_SOURCE`; put off are those whose hour is still to
    come.
    """
    found = ordered(
        [
            *wet_lines(day),
            *water_lines(day),
            *plan_lines(day),
            *dry_lines(day),
            *keep_lines(day),
            *other_lines(day),
        ],
        day.now,
    )
    off = {x.key for x in found if (until := day.put_off.get(x.key)) is not None and until > day.now}
    return Lines(tuple(x for x in found if x.key not in off), tuple(x for x in found if x.key in off))
