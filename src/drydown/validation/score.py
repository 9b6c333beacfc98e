"""How far the forecast lies from what was published, case by case and by group."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest

from drydown.validation.cases import Case

__all__ = ["Group", "Held", "group_of", "held"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Held:
    """One case held against the forecast: P10, P50, P90 of it, in the unit of `Case.published`."""

    case: Case
    p10: float
    p50: float
    p90: float

    @property
    def ln_error(self) -> float:
        """ln of forecast over published."""
        return float(np.log(self.p50 / self.case.published))

    @property
    def inside(self) -> bool:
        """True where the published number lies in the band."""
        return self.p10 <= self.case.published <= self.p90


@dataclass(frozen=True, slots=True)
class Group:
    """Many cases: geometric bias and median absolute error with every source weighing the same, and the band.

    bias [forecast over published]; error [share]; inside of cases, with a 90 % interval of its share.
    """

    name: str
    cases: int
    sources: int
    bias: float
    error: float
    inside: int
    share_low: float
    share_high: float


def held(case: Case, hours: Array) -> Held:
    """A case against hours of its members (member,), those never dry counted as last."""
    low, middle, high = np.percentile(
        np.where(np.isnan(hours), np.inf, hours), (10, 50, 90), method="nearest"
    )
    return Held(case, float(low), float(middle), float(high))


def group_of(name: str, rows: Sequence[Held]) -> Group:
    """Summary of rows; ratios of two times do not count.

    Equation: bias = exp(mean over sources of the mean ln error); error = weighted median of |forecast over
    published - 1| with weight 1/(cases of the source). Source: definitions; interval of Clopper and Pearson.
    """
    rows = [r for r in rows if not r.case.ratio]
    origins = [r.case.origin for r in rows]
    errors = np.array([r.ln_error for r in rows])
    weights = np.array([1.0 / origins.count(o) for o in origins])
    bias = float(np.exp(np.sum(weights * errors) / weights.sum()))
    away = np.abs(np.expm1(errors))
    order = np.argsort(away)
    middle = int(np.searchsorted(np.cumsum(weights[order]), 0.5 * weights.sum()))
    inside = sum(r.inside for r in rows)
    span = binomtest(inside, len(rows)).proportion_ci(0.90)
    return Group(
        name,
        len(rows),
        len(set(origins)),
        bias,
        float(away[order][middle]),
        inside,
        float(span.low),
        float(span.high),
    )
