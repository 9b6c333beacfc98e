"""The same equations by a general solver (SUNDIALS CVODE, or scipy's LSODA), tightly.

Only the rates are shared with the kernel; the stepping is the library's.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.kernel import (
    AIR_SIZE,
    BED_SIZE,
    SLAB_RHO_C,
    SLAB_STEP_M,
    WORK_ROWS,
    bed_geometry,
    heat_capacity,
    rates,
)
from drydown.steps.dry.layout import LAYERS, SHELLS, SLAB, column, shell_geometry
from drydown.steps.dry.member import mean_moisture, new_stage, rake, read_air

__all__ = ["Rates", "integrate"]

Array = NDArray[np.float64]
NS = SHELLS + 1
SIZE = LAYERS * NS + 2 * LAYERS + SLAB


class Rates:
    """dy/dt of one member within one hour, for a general solver."""

    def __init__(self, p: Array, hourly: Array) -> None:
        self.p, self.hourly, self.hour = p, hourly, 0
        self.v, self.factors = shell_geometry()
        self.air, self.bed = np.zeros(AIR_SIZE), np.zeros(BED_SIZE)
        self.w, self.tri = np.zeros((WORK_ROWS, LAYERS)), np.zeros((2, LAYERS))
        self.f = new_stage(0.0, 0.0, 0.0)
        self.calls = 0

    def split(self, y: Array) -> tuple[Array, Array, Array, Array]:
        """Views of the parts of y: shells, film, temperature, slab."""
        a, b, c = LAYERS * NS, LAYERS * NS + LAYERS, LAYERS * NS + 2 * LAYERS
        return y[:a].reshape(LAYERS, NS), y[a:b], y[b:c], y[c:]

    def __call__(self, seconds: float, y: Array) -> Array:
        """dy/dt at a moment of the hour."""
        self.calls += 1
        x, film, temp, slab = self.split(np.ascontiguousarray(y))
        read_air(self.hourly, self.hour, seconds / 3600.0, self.air)
        means = [mean_moisture(self.v, x, j) for j in range(LAYERS)]
        bed_geometry(self.p, self.air, float(np.mean(means)), self.bed)
        rates(self.p, self.factors, self.bed, self.air, x, film, temp, slab, self.w, self.tri, *self.f)
        caps = [heat_capacity(self.p, means[j], film[j]) for j in range(LAYERS)]
        parts = (
            (self.f[0] / self.v).ravel(),
            self.f[1],
            self.f[2] / np.array(caps),
            self.f[3] / (SLAB_RHO_C * SLAB_STEP_M),
        )
        return np.concatenate(parts)


def integrate(
    p: Array, hourly: Array, raked: Array, x: float, film: float, temp: float, rtol: float, solver: str
) -> tuple[Array, int]:
    """Mean moisture (db, film included) at each hour end, and calls of the rates."""
    f = Rates(p, hourly)
    y = np.concatenate([s.ravel() for s in new_stage(x, film, temp)])
    load = p[column("load_dm_kg_m2")] / LAYERS
    out = [x + film / (load * LAYERS)]
    for hour in range(hourly.shape[0]):
        f.hour = hour
        if raked[hour] > 0.5:
            rake(*f.split(y)[:3])
        y = _hour(f, y, rtol, solver)
        shells, films = f.split(y)[:2]
        out.append(float(np.mean([mean_moisture(f.v, shells, j) + films[j] / load for j in range(LAYERS)])))
    return np.array(out), f.calls


def _hour(f: Rates, y: Array, rtol: float, solver: str) -> Array:
    if solver == "LSODA":
        from scipy.integrate import solve_ivp

        return np.asarray(
            solve_ivp(f, (0.0, 3600.0), y, method="LSODA", rtol=rtol, atol=rtol * 1e-2).y[:, -1]
        )
    from sksundae.cvode import CVODE

    def rhs(t: float, y: Array, dy: Array) -> None:
        dy[:] = f(t, y)

    made = CVODE(rhs, rtol=rtol, atol=rtol * 1e-2, method="BDF")
    return np.asarray(made.solve(np.array([0.0, 3600.0]), y).y[-1])
