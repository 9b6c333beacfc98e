"""Exact intervals of what was counted: a Poisson mean, a share."""

from __future__ import annotations

from scipy import stats

from drydown.errors import RangeError
from drydown.words import say

__all__ = ["count_interval", "share_interval"]


def count_interval(k: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact interval of a Poisson mean after counting k.

    Equation: low = chi2(a/2, 2k)/2, high = chi2(1-a/2, 2k+2)/2.
    Args: k [pieces]; confidence [fraction]. Returns: (low, high).
    Valid range: k 0 or more. Source: Garwood 1936 (k=10: 4.795 to 18.39; k=0: 0 to 3.689).
    """
    if k < 0:
        raise RangeError(say("a count is 0 or more, got {k}.", k=k))
    a = 1.0 - confidence
    low = 0.0 if k == 0 else float(stats.chi2.ppf(a / 2, 2 * k)) / 2
    return low, float(stats.chi2.ppf(1 - a / 2, 2 * k + 2)) / 2


def share_interval(k: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact interval of a share after k of n.

    Equation: Clopper-Pearson, by the beta distribution. Args: k, n [pieces]; confidence.
    Returns: (low, high), fractions. Valid range: 0 <= k <= n, n above 0.
    Source: Clopper and Pearson 1934.
    """
    if not 0 <= k <= n or n == 0:
        raise RangeError(say("{k} of {n} is not a share.", k=k, n=n))
    a = 1.0 - confidence
    low = 0.0 if k == 0 else float(stats.beta.ppf(a / 2, k, n - k + 1))
    high = 1.0 if k == n else float(stats.beta.ppf(1 - a / 2, k + 1, n - k))
    return low, high
