"""Exponential and power as plain arithmetic, so that lanes go through them side by side."""

from __future__ import annotations

import math

from drydown.matter.sorption import OSWIN
from drydown.steps.dry.compiled import inlined

__all__ = ["exponential", "isotherm_power"]

_Q = 16.0 * OSWIN.c - 61.0


@inlined
def exponential(x: float) -> float:
    """exp(x), relative error below 2e-9.

    Equation: (Taylor of degree 7 of x/128)^128. Args: x [-]. Returns: [-].
    Valid range: -20 to 20; held at the ends. Source: Taylor series.
    """
    x = -20.0 if x < -20.0 else x
    x = 20.0 if x > 20.0 else x
    y = x * 0.0078125
    t = 1.0 + y * (1.0 / 6.0 + y * (1.0 / 24.0 + y * (1.0 / 120.0 + y * (1.0 / 720.0 + y / 5040.0)))) * y * y
    t = t + y + 0.5 * y * y
    t = t * t
    t = t * t
    t = t * t
    t = t * t
    t = t * t
    t = t * t
    return t * t


@inlined
def isotherm_power(u: float) -> float:
    """u^3.8514, relative error below 2e-7.

    Equation: s = u^(1/16) by square roots; s^61 by products; the rest by a binomial series.
    Args: u [-, above 0]. Returns: [-]. Valid range: 0.02 to 40. Source: binomial series.
    """
    s = math.sqrt(math.sqrt(math.sqrt(math.sqrt(u))))
    z = s - 1.0
    c = 1.0 + z * (_Q - 6.0) / 7.0
    c = 1.0 + z * (_Q - 5.0) / 6.0 * c
    c = 1.0 + z * (_Q - 4.0) / 5.0 * c
    c = 1.0 + z * (_Q - 3.0) / 4.0 * c
    c = 1.0 + z * (_Q - 2.0) / 3.0 * c
    c = 1.0 + z * (_Q - 1.0) / 2.0 * c
    c = 1.0 + z * _Q * c
    s4 = s * s * s * s
    s8 = s4 * s4
    s16 = s8 * s8
    return s * s4 * s8 * s16 * s16 * s16 * c
