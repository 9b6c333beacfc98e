"""Into and out of the kernel's work space: air, starting state, raking, the reported columns."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.bed import prepare
from drydown.steps.dry.compiled import inlined
from drydown.steps.dry.constants import DRIEST, ISO, LOAD, OSWIN_A, OSWIN_B, V
from drydown.steps.dry.kernel import capacities, saturation
from drydown.steps.dry.powers import isotherm_power
from drydown.steps.dry.rows import (
    BED1,
    CAP,
    COVER,
    DRIFT,
    ENTERED,
    F0,
    FHALF,
    FIRST,
    GONE,
    HEAT,
    HELD,
    NS,
    PVA,
    RAIN,
    S0,
    SKY,
    STATE,
    STORED,
    SUN,
    T0,
    TA,
    TURNED,
    WIND,
    X0,
    M,
    N,
    P,
    W,
)

__all__ = ["HOURLY", "OUT_COLUMNS", "START_COLUMNS", "begin", "end", "rake", "read_air", "report"]

Array = NDArray[np.float64]

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
    "burner_mj_m2",  # heat given to the air of a machine
    "heat_residual",  # relative, of all heat turned over
    "bean_temp_low_c",  # coldest layer
)
HOURLY = (
    "temp_c",
    "rh",
    "sun_w_m2",
    "wind_m_s",
    "rain_mm",  # in covered hours: the part of its surface that a heap hides
    "sky_w_m2",
    "covered",
)
"""Columns of the air that a bed meets, hour by hour."""
AIR_TEMP, AIR_RH, AIR_SUN, AIR_WIND, AIR_RAIN, AIR_SKY, AIR_COVERED = range(len(HOURLY))
START_COLUMNS = (*(f"shell_{i}" for i in range(NS)), "film_kg_m2", "temp_c", "floor_c")
"""State of a mixed lot: shells inside-out (db), film water, temperature; the floor's own."""


def state_rows(layers: int) -> int:
    """Rows of a whole state: shells layer by layer, film, temperature and last rate of each layer; the slab;
    and last the length of the next step [s]. Source: the order in `begin`."""
    return layers * (NS + 3) + M + 1


@inlined
def read_air(ws: Array, hourly: Array, hour: int, part: float, air: int) -> None:
    """Air at a moment of an hour: straight lines between hour ends; sun and rain as hour means.

    hourly axes: hour, column (`HOURLY`), lane.
    """
    before = hour - 1 if hour > 0 else 0
    rest = 1.0 - part
    for m in range(W):
        temp = rest * hourly[before, AIR_TEMP, m] + part * hourly[hour, AIR_TEMP, m]
        rh = rest * hourly[before, AIR_RH, m] + part * hourly[hour, AIR_RH, m]
        ws[(air + TA) * W + m] = temp
        ws[(air + PVA) * W + m] = rh * saturation(temp)
        ws[(air + WIND) * W + m] = rest * hourly[before, AIR_WIND, m] + part * hourly[hour, AIR_WIND, m]
        ws[(air + SKY) * W + m] = rest * hourly[before, AIR_SKY, m] + part * hourly[hour, AIR_SKY, m]
        ws[(air + SUN) * W + m] = hourly[hour, AIR_SUN, m]
        ws[(air + RAIN) * W + m] = hourly[hour, AIR_RAIN, m]
        ws[(air + COVER) * W + m] = hourly[hour, AIR_COVERED, m]


@inlined
def begin(ws: Array, table: Array, start: Array, layers: int) -> None:
    """Parameters and the starting state, layer by layer (`state_rows`)."""
    for m in range(W):
        for c in range(table.shape[0]):
            ws[(P + c) * W + m] = table[c, m]
        for j in range(layers):
            for i in range(NS):
                ws[(STATE + X0 + j * NS + i) * W + m] = start[j * NS + i, m]
            ws[(STATE + F0 + j) * W + m] = start[layers * NS + j, m]
            ws[(STATE + T0 + j) * W + m] = start[layers * (NS + 1) + j, m]
            ws[(DRIFT + j) * W + m] = start[layers * (NS + 2) + j, m]
        for i in range(M):
            ws[(STATE + S0 + i) * W + m] = start[layers * (NS + 3) + i, m]
    prepare(ws)


@inlined
def end(ws: Array, start: Array, layers: int, lane: int) -> None:
    """The state of a lane, layer by layer, back into `start`."""
    for j in range(layers):
        for i in range(NS):
            start[j * NS + i, lane] = ws[(STATE + X0 + j * NS + i) * W + lane]
        start[layers * NS + j, lane] = ws[(STATE + F0 + j) * W + lane]
        start[layers * (NS + 1) + j, lane] = ws[(STATE + T0 + j) * W + lane]
        start[layers * (NS + 2) + j, lane] = ws[(DRIFT + j) * W + lane]
    for i in range(M):
        start[layers * (NS + 3) + i, lane] = ws[(STATE + S0 + i) * W + lane]


@inlined
def rake(ws: Array, layers: int, raked: Array, least: float) -> bool:
    """Mix the layers of each lane raked at `least` so often, water and heat conserved.

    raked: 1 at the start of the hour, 2 all through it.
    """
    some = False
    for m in range(W):
        if raked[m] >= least:
            some = True
    if not some:
        return False
    capacities(ws, STATE, layers, 0.0, DRIFT)
    for m in range(W):
        if raked[m] < least:
            continue
        for i in range(NS):
            mean = 0.0
            for j in range(layers):
                mean += ws[(STATE + X0 + j * NS + i) * W + m]
            for j in range(layers):
                ws[(STATE + X0 + j * NS + i) * W + m] = mean / layers
        film, warm, weight = 0.0, 0.0, 0.0
        for j in range(layers):
            film += ws[(STATE + F0 + j) * W + m]
            warm += ws[(CAP + j) * W + m] * ws[(STATE + T0 + j) * W + m]
            weight += ws[(CAP + j) * W + m]
        for j in range(layers):
            ws[(STATE + F0 + j) * W + m] = film / layers
            ws[(STATE + T0 + j) * W + m] = warm / weight
    return some


@inlined
def report(ws: Array, layers: int, lane: int, out: Array) -> None:
    """Fill one output row of one lane."""
    load = ws[LOAD * W + lane] / layers
    total, low, high, gap, warm, film, aw = 0.0, np.inf, -np.inf, 0.0, 0.0, 0.0, 0.0
    hot, cool = -np.inf, np.inf
    for j in range(layers):
        x, free = 0.0, ws[(STATE + F0 + j) * W + lane]
        for i in range(NS):
            x += V[i] * ws[(STATE + X0 + j * NS + i) * W + lane]
        x += free / load
        core, shell = ws[(STATE + X0 + j * NS) * W + lane], ws[(STATE + X0 + j * NS + N - 1) * W + lane]
        skin, t = ws[(STATE + X0 + j * NS + N) * W + lane], ws[(STATE + T0 + j) * W + lane]
        total += x / layers
        low, high, gap = min(low, x), max(high, x), max(gap, core - skin)
        warm, hot, cool, film = warm + t / layers, max(hot, t), min(cool, t), film + free
        level = (OSWIN_A + OSWIN_B * t) * ws[ISO * W + lane]
        near = 1.0 / (1.0 + isotherm_power(level / (100.0 * max(skin, shell, DRIEST))))
        aw = max(aw, 1.0 if free > ws[(BED1 + FHALF) * W + lane] else near)
    out[0], out[1], out[2], out[3], out[4], out[5], out[6], out[7] = (
        total,
        low,
        high,
        gap,
        warm,
        hot,
        aw,
        film,
    )
    gone, held = ws[GONE * W + lane], ws[HELD * W + lane]
    turned = max(ws[TURNED * W + lane], 1.0)
    out[12] = (ws[STORED * W + lane] - ws[ENTERED * W + lane]) / turned
    out[8], out[9], out[11] = gone, held, ws[HEAT * W + lane] * 1e-6
    first = ws[FIRST * W + lane]
    out[10] = (first + held - gone - total * ws[LOAD * W + lane]) / (first + held)
    out[13] = cool
