"""Roasts of one roaster and one probe beside each other, on one time axis that begins at a milestone of the
station's own."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from statistics import median

from drydown.books.bench.roasts import RoastTold
from drydown.books.models import BenchSheet
from drydown.desk.roastpad import EDGE, WIDE, height, marks_c, minutes
from drydown.station.roasters import Roaster
from drydown.words import say

__all__ = ["Beside", "Curve", "Drawn", "Row", "beside", "signed"]

LOOKED, DRAWN = 60, 6
GAP_S = 60.0
"""Degrees between two readings further apart than this are not told (own choice)."""
DASHES = ("", "8 4", "2 3", "12 3 2 3", "1 5", "5 2 1 2")
RIGHT, GROUND = 20.0, 236.0


@dataclass(frozen=True, slots=True)
class Row:
    """A roast: sample, when, grams, time to each milestone from the axis' zero, degrees there, loss,
    colour."""

    number: int
    sample: int | None
    when: datetime
    green_g: float
    at: tuple[str, ...]
    out: str
    zero_c: str
    loss: str
    lightness: str


@dataclass(frozen=True, slots=True)
class Curve:
    """The line of a roast in a box of 358 by 260, its dashes and its number at the end."""

    number: int
    path: str
    dash: str
    marks: tuple[tuple[float, float], ...]
    end: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Curves and axis marks; where zero stands."""

    curves: tuple[Curve, ...]
    across: tuple[tuple[float, str], ...]
    up: tuple[tuple[float, str], ...]
    zero_x: float


@dataclass(frozen=True, slots=True)
class Beside:
    """Milestone that is zero, probe, all that may be zero, rows, picture; what was left out."""

    zero: str
    probe: str
    names: tuple[str, ...]
    rows: tuple[Row, ...]
    drawn: Drawn
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _One:
    """A roast: its sheet, what that tells, first time of each milestone, and where the axis begins [s]."""

    sheet: BenchSheet
    told: RoastTold
    stones: dict[str, float]
    zero: float = 0.0


def signed(seconds: float) -> str:
    """Seconds before or after zero as minutes and seconds."""
    return ("-" if round(seconds) < 0 else "") + minutes(abs(seconds))


def _stones(told: RoastTold) -> dict[str, float]:
    """First time of each milestone; the pad's own word for out is the drop, not a milestone."""
    found: dict[str, float] = {}
    for name, at in told.events:
        if abs(at - told.drop_s) >= 0.05:
            found.setdefault(name.strip().casefold(), float(at))
    return found


def _names(roaster: Roaster, stones: Sequence[dict[str, float]]) -> list[str]:
    """Milestones as they come in time, by their middle roast; in the station's own spelling."""
    spelt = {m.name.casefold(): m.name for m in roaster.milestones}
    middle = {n: median(s[n] for s in stones if n in s) for n in {n for s in stones for n in s}}
    return [spelt.get(n, n) for n in sorted(middle, key=lambda n: (middle[n], n))]


def _degrees(told: RoastTold, at: float) -> float | None:
    """The probe at a moment, between two readings near enough; None where none are."""
    times = [t for t, _c in told.readings]
    k = bisect_left(times, at)
    if k < len(times) and times[k] == at:
        return told.readings[k][1]
    if k == 0 or k == len(times) or times[k] - times[k - 1] > GAP_S:
        return None
    (t0, c0), (t1, c1) = told.readings[k - 1], told.readings[k]
    return c0 + (c1 - c0) * (at - t0) / (t1 - t0)


def beside(roaster: Roaster, wanted: str) -> Beside:
    """The last roasts of a roaster on one axis.

    Args: roaster; wanted, the milestone that is zero, "" for beans in. Returns: what the page shows;
    roasts on
    another probe, and such as have not the milestone, are left out and told. Valid range: the last 60 sheets,
    six drawn. Source: none, times and degrees as recorded.
    """
    sheets = [
        s for s in BenchSheet.objects.filter(kind="roast", undone=False).order_by("-entry_id")[:LOOKED]
        if s.told.get("roaster") == roaster.name
    ]  # fmt: skip
    both = [(s, RoastTold.model_validate(s.told)) for s in sheets]
    notes: list[str] = []
    probes = [t.probe for _s, t in both]
    probe = roaster.probe if roaster.probe in probes or not probes else probes[0]
    same = [_One(s, t, _stones(t)) for s, t in both if t.probe == probe]
    if len(same) < len(both):
        others = len(both) - len(same)
        notes.append(say("{n} roasts on another probe are left out: its degrees are others.", n=others))
    names = _names(roaster, [one.stones for one in same])
    zero = next((n for n in names if n.casefold() == wanted.strip().casefold()), "")
    if wanted and not zero:
        notes.append(say("No roast has the milestone '{m}': the axis begins with beans in.", m=wanted[:40]))
    key = zero.casefold()
    held = [replace(one, zero=one.stones[key]) for one in same if key in one.stones] if zero else same
    if len(held) < len(same):
        notes.append(say("{n} roasts without '{m}' are left out.", n=len(same) - len(held), m=zero))
    if len(held) > DRAWN:
        notes.append(say("The last {n} are drawn.", n=DRAWN))
    held = held[:DRAWN]
    rows = tuple(_row(k, one, names) for k, one in enumerate(held, 1))
    drawn = _drawn(held)
    if len(drawn.curves) < len(held):
        notes.append(say("{n} roasts without readings have no line.", n=len(held) - len(drawn.curves)))
    return Beside(zero, probe, tuple(names), rows, drawn, tuple(notes))


def _drawn(held: Sequence[_One]) -> Drawn:
    first = min((-one.zero for one in held), default=0.0)
    span = max(max((one.told.drop_s - one.zero for one in held), default=60.0) - first, 60.0)

    def x(at: float) -> float:
        return round(EDGE + (WIDE - EDGE - RIGHT) * min(max((at - first) / span, 0.0), 1.0), 1)

    def y(c: float) -> float:
        return round(height(c, GROUND), 1)

    curves = []
    for k, one in enumerate(held, 1):
        points = [(x(at - one.zero), y(c)) for at, c in one.told.readings if at <= one.told.drop_s]
        if points:
            seen = [(at, _degrees(one.told, at)) for at in one.stones.values()]
            marks = tuple((x(at - one.zero), y(c)) for at, c in seen if c is not None)
            path = "M" + "L".join(f"{a:g} {b:g}" for a, b in points)
            curves.append(Curve(k, path, DASHES[k - 1], marks, points[-1]))
    every = 2 if span > 360.0 else 1
    whole = range(math.ceil(first / 60.0), math.floor((first + span) / 60.0) + 1)
    return Drawn(
        tuple(curves), tuple((x(60.0 * m), str(m)) for m in whole if m % every == 0),
        marks_c(GROUND), x(0.0),
    )  # fmt: skip


def _row(number: int, one: _One, names: Sequence[str]) -> Row:
    told, stones, zero = one.told, one.stones, one.zero
    at = tuple(signed(stones[n.casefold()] - zero) if n.casefold() in stones else "" for n in names)
    there = _degrees(told, zero) if zero else told.charge_c
    loss = "" if told.roasted_g is None else f"{100.0 * (1.0 - told.roasted_g / told.green_g):.1f}"
    light = "" if told.lightness is None else f"{told.lightness:.1f}"
    return Row(
        number, one.sheet.sample_no, one.sheet.happened_at, told.green_g, at, signed(told.drop_s - zero),
        "" if there is None else f"{there:.0f}", loss, light,
    )  # fmt: skip
