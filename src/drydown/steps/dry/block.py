"""Run one block of members through its hours: adaptive steps of the two-stage method.

The method is the L-stable two-stage Rosenbrock method with gamma = 1 - 1/sqrt(2), of second
order with any Jacobian: (I - h J) k1 = f(y), (I - h J) k2 = f(t + tau, y + tau k1) - 2 k1,
y + tau (3/2 k1 + 1/2 k2). All members of a block take the same steps, chosen for the one
that needs the shortest.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.bed import bed_geometry
from drydown.steps.dry.compiled import compiled, inlined
from drydown.steps.dry.constants import LOAD, V
from drydown.steps.dry.heat import heat_entered
from drydown.steps.dry.kernel import boundary_flows, capacities, rates
from drydown.steps.dry.lanes import begin, end, rake, read_air, report
from drydown.steps.dry.layout import BED_LAYERS, MACHINE_LAYERS
from drydown.steps.dry.rows import (
    AHEAD,
    AIR1,
    AIR2,
    BED1,
    BED2,
    CAP,
    DRIFT,
    ENTER1,
    ENTER2,
    ENTERED,
    ERROR,
    F0,
    FHALF,
    FIRST,
    FLOWH,
    FLOWR,
    FLOWV,
    GONE,
    HEAT,
    HEAT1,
    HEAT2,
    HELD,
    HELD1,
    HELD2,
    K1,
    K2,
    NOW,
    NS,
    OFF,
    OUT1,
    OUT2,
    S0,
    SIDE,
    SLABHEAT,
    STATE,
    STORED,
    T0,
    THEN,
    TURNED,
    X0,
    M,
    N,
    W,
)
from drydown.steps.dry.rows import SIZE as WORK_SIZE
from drydown.steps.dry.solver import factor, linear_flows, solve
from drydown.units import HOUR_S

__all__ = ["run_block"]

Array = NDArray[np.float64]
GAMMA = 1.0 - 1.0 / math.sqrt(2.0)
LEAST_STEP_S = 1e-3
"""A member whose error stays above the tolerance at this step is left out."""
MOST_TRIES = 20000
"""Steps tried in one hour before the member that asks for them is left out."""
LEFT_OUT = -1.0
"""The hour of being dry that stands for a member left out."""
STIR_S = 120.0
"""A lot that is stirred all the time is mixed so often: a drum of two or three turns a minute (own estimate)."""
SKIN_TOLERANCE, FILM_TOLERANCE, TEMP_TOLERANCE = 20.0, 10.0, 400.0
"""Allowed step error of skin, film and temperature, per unit of the tolerance."""


@inlined
def predict(ws: Array, tau: float, layers: int) -> None:
    """State after the first stage alone, into AHEAD."""
    for m in range(W):
        for r in range(layers * NS):
            ws[(AHEAD + X0 + r) * W + m] = ws[(STATE + X0 + r) * W + m] + tau * ws[(K1 + X0 + r) * W + m]
        for j in range(layers):
            ws[(AHEAD + F0 + j) * W + m] = ws[(STATE + F0 + j) * W + m] + tau * ws[(K1 + F0 + j) * W + m]
            ws[(AHEAD + T0 + j) * W + m] = ws[(STATE + T0 + j) * W + m] + tau * ws[(K1 + T0 + j) * W + m]
        for i in range(M):
            ws[(AHEAD + S0 + i) * W + m] = ws[(STATE + S0 + i) * W + m] + tau * ws[(K1 + S0 + i) * W + m]


@inlined
def second_side(ws: Array, layers: int) -> None:
    """Right-hand side of the second stage: rates ahead less twice the first stage."""
    for m in range(W):
        for j in range(layers):
            for i in range(NS):
                r = X0 + j * NS + i
                ws[(SIDE + r) * W + m] -= 2.0 * V[i] * ws[(K1 + r) * W + m]
            ws[(SIDE + F0 + j) * W + m] -= 2.0 * ws[(K1 + F0 + j) * W + m]
            ws[(SIDE + T0 + j) * W + m] -= 2.0 * ws[(CAP + j) * W + m] * ws[(K1 + T0 + j) * W + m]
        for i in range(M):
            ws[(SIDE + S0 + i) * W + m] -= 2.0 * ws[SLABHEAT * W + m] * ws[(K1 + S0 + i) * W + m]


@inlined
def step_error(ws: Array, tau: float, tol: float, layers: int) -> float:
    """Largest step error over lanes not taken off, 1 at the tolerance; 100 where a shell would run empty.

    The difference between the second- and the first-order result: shells by moisture, the
    skin by its own moisture, the film by the water that wets half the surface, temperature.
    """
    for m in range(W):
        ws[ERROR * W + m] = 0.0
    for j in range(layers):
        for m in range(W):
            worst = ws[ERROR * W + m]
            for i in range(NS):
                r = X0 + j * NS + i
                one, two, x = ws[(K1 + r) * W + m], ws[(K2 + r) * W + m], ws[(STATE + r) * W + m]
                allowed = tol if i < N else tol * SKIN_TOLERANCE * (0.1 + x)
                change = 0.5 * tau * abs(one + two) / allowed
                change = change if x + tau * (1.5 * one + 0.5 * two) > 0.3 * x else 100.0
                worst = change if change > worst else worst
            half = ws[(BED1 + FHALF) * W + m]
            one, two, film = (
                ws[(K1 + F0 + j) * W + m],
                ws[(K2 + F0 + j) * W + m],
                ws[(STATE + F0 + j) * W + m],
            )
            change = 0.5 * tau * abs(one + two) / (tol * FILM_TOLERANCE * (half + film))
            worst = change if change > worst else worst
            change = 0.5 * tau * abs(ws[(K1 + T0 + j) * W + m] + ws[(K2 + T0 + j) * W + m])
            change /= tol * TEMP_TOLERANCE
            worst = change if change > worst else worst
            ws[ERROR * W + m] = worst
    most = 0.0
    for m in range(W):
        error = ws[ERROR * W + m]
        error = 100.0 if error != error else error
        ws[ERROR * W + m] = error
        error *= 1.0 - ws[OFF * W + m]
        most = error if error > most else most
    return most


@inlined
def give_up(ws: Array) -> None:
    """Leave out the members whose error stays above the tolerance; no step waits for them from here on."""
    for m in range(W):
        if ws[ERROR * W + m] > 1.0:
            ws[OFF * W + m] = 1.0


@inlined
def accept(ws: Array, tau: float, layers: int) -> None:
    """Take the step. A film below zero is made good by the bean."""
    for j in range(layers):
        for m in range(W):
            drift = 0.0
            rate = 1.5 * ws[(K1 + F0 + j) * W + m] + 0.5 * ws[(K2 + F0 + j) * W + m]
            film = ws[(STATE + F0 + j) * W + m] + tau * rate
            short = film if film < 0.0 else 0.0
            ws[(STATE + F0 + j) * W + m] = film - short
            short *= layers / ws[LOAD * W + m]
            for i in range(NS):
                r = X0 + j * NS + i
                rate = 1.5 * ws[(K1 + r) * W + m] + 0.5 * ws[(K2 + r) * W + m]
                ws[(STATE + r) * W + m] += tau * rate + short
                drift += V[i] * rate
            ws[(DRIFT + j) * W + m] = drift
            rate = 1.5 * ws[(K1 + T0 + j) * W + m] + 0.5 * ws[(K2 + T0 + j) * W + m]
            ws[(STATE + T0 + j) * W + m] += tau * rate
            ws[STORED * W + m] += tau * ws[(CAP + j) * W + m] * rate
    for m in range(W):
        stored = 0.0
        for i in range(M):
            rate = 1.5 * ws[(K1 + S0 + i) * W + m] + 0.5 * ws[(K2 + S0 + i) * W + m]
            ws[(STATE + S0 + i) * W + m] += tau * rate
            stored += ws[SLABHEAT * W + m] * rate
        ws[STORED * W + m] += tau * stored
        entered = tau * (1.5 * ws[ENTER1 * W + m] + 0.5 * ws[ENTER2 * W + m])
        gone = tau * (1.5 * ws[OUT1 * W + m] + 0.5 * ws[OUT2 * W + m])
        ws[ENTERED * W + m] += entered
        ws[TURNED * W + m] += 2.4e6 * abs(gone) + abs(entered)
        ws[GONE * W + m] += gone
        ws[HELD * W + m] += tau * (1.5 * ws[HELD1 * W + m] + 0.5 * ws[HELD2 * W + m])
        ws[HEAT * W + m] += 0.5 * tau * (ws[HEAT1 * W + m] + ws[HEAT2 * W + m])


@inlined
def both_stages(ws: Array, hourly: Array, hour: int, at: float, tau: float, tol: float, layers: int) -> float:
    """Both stages of one step for a fixed number of layers; returns its error."""
    h = GAMMA * tau
    read_air(ws, hourly, hour, at / HOUR_S, AIR1)
    read_air(ws, hourly, hour, (at + tau) / HOUR_S, AIR2)
    capacities(ws, STATE, layers, 0.5 * tau, DRIFT)
    bed_geometry(ws, AIR1, BED1, STATE, layers)
    rates(ws, STATE, NOW, BED1, AIR1, SIDE, layers)
    boundary_flows(ws, NOW, BED1, layers, OUT1, HELD1, HEAT1)
    heat_entered(ws, STATE, NOW, BED1, AIR1, layers, ENTER1)
    factor(ws, STATE, NOW, BED1, h, layers)
    solve(ws, NOW, BED1, SIDE, K1, h, layers)
    linear_flows(ws, STATE, NOW, BED1, K1, h, layers)
    for m in range(W):
        ws[ENTER1 * W + m] += ws[FLOWH * W + m]
        ws[OUT1 * W + m] += ws[FLOWV * W + m]
        ws[HELD1 * W + m] += ws[FLOWR * W + m]
    predict(ws, tau, layers)
    bed_geometry(ws, AIR2, BED2, AHEAD, layers)
    rates(ws, AHEAD, THEN, BED2, AIR2, SIDE, layers)
    boundary_flows(ws, THEN, BED2, layers, OUT2, HELD2, HEAT2)
    heat_entered(ws, AHEAD, THEN, BED2, AIR2, layers, ENTER2)
    second_side(ws, layers)
    solve(ws, NOW, BED1, SIDE, K2, h, layers)
    linear_flows(ws, STATE, NOW, BED1, K2, h, layers)
    for m in range(W):
        ws[ENTER2 * W + m] += ws[FLOWH * W + m] - 2.0 * ws[ENTER1 * W + m]
        ws[OUT2 * W + m] += ws[FLOWV * W + m] - 2.0 * ws[OUT1 * W + m]
        ws[HELD2 * W + m] += ws[FLOWR * W + m] - 2.0 * ws[HELD1 * W + m]
    return step_error(ws, tau, tol, layers)


@compiled
def step_bed(ws: Array, hourly: Array, hour: int, at: float, tau: float, tol: float) -> float:
    """A step of a bed. The number of layers is a constant here, for speed."""
    return both_stages(ws, hourly, hour, at, tau, tol, BED_LAYERS)


@compiled
def step_machine(ws: Array, hourly: Array, hour: int, at: float, tau: float, tol: float) -> float:
    """A step of a machine."""
    return both_stages(ws, hourly, hour, at, tau, tol, MACHINE_LAYERS)


@inlined
def try_step(ws: Array, hourly: Array, hour: int, at: float, tau: float, tol: float, layers: int) -> float:
    """Both stages of one step; returns its error. Nothing is kept until `accept`."""
    if layers == BED_LAYERS:
        return step_bed(ws, hourly, hour, at, tau, tol)
    return step_machine(ws, hourly, hour, at, tau, tol)


@compiled
def one_hour(
    ws: Array, hourly: Array, hour: int, tau: float, tol: float, layers: int, raked: Array
) -> tuple[float, int]:
    """Advance one hour by adaptive steps; returns the next step length and the steps tried."""
    at, taken, stirred = 0.0, 0, 0.0
    for m in range(W):
        stirred = STIR_S if raked[m] > 1.5 else stirred
    mix = stirred if stirred > 0.0 else HOUR_S
    while at < HOUR_S - 1e-3:
        rest = mix - at
        if tau > 0.999 * rest:
            tau = rest
        elif tau > 0.5 * rest:
            tau = 0.5 * rest
        error = try_step(ws, hourly, hour, at, tau, tol, layers)
        taken += 1
        if error > 1.0:
            if tau > LEAST_STEP_S and taken < MOST_TRIES:
                tau = max(tau * max(0.2, 0.9 / math.sqrt(error)), LEAST_STEP_S)
            else:
                give_up(ws)
            continue
        accept(ws, tau, layers)
        at += tau
        if stirred > 0.0 and at > mix - 1e-3:
            rake(ws, layers, raked, 1.5)
            mix += stirred
        tau = max(tau * min(4.0, 0.9 / math.sqrt(max(error, 1e-6))), LEAST_STEP_S)
    return tau, taken


@compiled
def run_block(
    table: Array,
    hourly: Array,
    raked: Array,
    start: Array,
    target_db: float,
    tol: float,
    layers: int,
    out: Array,
    done: Array,
) -> int:
    """Run a block of LANES members through the hours; returns the steps tried.

    table (parameter, lane); hourly (hour + 1, column, lane), the hour before first; raked (hour, lane); start
    (state_rows, lane), replaced by the state at each lane's end; out (lane, hour + 1, column); done (lane):
    hour the target was met, nan if never, LEFT_OUT if it could not be followed. A lane that met the target is
    taken off: its later rows repeat the last. `tol` is the step tolerance, kg water per kg dry matter.
    """
    ws = np.zeros(WORK_SIZE)
    begin(ws, table, start, layers)
    capacities(ws, STATE, layers, 0.0, DRIFT)
    read_air(ws, hourly, 1, 0.0, AIR1)
    bed_geometry(ws, AIR1, BED1, STATE, layers)
    waiting, taken, last = W, 0, start.shape[0] - 1
    tau = HOUR_S
    for m in range(W):
        report(ws, layers, m, out[m, 0])
        ws[FIRST * W + m] = out[m, 0, 0] * ws[LOAD * W + m]
        out[m, 0, 10] = 0.0
        done[m] = np.nan
        if out[m, 0, 0] <= target_db:
            done[m] = 0.0
            waiting -= 1
            ws[OFF * W + m] = 1.0
        else:
            tau = min(tau, start[last, m])
    for hour in range(raked.shape[0]):
        if waiting == 0:
            for m in range(W):
                out[m, hour + 1] = out[m, hour]
            continue
        if rake(ws, layers, raked[hour], 0.5):
            tau = min(tau, 300.0)
        tau, tried = one_hour(ws, hourly, hour + 1, tau, tol, layers, raked[hour])
        taken += tried
        for m in range(W):
            if ws[OFF * W + m] > 0.0 and not done[m] >= 0.0:
                waiting -= 0 if done[m] == LEFT_OUT else 1
                done[m] = LEFT_OUT
                out[m, hour + 1] = np.nan
                continue
            if done[m] >= 0.0:
                out[m, hour + 1] = out[m, hour]
                continue
            report(ws, layers, m, out[m, hour + 1])
            before, now = out[m, hour, 0], out[m, hour + 1, 0]
            if now <= target_db:
                done[m] = hour + (before - target_db) / max(before - now, 1e-12)
                end(ws, start, layers, m)
                start[last, m] = tau
                waiting -= 1
                ws[OFF * W + m] = 1.0  # what is taken off asks for no short steps any more
    for m in range(W):
        if not done[m] >= 0.0:
            end(ws, start, layers, m)
            start[last, m] = tau
    return taken
