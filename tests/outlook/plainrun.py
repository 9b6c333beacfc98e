"""A lot dried by the plain equations (`tests/dry/plain.py`) under scipy's LSODA: nothing of the kernel in
it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import odeint

from drydown.steps.dry.layout import BED_LAYERS, PARAMETERS
from tests.dry.plain import M, N, geometry, plain_rates

__all__ = ["plain_moisture"]

Array = NDArray[np.float64]
NAMES = ("temp_c", "rh", "sun", "wind", "rain", "sky", "covered")


def plain_moisture(table: Array, hourly: Array, raked: Array, start: Array, until_db: float) -> Array:
    """Mean moisture [kg/kg, film included] at each hour end until the target is met.

    table (parameter); hourly (hour, column) as a bed meets it; raked (hour); start: shells, film,
    temperature, slab; until_db [kg/kg].
    """
    p = dict(zip(PARAMETERS, table.tolist(), strict=True))
    n, (v, _f) = BED_LAYERS, geometry()
    load = p["load_dm_kg_m2"] / n
    x, film = np.tile(start[: N + 1], (n, 1)), np.full(n, start[N + 1] / n)
    t, s = np.full(n, start[N + 2]), np.full(M, start[N + 3])
    out = [float((x @ v).mean() + film.sum() / (load * n))]
    for hour in range(hourly.shape[0]):
        if raked[hour] > 0.5:
            x, film, t = (np.broadcast_to(a.mean(axis=0), a.shape).copy() for a in (x, film, t))
        ends = [dict(zip(NAMES, hourly[h].tolist(), strict=True)) for h in (max(hour - 1, 0), hour)]
        y = np.concatenate([x.ravel(), film, t, s])
        y = odeint(_rates, y, [0.0, 3600.0], args=(p, ends, n), rtol=1e-4, atol=1e-5, mxstep=20000)[-1]
        x, film, t, s = _parts(y, n)
        out.append(float((x @ v).mean() + film.sum() / (load * n)))
        if out[-1] <= until_db:
            break
    return np.array(out)


def _parts(y: Array, n: int) -> tuple[Array, Array, Array, Array]:
    k = n * (N + 1)
    return y[:k].reshape(n, N + 1), y[k : k + n], y[k + n : k + 2 * n], y[k + 2 * n :]


def _rates(y: Array, seconds: float, p: dict[str, float], ends: list[dict[str, float]], n: int) -> Array:
    part = seconds / 3600.0
    air = dict(ends[1])
    for name in ("temp_c", "rh", "wind", "sky"):
        air[name] = (1.0 - part) * ends[0][name] + part * ends[1][name]
    air["vapour_pa"] = air["rh"] * 610.55 * float(np.exp(17.1032 * air["temp_c"] / (air["temp_c"] + 234.449)))
    made = plain_rates(p, air, *_parts(y, n))
    return np.concatenate([made["dx"].ravel(), made["dfilm"], made["dt"], made["ds"]])
