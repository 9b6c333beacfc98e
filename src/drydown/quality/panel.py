"""A tasting panel's answers: whether samples differ, which, and how far the tasters agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from drydown.errors import RangeError
from drydown.words import say

__all__ = [
    "Ranking",
    "TwoChoice",
    "cochran_q",
    "page_limits",
    "page_trend",
    "rank_panel",
    "serving_order",
    "triangle",
]

Table = Sequence[Sequence[float]]
EXACT = 6
"""Samples up to which Page's law is counted out."""


@dataclass(frozen=True, slots=True)
class Ranking:
    """Friedman's test of a panel, with agreement and the least difference that counts."""

    rank_sums: tuple[float, ...]
    friedman: float
    p_value: float
    lsrd: float
    kendall_w: float
    assessors: int
    critical: float
    """Friedman's F above which samples differ at 5 % (chi-square)."""
    exact: tuple[float, float] | None = None
    """Exact p and the F from which on 5 % is reached, for panels small enough to count out."""

    def differ(self, i: int, j: int) -> bool:
        """Whether two samples' rank sums differ by more than the least significant difference."""
        p = self.exact[0] if self.exact else self.p_value
        return p < 0.05 and abs(self.rank_sums[i] - self.rank_sums[j]) > self.lsrd


def _table(scores: Table) -> NDArray[np.float64]:
    made = np.asarray(scores, dtype=float)
    if made.ndim != 2 or made.shape[0] < 2 or made.shape[1] < 2:
        raise RangeError("a panel needs two assessors and two samples or more, all answered.", "panel")
    if not np.isfinite(made).all():
        raise RangeError("an answer is missing.", "panel", "Leave the assessor or the sample out.")
    return made


SMALL = {3: 12, 4: 6}
"""Assessors up to which Friedman's law is counted out, by samples."""


def _friedman_law(rows: list[tuple[float, ...]]) -> dict[float, float]:
    """Law of the sum of squared rank sums when each assessor's ranks stand in any order."""
    law: dict[tuple[float, ...], float] = {(0.0,) * len(rows[0]): 1.0}
    for row in rows:
        orders = list(permutations(row))
        after: dict[tuple[float, ...], float] = {}
        for sums, p in law.items():
            for order in orders:
                key = tuple(sorted(a + b for a, b in zip(sums, order, strict=True)))
                after[key] = after.get(key, 0.0) + p / len(orders)
        law = after
    found: dict[float, float] = {}
    for sums, p in law.items():
        square = round(sum(s * s for s in sums), 6)
        found[square] = found.get(square, 0.0) + p
    return found


def _friedman_exact(ranks: NDArray[np.float64]) -> tuple[float, float] | None:
    """Exact p with the ties as they are, and the least F without ties that reaches 5 %."""
    j, p = ranks.shape
    if j > SMALL.get(p, 0):
        return None
    seen = round(float((ranks.sum(axis=0) ** 2).sum()), 6)
    law = _friedman_law([tuple(float(v) for v in row) for row in ranks])
    chance = sum(q for square, q in law.items() if square >= seen - 1e-6)
    plain = _friedman_law([tuple(float(i) for i in range(1, p + 1))] * j)
    tail, limit = 0.0, math.inf
    for square in sorted(plain, reverse=True):
        tail += plain[square]
        if tail > 0.05:
            break
        limit = 12.0 / (j * p * (p + 1)) * square - 3.0 * j * (p + 1)
    return min(1.0, chance), limit


def rank_panel(scores: Table) -> Ranking:
    """Friedman's test on each assessor's ranks of the samples.

    Equation: F = 12/(J P (P+1)) sum R2 - 3 J (P+1), divided by 1 - E/(J P (P2-1)) with
    E = sum(n3 - n) for ties; LSRD = 1.96 sqrt(J P (P+1)/6); W = F / (J (P-1)).
    Args: scores, one row an assessor, one column a sample (scores or ranks, low to high).
    Returns: `Ranking`. Valid range: 2 or more of each; p by chi-square with P-1 degrees.
    Source: ISO 8587 (its example: F = 10.60, LSRD = 12.40); Kendall and Babington Smith 1939.
    """
    table = _table(scores)
    ranks = np.apply_along_axis(stats.rankdata, 1, table)
    j, p = ranks.shape
    sums = ranks.sum(axis=0)
    plain = 12.0 / (j * p * (p + 1)) * float((sums**2).sum()) - 3.0 * j * (p + 1)
    ties = sum(float((n**3 - n).sum()) for n in (np.unique(row, return_counts=True)[1] for row in table))
    loose = 1.0 - ties / (j * p * (p**2 - 1))
    found = plain / loose if loose > 0 else 0.0
    lsrd = 1.96 * (j * p * (p + 1) / 6.0) ** 0.5
    p_value = float(stats.chi2.sf(found, p - 1)) if loose > 0 else 1.0
    critical = float(stats.chi2.ppf(0.95, p - 1))
    exact = _friedman_exact(ranks)
    return Ranking(tuple(map(float, sums)), found, p_value, lsrd, found / (j * (p - 1)), j, critical, exact)


def page_trend(scores: Table) -> tuple[float, float]:
    """Page's test that samples stand in the order of the columns, lowest first.

    Args: scores as in `rank_panel`. Returns: (L, one-sided p), exact up to `EXACT` samples, ties kept
    as half ranks; above that by scipy. Valid range: an order that was set before tasting.
    Source: Page 1963.
    """
    table = _table(scores)
    if table.shape[1] > EXACT:
        found = stats.page_trend_test(table)
        return float(found.statistic), float(found.pvalue)
    ranks = np.apply_along_axis(stats.rankdata, 1, table)
    statistic = float((ranks * np.arange(1, table.shape[1] + 1)).sum())
    return statistic, _at_least(_page_law([tuple(row) for row in ranks]), statistic)


def _page_law(rows: list[tuple[float, ...]]) -> dict[int, float]:
    """Law of 2 L when each assessor's ranks stand in any order: probability by value."""
    law: dict[int, float] = {0: 1.0}
    for row in rows:
        one: dict[int, int] = {}
        for order in permutations(row):
            value = round(2 * sum(r * i for i, r in enumerate(order, 1)))
            one[value] = one.get(value, 0) + 1
        whole, after = sum(one.values()), dict[int, float]()
        for value, p in law.items():
            for more, n in one.items():
                after[value + more] = after.get(value + more, 0.0) + p * n / whole
        law = after
    return law


def _at_least(law: dict[int, float], statistic: float) -> float:
    return min(1.0, sum(p for value, p in law.items() if value >= round(2 * statistic)))


def page_limits(assessors: int, samples: int) -> tuple[float, float]:
    """Page's L from which on an expected order is shown, at 5 % and 1 %.

    Equation: the smallest L whose exact chance is at most that, up to `EXACT` samples without ties;
    above that the normal limit (z P (P+1) sqrt(J (P-1)) + 3 J P (P+1)2) / 12. Args: assessors J,
    samples P [-]. Returns: (5 %, 1 %). Valid range: 2 or more of each. Source: Page 1963; ISO 8587.
    """
    j, p = assessors, samples
    if p <= EXACT:
        law = _page_law([tuple(float(i) for i in range(1, p + 1))] * j)
        values = sorted(law)
        five, one = (
            next((v / 2 for v in values if _at_least(law, v / 2) <= a), math.inf) for a in (0.05, 0.01)
        )
        return five, one
    found = [
        (float(stats.norm.ppf(1 - a)) * p * (p + 1) * (j * (p - 1)) ** 0.5 + 3 * j * p * (p + 1) ** 2) / 12.0
        for a in (0.05, 0.01)
    ]
    return found[0], found[1]


def cochran_q(ticks: Table) -> tuple[float, float]:
    """Cochran's test that samples get ticks (1 or 0, such as an off-flavour) alike often.

    Equation: Q = (k-1)(k sum C2 - N2)/(k N - sum R2), chi-square with k-1 degrees.
    Args: ticks, one row an assessor, one column a sample. Returns: (Q, p).
    Valid range: 0 or 1 only; assessors with all alike tell nothing. Source: Cochran 1950.
    """
    table = _table(ticks)
    if not np.isin(table, (0.0, 1.0)).all():
        raise RangeError("ticks are 0 or 1.", "panel")
    k = table.shape[1]
    columns, rows, n = table.sum(axis=0), table.sum(axis=1), table.sum()
    below = k * n - float((rows**2).sum())
    if below == 0:
        return 0.0, 1.0
    q = (k - 1) * (k * float((columns**2).sum()) - n**2) / below
    return float(q), float(stats.chi2.sf(q, k - 1))


@dataclass(frozen=True, slots=True)
class TwoChoice:
    """A triangle test: how many were right, and how likely that is by guessing."""

    right: int
    tried: int
    p_value: float
    needed: int
    """Right answers needed for significance at 5 %."""


def triangle(right: int, tried: int) -> TwoChoice:
    """Triangle test: the odd one of three was found `right` times of `tried`.

    Equation: binomial with chance 1/3. Args: right, tried [answers]. Returns: `TwoChoice`.
    Valid range: 0 <= right <= tried, tried 1 or more. Source: ISO 4120 (its tables are of this
    binomial).
    """
    if not 0 <= right <= tried or tried < 1:
        raise RangeError(
            say("{right} right of {tried} is not possible.", right=right, tried=tried), "triangle test"
        )
    p = float(stats.binom.sf(right - 1, tried, 1.0 / 3.0))
    needed = next(k for k in range(tried + 2) if stats.binom.sf(k - 1, tried, 1.0 / 3.0) <= 0.05)
    return TwoChoice(right, tried, p, needed)


def serving_order(samples: int) -> list[list[int]]:
    """Balanced serving orders: every sample stands in each place, and after each other one, alike often.

    Args: samples [-]. Returns: rows of sample numbers from 0; `samples` rows when even, twice as
    many when odd. Valid range: 2 to 12. Source: Williams 1949.
    """
    if not 2 <= samples <= 12:
        raise RangeError(say("2 to 12 samples can be served in balance, not {samples}.", samples=samples))
    first, low, high = [], 0, samples - 1
    for i in range(samples):
        first.append(low if i % 2 == 0 else high)
        low, high = (low + 1, high) if i % 2 == 0 else (low, high - 1)
    rows = [[(s + shift) % samples for s in first] for shift in range(samples)]
    return rows if samples % 2 == 0 else rows + [row[::-1] for row in rows]
