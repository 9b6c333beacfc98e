"""What a study tells beside its figures: what binds in each month, wet years, the worst day again, a flow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan

import numpy as np
from numpy.typing import NDArray

from drydown.season.chain import Chain
from drydown.season.outcome import CAUSES, rows_of
from drydown.season.simulate import TAIL_DAYS
from drydown.season.study import Study
from drydown.season.yard import Lot
from drydown.words import say

__all__ = ["Bar", "Day", "Flow", "WetYears", "binds", "flow_of", "interval", "wet_years", "worst_day"]

Array = NDArray[np.float64]
WET_SHARE = 0.2
"""Of the seasons, those with most rain in the harvest, that count as wet years."""


def interval(values: Sequence[bool] | NDArray[np.bool_], share: float = 0.95) -> tuple[float, float, float]:
    """A share with its exact interval.

    Args: values, true or false; share [fraction]. Returns: low, share, high. Valid range: one value and more.
    Source: Clopper and Pearson 1934, by scipy.

    >>> tuple(round(x, 3) for x in interval([True] * 97 + [False] * 3))
    (0.915, 0.97, 0.994)
    """
    from scipy.stats import binomtest  # noqa: PLC0415

    held, count = int(np.sum(values)), len(values)
    found = binomtest(held, count).proportion_ci(share)
    return float(found.low), held / count, float(found.high)


def binds(found: Study) -> list[tuple[date, dict[str, float]]]:
    """What lots waited for, month by month: kilogram-hours a season, the most first.

    Args: found. Returns: first day of each month; hours times kilograms by "pulper", "tank", "people",
    "room".
    Valid range: any study. Source: the waits of the lots.
    """
    begins = found.units[0].harvest.begins
    months: dict[date, dict[str, float]] = {}
    for unit in found.units:
        for lots in unit.lots:
            for lot in lots:
                on = (begins + timedelta(days=lot.day)).replace(day=1)
                for what, hours in _waits(lot):
                    row = months.setdefault(on, {})
                    row[what] = row.get(what, 0.0) + hours * lot.kg / found.outcome.seasons
    return [(on, dict(sorted(row.items(), key=lambda x: -x[1]))) for on, row in sorted(months.items())]


def _waits(lot: Lot) -> list[tuple[str, float]]:
    found = []
    if lot.pulp_at == lot.pulp_at and lot.why:
        found.append((lot.why, max(lot.pulp_at - lot.came, 0.0)))
    if lot.wash_at == lot.wash_at:
        found.append(("people", max(lot.wash_at - lot.ready, 0.0)))
    since = lot.wet_since if lot.wet_since == lot.wet_since else lot.came
    if lot.spread == lot.spread and (lot.wet_since == lot.wet_since or lot.pulp_at != lot.pulp_at):
        found.append(("room", max(lot.spread - since, 0.0)))
    return found


@dataclass(frozen=True, slots=True)
class WetYears:
    """Means over the wettest seasons and over the others: share of the worth lost, lots past the mould rule,
    days with fresh fruit, and kilograms of fruit by cause."""

    count: int
    lost: tuple[float, float]
    mould: tuple[float, float]
    fresh: tuple[float, float]
    causes: tuple[tuple[str, float, float], ...]


def wet_years(found: Study) -> WetYears:
    """What goes wrong when it rains: the wettest fifth of the seasons beside the rest.

    Args: found. Returns: `WetYears`, wet first. Valid range: 5 seasons and more. Source: rain of the
    harvest's
    own days.
    """
    each = found.outcome.each
    rain = each["rain_mm"]
    count = max(round(WET_SHARE * rain.size), 1)
    wet = np.zeros(rain.size, dtype=bool)
    wet[np.argsort(-rain, kind="stable")[:count]] = True

    def pair(values: Array) -> tuple[float, float]:
        rest = values[~wet] if (~wet).any() else values
        return float(values[wet].mean()), float(rest.mean())

    causes = tuple((c, *pair(found.outcome.lost_kg[:, k])) for k, c in enumerate(CAUSES))
    return WetYears(
        count, pair(each["lost_share"]), pair(each["mould_lots"]), pair(each["fresh_days"]), causes
    )


@dataclass(frozen=True, slots=True)
class Bar:
    """Part of a lot's day: what, from and until [h of that day; beyond 24 the next]."""

    what: str
    from_h: float
    until_h: float


@dataclass(frozen=True, slots=True)
class Day:
    """A day again: its date, season, fruit [kg], share of its worth that was lost, and each lot's bars."""

    on: date
    season: int
    fruit_kg: float
    lost: float
    lots: tuple[tuple[str, tuple[Bar, ...]], ...]


def worst_day(found: Study) -> Day | None:
    """The day on which most was lost of what came, of all seasons.

    Args: found. Returns: `Day`; None where nothing was lost. Valid range: any study. Source: the lots.
    """
    worst: tuple[float, int, int, int] | None = None
    for u, unit in enumerate(found.units):
        until = 24.0 * (unit.harvest.days + TAIL_DAYS)
        for s, lots in enumerate(unit.lots):
            if not lots:
                continue
            rows = rows_of(lots, found.design, until)
            gone = np.zeros(unit.harvest.days)
            np.add.at(gone, rows.day, rows.kg * (1.0 - rows.kept))
            day = int(gone.argmax())
            if gone[day] > 0.0 and (worst is None or gone[day] > worst[0]):
                worst = (float(gone[day]), u, s, day)
    if worst is None:
        return None
    gone_kg, u, s, day = worst
    unit = found.units[u]
    mine = [lot for lot in unit.lots[s] if lot.day == day]
    kg = sum(lot.kg for lot in mine)
    rows_told = tuple(
        (f"{lot.species}, {lot.route.replace('_', ' ')}", _bars(lot, 24.0 * day)) for lot in mine
    )
    return Day(unit.harvest.begins + timedelta(days=day), unit.first + s, kg, gone_kg / kg, rows_told)


def _bars(lot: Lot, midnight: float) -> tuple[Bar, ...]:
    """What became of a lot, until it lies."""
    points = [
        ("waits", lot.came, lot.pulp_at),
        ("tank", lot.pulp_at, lot.ready),
        ("late", lot.ready, lot.wash_at),
        ("washed, waits", lot.wash_at, lot.spread),
    ]
    if lot.pulp_at != lot.pulp_at:
        points = [("waits", lot.came, lot.spread)]
    elif lot.ready != lot.ready:
        points = [("waits", lot.came, lot.pulp_at), ("pulped, waits", lot.pulp_at, lot.spread)]
    points.append(("lies", lot.spread, lot.dry))
    found = []
    for what, a, b in points:
        if not isnan(a):
            end = a + 72.0 if isnan(b) else b
            found.append(Bar(say(what), a - midnight, min(end, midnight + 72.0) - midnight))
    return tuple(b for b in found if b.until_h > b.from_h)


@dataclass(frozen=True, slots=True)
class Flow:
    """Kilograms of a thousand of ripe fruit at each step of a route, and what leaves there."""

    steps: tuple[tuple[str, float], ...]
    leaves: tuple[tuple[str, float], ...]
    water_l: float
    people_h: float


def flow_of(chain: Chain, float_share: float) -> Flow:
    """A thousand kilograms of fruit through a route.

    Args: chain; float_share [fraction]. Returns: `Flow`. Valid range: any chain. Source: the steps of `way/`.
    """
    kept = 1000.0 * (1.0 - float_share)
    steps = [(say("ripe fruit at the gate"), 1000.0), (say("floated, sinkers kept"), kept)]
    leaves = [(say("floaters"), 1000.0 - kept)]
    ends = {k: kept * (d + w) for k, (d, w) in chain.ends.items()}
    if chain.pulps:
        pulped = kept - ends["by-product/pulp"] / 1000.0 - ends["by-product/pulper loss"] / 1000.0
        steps.append((say("pulped"), pulped))
        leaves.append((say("pulp and beans lost with it"), kept - pulped))
    if chain.ferments:
        steps.append((say("fermented, washed and drained"), kept * chain.wet_kg))
        leaves.append((say("mucilage with the water"), steps[-2][1] - kept * chain.wet_kg))
    dry = kept * chain.stored_kg
    steps.append((say("dried to {p:g} %", p=100.0 * chain.target_wb), dry))
    leaves.append((say("water to the air"), steps[-2][1] - dry))
    steps.append((say("green coffee"), kept * chain.green_kg))
    leaves.append((say("husk or hull, and loss"), dry - kept * chain.green_kg))
    return Flow(tuple(steps), tuple(leaves), kept * chain.water_l, kept * chain.people_h)
