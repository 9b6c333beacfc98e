"""The same equations by a general solver (SUNDIALS CVODE, or scipy's LSODA), tightly.

Only the rates are shared with the kernel; the stepping is the library's. The rates run in
one compiled call, so that a benchmark compares solvers and not Python.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.bed import bed_geometry
from drydown.steps.dry.compiled import compiled, inlined
from drydown.steps.dry.constants import V
from drydown.steps.dry.kernel import capacities, rates
from drydown.steps.dry.lanes import begin, read_air
from drydown.steps.dry.layout import BED_LAYERS, LANES, column
from drydown.steps.dry.rows import (
    AIR1,
    BED1,
    CAP,
    DRIFT,
    F0,
    NOW,
    NS,
    S0,
    SIDE,
    SIZE,
    SLABHEAT,
    STATE,
    T0,
    X0,
    M,
    W,
)
from drydown.steps.dry.state import spread_over

__all__ = ["flat_rates", "integrate", "work_space"]

Array = NDArray[np.float64]


@inlined
def rates_at(ws: Array, hourly: Array, hour: int, seconds: float, y: Array, dy: Array, layers: int) -> None:
    """dy/dt of one member at a moment of an hour; y is shells, film, temperature, slab."""
    for m in range(W):
        for r in range(layers * NS):
            ws[(STATE + X0 + r) * W + m] = y[r]
        for j in range(layers):
            ws[(STATE + F0 + j) * W + m] = y[layers * NS + j]
            ws[(STATE + T0 + j) * W + m] = y[layers * NS + layers + j]
        for i in range(M):
            ws[(STATE + S0 + i) * W + m] = y[layers * NS + 2 * layers + i]
    read_air(ws, hourly, hour, seconds / 3600.0, AIR1)
    capacities(ws, STATE, layers, 0.0, DRIFT)
    bed_geometry(ws, AIR1, BED1, STATE, layers)
    rates(ws, STATE, NOW, BED1, AIR1, SIDE, layers)
    for j in range(layers):
        for i in range(NS):
            dy[j * NS + i] = ws[(SIDE + X0 + j * NS + i) * W] / V[i]
        dy[layers * NS + j] = ws[(SIDE + F0 + j) * W]
        dy[layers * NS + layers + j] = ws[(SIDE + T0 + j) * W] / ws[(CAP + j) * W]
    for i in range(M):
        dy[layers * NS + 2 * layers + i] = ws[(SIDE + S0 + i) * W] / ws[SLABHEAT * W]


@compiled
def flat_rates(ws: Array, hourly: Array, hour: int, seconds: float, y: Array, dy: Array) -> None:
    """`rates_at` of a bed; the number of layers is a constant here, as in the kernel."""
    rates_at(ws, hourly, hour, seconds, y, dy, BED_LAYERS)


@compiled
def layered_rates(
    ws: Array, hourly: Array, hour: int, seconds: float, y: Array, dy: Array, layers: int
) -> None:
    """`rates_at` of any number of layers."""
    rates_at(ws, hourly, hour, seconds, y, dy, layers)


def work_space(table: Array, start: Array, layers: int = BED_LAYERS) -> Array:
    """A work space with the parameters of one member in every lane."""
    ws = np.zeros(SIZE)
    rows = spread_over(start[None], layers)[0]
    begin(ws, np.repeat(table[:, None], LANES, axis=1), np.repeat(rows[:, None], LANES, axis=1), layers)
    return ws


def integrate(
    table: Array,
    hourly: Array,
    raked: Array,
    start: Array,
    rtol: float,
    solver: str,
    layers: int = BED_LAYERS,
) -> tuple[Array, int]:
    """Mean moisture (db, film included) at each hour end, and calls of the rates.

    table (parameter); hourly (hour, column); raked (hour); start as the kernel's START_COLUMNS.
    """
    lanes = np.ascontiguousarray(np.repeat(hourly[:, :, None], LANES, axis=2))
    ws = work_space(table, start, layers)
    shells, film, temp = start[:NS], start[NS], start[NS + 1]
    y = np.concatenate([np.tile(shells, layers), np.full(layers, film / layers), np.full(layers + M, temp)])
    load = table[column("load_dm_kg_m2")] / layers
    out, calls = [_mean(y, load, layers)], 0
    for hour in range(hourly.shape[0]):
        if raked[hour] > 0.5:
            y = _raked(y, layers)
        y, more = _hour(ws, lanes, hour, y, rtol, solver, layers)
        calls += more
        out.append(_mean(y, load, layers))
    return np.array(out), calls


def _mean(y: Array, load: float, layers: int) -> float:
    shells = y[: layers * NS].reshape(layers, NS)
    return float(np.mean(shells @ V + y[layers * NS : layers * NS + layers] / load))


def _raked(y: Array, layers: int) -> Array:
    mixed = y.copy()
    mixed[: layers * NS] = np.tile(y[: layers * NS].reshape(layers, NS).mean(axis=0), layers)
    for first in (layers * NS, layers * NS + layers):
        mixed[first : first + layers] = y[first : first + layers].mean()
    return mixed


def _hour(
    ws: Array, lanes: Array, hour: int, y: Array, rtol: float, solver: str, layers: int
) -> tuple[Array, int]:
    calls = [0]

    def rhs(t: float, y: Array, dy: Array) -> None:
        calls[0] += 1
        if layers == BED_LAYERS:
            flat_rates(ws, lanes, hour, t, y, dy)
        else:
            layered_rates(ws, lanes, hour, t, y, dy, layers)

    if solver == "CVODE":
        from sksundae.cvode import CVODE

        made = CVODE(rhs, rtol=rtol, atol=rtol * 1e-2, method="BDF")
        return np.asarray(made.solve(np.array([0.0, 3600.0]), y).y[-1]), calls[0]
    from scipy.integrate import odeint

    dy = np.empty(y.size)

    def plain(t: float, y: Array) -> Array:
        rhs(t, y, dy)
        return dy

    end = odeint(plain, y, [0.0, 3600.0], tfirst=True, rtol=rtol, atol=rtol * 1e-2, mxstep=20000)[-1]
    return np.asarray(end), calls[0]
