"""How quickly it dissolves: a sphere in a finite bath, and water that is pushed through a packed bed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.words import say

__all__ = ["Bed", "BedRun", "roots", "through_bed", "unextracted"]

Array = NDArray[np.float64]


def roots(ratio: float, count: int = 400) -> Array:
    """Roots of (3 + a x2) sin x = 3 x cos x above 0, one in each half wave.

    Args: ratio a, what the bath holds over what the spheres hold at balance [-]; count. Returns: (count,).
    Valid range: a above 0. Source: Crank 1975, sphere in a well-stirred solution of limited volume.

    >>> bool(abs((3 + 2.0 * roots(2.0, 3)[0] ** 2) * np.sin(roots(2.0, 3)[0])
    ...     - 3 * roots(2.0, 3)[0] * np.cos(roots(2.0, 3)[0])) < 1e-8)
    True
    """
    from scipy.optimize import brentq  # noqa: PLC0415

    if not 1e-6 <= ratio <= 1e9:
        raise RangeError(say("must be above 0, got {a:g}.", a=ratio), "bath over spheres")

    def gap(x: float) -> float:
        return float((3.0 + ratio * x * x) * np.sin(x) - 3.0 * x * np.cos(x))

    return np.array([brentq(gap, np.pi * n, np.pi * (n + 1), xtol=1e-13) for n in range(1, count + 1)])


def unextracted(
    seconds: Array, diffusivity_m2_s: float, radius_m: float, ratio: float, count: int = 400
) -> Array:
    """Share of what can leave at balance that has not yet left.

    Equation: sum 6 a (a + 1) exp(-x2 D t/r2)/(9 + 9 a + a2 x2). Args: seconds (time,); diffusivity_m2_s,
    inside
    the grain; radius_m; ratio a; count of terms. Returns: (time,) [fraction]. Valid range: t above 0 (the
    sum is
    slow near it). Source: Crank 1975, eq. 6.30; parameters of a grain are for its maths, not for a cup.

    >>> float(unextracted(np.array([1e9]), 2e-10, 5e-4, 12.0)[0])
    0.0
    """
    if not (diffusivity_m2_s > 0.0 and radius_m > 0.0):
        raise RangeError("must be above 0.", "diffusivity and radius")
    x = roots(ratio, count)
    weight = 6.0 * ratio * (ratio + 1.0) / (9.0 + 9.0 * ratio + (ratio * x) ** 2)
    rate = x * x * diffusivity_m2_s / radius_m**2
    return np.asarray((weight * np.exp(-np.outer(np.atleast_1d(seconds), rate))).sum(axis=1))


@dataclass(frozen=True, slots=True)
class Bed:
    """A packed bed, as of espresso. dose_g; depth_m, area_m2; flow_g_s of water; porosity, share of the
    bed between
    grains; soluble, share of the dose that water can take; fast, share of it at broken surfaces; fast_s
    and slow_s,
    times in which each leaves a grain into fresh water; limit_kg_m3, solubility."""

    dose_g: float = 18.0
    depth_m: float = 0.018
    area_m2: float = 0.00264
    flow_g_s: float = 1.5
    porosity: float = 0.4
    soluble: float = 0.28
    fast: float = 0.5
    fast_s: float = 4.0
    slow_s: float = 60.0
    limit_kg_m3: float = 212.4

    def __post_init__(self) -> None:
        good = 1.0 <= self.dose_g <= 200.0 and 0.002 <= self.depth_m <= 0.2 and 1e-4 <= self.area_m2 <= 0.1
        good &= 0.01 <= self.flow_g_s <= 50.0 and 0.1 <= self.porosity <= 0.8 and 0.0 <= self.fast <= 1.0
        good &= 0.05 <= self.soluble <= 0.4 and min(self.fast_s, self.slow_s) > 0.0 and self.limit_kg_m3 > 0.0
        if not good:
            raise RangeError("is outside what the bed model covers.", "bed")


@dataclass(frozen=True, slots=True)
class BedRun:
    """What ran out of a bed: seconds, beverage [g], strength of all of it so far [%], extraction [% of the
    dose];
    balance, what dissolved solids do not close to [fraction]."""

    seconds: Array
    beverage_g: Array
    strength: Array
    extraction: Array
    balance: float


def through_bed(bed: Bed, seconds: float, cells: int = 60) -> BedRun:
    """Water pushed through a wetted bed: advection, and two kinds of grain that dissolve into it.

    Equation: e dc/dt = -u dc/z + (1 - e)(s_f/t_f + s_s/t_s)(1 - c/c_sat); ds/dt = -s/t (1 - c/c_sat); upwind
    cells, water first fills the pores. Args: bed; seconds [s]; cells. Returns: `BedRun`, each half second.
    Valid range: 1 to 600 s. Source: double porosity after Moroney 2015, times of a grain our own; fines that
    clog and flow that goes round are not in it, so a finer grind than a machine bears looks too good.

    >>> made = through_bed(Bed(), 30.0)
    >>> bool(made.balance < 1e-9)
    True
    """
    from scipy.integrate import solve_ivp  # noqa: PLC0415

    if not 1.0 <= seconds <= 600.0 or not 10 <= cells <= 400:
        raise RangeError(say("must be from 1 to 600 s, got {s:g}.", s=seconds), "bed")
    dz, e = bed.depth_m / cells, bed.porosity
    speed = bed.flow_g_s * 1e-6 / bed.area_m2  # m3/(m2 s), a gram as a millilitre
    grains = (1.0 - e) * bed.area_m2 * dz

    def rates(_t: float, y: Array) -> Array:
        c, fast, slow = y[:cells], y[cells : 2 * cells], y[2 * cells : 3 * cells]
        room = 1.0 - c / bed.limit_kg_m3
        out_fast, out_slow = fast / bed.fast_s * room, slow / bed.slow_s * room
        before = np.concatenate([[0.0], c[:-1]])
        dc = (-speed * (c - before) / dz + (1.0 - e) * (out_fast + out_slow)) / e
        return np.concatenate([dc, -out_fast, -out_slow, [speed * bed.area_m2 * c[-1]]])

    solids = bed.soluble * bed.dose_g * 1e-3 / (grains * cells)
    fast, slow = np.full(cells, bed.fast * solids), np.full(cells, (1.0 - bed.fast) * solids)
    start = np.concatenate([np.zeros(cells), fast, slow, [0.0]])
    at = np.arange(0.0, seconds + 1e-9, 0.5)
    made = solve_ivp(rates, (0.0, at[-1]), start, method="LSODA", t_eval=at, rtol=1e-9, atol=1e-12)
    y = made.y
    out = y[-1]
    inside = e * bed.area_m2 * dz * y[:cells].sum(axis=0)
    left = grains * y[cells : 3 * cells].sum(axis=0)
    whole = grains * start[cells : 3 * cells].sum()
    balance = float(np.abs(inside + left + out - whole).max() / whole)
    beverage = bed.flow_g_s * at
    with np.errstate(invalid="ignore", divide="ignore"):
        strength = np.where(beverage > 0.0, 100.0 * out * 1000.0 / np.maximum(beverage, 1e-9), 0.0)
    return BedRun(at, beverage, strength, 100.0 * out * 1000.0 / bed.dose_g, balance)
