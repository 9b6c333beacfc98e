"""Run one member (one future of one lot) through its hours."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.compiled import compiled
from drydown.steps.dry.kernel import (
    AIR_SIZE,
    BED_SIZE,
    CAP,
    COVER,
    FHALF,
    GAMMA,
    NS,
    OSWIN_A,
    OSWIN_B,
    OSWIN_C,
    PVA,
    RAIN,
    SKY,
    SLAB_RHO_C,
    SLAB_STEP_M,
    SUN,
    TA,
    WIND,
    WORK_ROWS,
    L,
    M,
    N,
    bed_geometry,
    heat_capacity,
    rates,
    saturation,
)
from drydown.steps.dry.solver import FACTOR_ROWS, factor_blocks, factor_layer, factor_shells, solve

Array = NDArray[np.float64]

Stage = tuple[Array, Array, Array, Array]
SKIN_TOLERANCE, FILM_TOLERANCE, TEMP_TOLERANCE = 20.0, 50.0, 200.0

OUT_COLUMNS = (
    "moisture_db",  # mean of the lot, film water included
    "moisture_db_low",  # driest layer
    "moisture_db_high",  # wettest layer
    "core_minus_surface_db",  # largest over layers
    "bean_temp_c",  # mean of layers
    "bean_temp_high_c",  # hottest layer
    "surface_aw",  # wettest of skin and outer shell, over layers
    "free_water_kg_m2",
    "evaporated_kg_m2",  # net, from the boundary fluxes
    "rain_held_kg_m2",
    "water_residual",  # relative, of all water that was in the bed
)
OUT_SIZE = len(OUT_COLUMNS)


@compiled
def read_air(hourly: Array, hour: int, part: float, air: Array) -> None:
    """Air at a moment of an hour: straight lines between hour ends; sun and rain as hour means.

    hourly columns: temperature, rh, sun, wind, rain, sky, covered; row h ends hour h.
    """
    before = hour - 1 if hour > 0 else 0
    rest = 1.0 - part
    air[TA] = rest * hourly[before, 0] + part * hourly[hour, 0]
    rh = rest * hourly[before, 1] + part * hourly[hour, 1]
    air[PVA] = rh * saturation(air[TA])
    air[WIND] = rest * hourly[before, 3] + part * hourly[hour, 3]
    air[SKY] = rest * hourly[before, 5] + part * hourly[hour, 5]
    air[SUN] = hourly[hour, 2]
    air[RAIN] = hourly[hour, 4]
    air[COVER] = hourly[hour, 6]


@compiled
def mean_moisture(v: Array, X: Array, j: int) -> float:
    """Volume mean of the shells of layer j."""
    total = 0.0
    for i in range(NS):
        total += v[i] * X[j, i]
    return total


@compiled
def rake(X: Array, F: Array, T: Array) -> None:
    """Mix the layers: each then holds some of all."""
    for i in range(NS):
        mean = 0.0
        for j in range(L):
            mean += X[j, i]
        for j in range(L):
            X[j, i] = mean / L
    film, warmth = 0.0, 0.0
    for j in range(L):
        film += F[j]
        warmth += T[j]
    for j in range(L):
        F[j], T[j] = film / L, warmth / L


@compiled
def near_surface_aw(p: Array, X: Array, F: Array, T: Array, half: float) -> float:
    """Highest water activity near a surface: of the skin or the shell under it, over layers.

    1 where a film wets more than half the surface. The shell under the skin counts because a
    dry skin over wet flesh is still inside the mould window.
    """
    top = 0.0
    for j in range(L):
        if F[j] > half:
            return 1.0
        x = max(X[j, N], X[j, N - 1], 1e-4)
        level = (OSWIN_A + OSWIN_B * T[j]) * p[11]
        top = max(top, 1.0 / (1.0 + (level / (100.0 * x)) ** OSWIN_C))
    return top


@compiled
def report(p: Array, v: Array, X: Array, F: Array, T: Array, half: float, out: Array) -> None:
    """Fill the state columns of one output row."""
    load = p[14] / L
    total, low, high, gap = 0.0, 1e9, -1e9, 0.0
    warm, hot, film = 0.0, -1e9, 0.0
    for j in range(L):
        x = mean_moisture(v, X, j) + F[j] / load
        total += x / L
        low, high = min(low, x), max(high, x)
        gap = max(gap, X[j, 0] - X[j, N])
        warm += T[j] / L
        hot = max(hot, T[j])
        film += F[j]
    out[0], out[1], out[2], out[3] = total, low, high, gap
    out[4], out[5], out[7] = warm, hot, film
    out[6] = near_surface_aw(p, X, F, T, half)


@compiled
def step_error(X: Array, F: Array, tau: float, tol: float, half: float, k1: Stage, k2: Stage) -> float:
    """Size of the difference between the second- and first-order results, 1 at the tolerance.

    Shells by moisture and by the share of the lot they hold, the skin by its own moisture,
    the film by the water that wets half the surface, temperature in kelvin.
    """
    worst = 0.0
    for j in range(L):
        for i in range(NS):
            change = 0.5 * tau * abs(k1[0][j, i] + k2[0][j, i])
            end = X[j, i] + tau * (1.5 * k1[0][j, i] + 0.5 * k2[0][j, i])
            if not end > 0.3 * X[j, i]:
                return 100.0
            if i == N:
                worst = max(worst, change / (tol * SKIN_TOLERANCE * (0.1 + X[j, i])))
            else:
                worst = max(worst, change / tol)
        film = 0.5 * tau * abs(k1[1][j] + k2[1][j])
        worst = max(worst, film / (tol * FILM_TOLERANCE * (half + F[j])))
        warm = 0.5 * tau * abs(k1[2][j] + k2[2][j])
        worst = max(worst, warm / (tol * TEMP_TOLERANCE))
    return worst


@compiled
def combine(v: Array, load: float, tau: float, state: Stage, k1: Stage, k2: Stage, drift: Array) -> None:
    """Take the step: y + tau (3/2 k1 + 1/2 k2). A film below zero is made good by the bean."""
    for j in range(L):
        drift[j] = 0.0
        state[1][j] += tau * (1.5 * k1[1][j] + 0.5 * k2[1][j])
        state[2][j] += tau * (1.5 * k1[2][j] + 0.5 * k2[2][j])
        for i in range(NS):
            rate = 1.5 * k1[0][j, i] + 0.5 * k2[0][j, i]
            state[0][j, i] += tau * rate
            drift[j] += v[i] * rate
        if state[1][j] < 0.0:
            for i in range(NS):
                state[0][j, i] += state[1][j] / load
            state[1][j] = 0.0
    for i in range(M):
        state[3][i] += tau * (1.5 * k1[3][i] + 0.5 * k2[3][i])


@compiled
def predict(tau: float, state: Stage, k1: Stage, ahead: Stage) -> None:
    """State after the first stage alone."""
    for j in range(L):
        ahead[1][j] = state[1][j] + tau * k1[1][j]
        ahead[2][j] = state[2][j] + tau * k1[2][j]
        for i in range(NS):
            ahead[0][j, i] = state[0][j, i] + tau * k1[0][j, i]
    for i in range(M):
        ahead[3][i] = state[3][i] + tau * k1[3][i]


@compiled
def second_side(v: Array, cap: Array, f: Stage, k1: Stage) -> None:
    """Right-hand side of the second stage: rates ahead less twice the first stage."""
    for j in range(L):
        f[1][j] -= 2.0 * k1[1][j]
        f[2][j] -= 2.0 * cap[j] * k1[2][j]
        for i in range(NS):
            f[0][j, i] -= 2.0 * v[i] * k1[0][j, i]
    for i in range(M):
        f[3][i] -= 2.0 * SLAB_RHO_C * SLAB_STEP_M * k1[3][i]


@compiled
def new_stage(x: float, film: float, temp: float) -> Stage:
    """Moisture of shells, film water, bed temperature, slab temperature."""
    return np.full((L, NS), x), np.full(L, film / L), np.full(L, temp), np.full(M, temp)


@compiled
def capacities(p: Array, v: Array, state: Stage, drift: Array, ahead: float, cap: Array) -> float:
    """Heat capacity of each layer half a step ahead; returns the bed's mean moisture there."""
    mean_x = 0.0
    for j in range(L):
        x = mean_moisture(v, state[0], j) + ahead * drift[j]
        cap[j] = heat_capacity(p, x, state[1][j])
        mean_x += x / L
    return mean_x


@compiled
def captured(w: Array) -> float:
    """Rain held by all layers, kg/(m2 s)."""
    total = 0.0
    for j in range(L):
        total += w[CAP, j]
    return total


@compiled
def run_member(
    p: Array,
    v: Array,
    factors: Array,
    hourly: Array,
    raked: Array,
    x_start: float,
    film_start: float,
    t_start: float,
    target_db: float,
    tol: float,
    out: Array,
) -> tuple[float, int]:
    """Run the hours; fill `out` (hours + 1 rows).

    Returns the hour the target was met (-1 if never) and the steps taken. After the target
    the lot is taken off: later rows repeat the last state. `tol` is the step tolerance in kg
    water per kg dry matter.
    """
    state, ahead = new_stage(x_start, film_start, t_start), new_stage(0.0, 0.0, 0.0)
    f, k1, k2 = new_stage(0.0, 0.0, 0.0), new_stage(0.0, 0.0, 0.0), new_stage(0.0, 0.0, 0.0)
    w, w2, tri = np.zeros((WORK_ROWS, L)), np.zeros((WORK_ROWS, L)), np.zeros((2, L))
    air, air2, bed, bed2 = (
        np.zeros(AIR_SIZE),
        np.zeros(AIR_SIZE),
        np.zeros(BED_SIZE),
        np.zeros(BED_SIZE),
    )
    kP, cap, flows, drift = np.zeros(L), np.zeros(L), np.zeros(2), np.zeros(L)
    low, fac, slab = np.zeros((L, 2 * NS)), np.zeros((FACTOR_ROWS, L)), np.zeros(M)
    load, gone, held, done, taken, tau = p[14] / L, 0.0, 0.0, -1.0, 0, 300.0
    report(p, v, state[0], state[1], state[2], 0.0 if film_start > 0.0 else 1.0, out[0])
    first_water = out[0, 0] * p[14]
    for hour in range(hourly.shape[0]):
        if done >= 0.0:
            out[hour + 1] = out[hour]
            continue
        if raked[hour] > 0.5:
            rake(state[0], state[1], state[2])
            tau = min(tau, 300.0)
        at = 0.0
        while at < 3599.999:
            rest = 3600.0 - at
            tau = rest if tau > 0.999 * rest else (0.5 * rest if tau > 0.5 * rest else tau)
            h = GAMMA * tau
            read_air(hourly, hour, at / 3600.0, air)
            read_air(hourly, hour, (at + tau) / 3600.0, air2)
            mean_x = capacities(p, v, state, drift, 0.5 * tau, cap)
            bed_geometry(p, air, mean_x, bed)
            bed_geometry(p, air2, mean_x, bed2)
            out1, _ = rates(p, factors, bed, air, *state, w, tri, *f)
            rain1 = captured(w)
            for j in range(L):
                pivot = factor_shells(v, factors, w, h, j, low)
                factor_layer(p, bed, state[0], w, h, j, pivot, factors[N - 1], fac)
            factor_blocks(p, bed, air, state[2], w, cap, h, fac, slab)
            solve(p, factors, bed, w, h, low, fac, slab, *f, *k1, kP, flows)
            out1 += flows[0]
            rain1 += flows[1]
            predict(tau, state, k1, ahead)
            out2, _ = rates(p, factors, bed2, air2, *ahead, w2, tri, *f)
            rain2 = captured(w2) - 2.0 * rain1
            second_side(v, cap, f, k1)
            solve(p, factors, bed, w, h, low, fac, slab, *f, *k2, kP, flows)
            out2 += flows[0] - 2.0 * out1
            rain2 += flows[1]
            taken += 1
            error = step_error(state[0], state[1], tau, tol, bed[FHALF], k1, k2)
            if error > 1.0 and tau > 1.0:
                tau *= max(0.2, 0.9 / math.sqrt(error))
                continue
            gone += tau * (1.5 * out1 + 0.5 * out2)
            held += tau * (1.5 * rain1 + 0.5 * rain2)
            combine(v, load, tau, state, k1, k2, drift)
            at += tau
            tau *= min(4.0, 0.9 / math.sqrt(max(error, 1e-6)))
        row = out[hour + 1]
        report(p, v, state[0], state[1], state[2], bed[FHALF], row)
        row[8], row[9] = gone, held
        row[10] = (first_water + held - gone - row[0] * p[14]) / (first_water + held)
        if row[0] <= target_db:
            before = out[hour, 0]
            done = hour + (before - target_db) / max(before - row[0], 1e-12)
    return done, taken
