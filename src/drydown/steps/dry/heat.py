"""Heat in the drying kernel: into each layer and slab node, and in total from outside."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.compiled import inlined
from drydown.steps.dry.constants import (
    ABSORB,
    AIR_FLOW,
    GROUND,
    GROUND_LINK,
    KELVIN,
    OPEN,
    SIGMA,
    SLAB_ABSORB,
)
from drydown.steps.dry.rows import (
    BAREH,
    BARESKY,
    COVER,
    EF,
    ES,
    FADE,
    HBOT,
    HFLOW,
    HSKY,
    HTOP,
    KLAY,
    LFREE,
    LSKIN,
    S0,
    SKY,
    SLABLINK,
    SUN,
    T0,
    TAIR,
    TIN,
    TOUCH,
    M,
    W,
)

Array = NDArray[np.float64]


@inlined
def on_floor(ws: Array, m: int) -> float:
    """1 where the lot of lane m lies on a slab, 0 on a mesh or in a machine."""
    return float((1.0 - ws[OPEN * W + m]) * (1.0 if ws[AIR_FLOW * W + m] <= 0.0 else 0.0))


@inlined
def bare_floor(ws: Array, state: int, bed: int, air: int, m: int) -> float:
    """Heat into a floor from air and sky where no bean covers it, W/m2."""
    kelvin = ws[(state + S0) * W + m] + KELVIN
    body = SIGMA * kelvin * kelvin * kelvin * kelvin
    warmed = ws[(bed + BAREH) * W + m] * (ws[(bed + TAIR) * W + m] - ws[(state + S0) * W + m])
    return float(warmed + ws[(bed + BARESKY) * W + m] * (ws[(air + SKY) * W + m] - body))


@inlined
def heat_rates(ws: Array, state: int, now: int, bed: int, air: int, side: int, layers: int) -> None:
    """Heat into each layer and slab node, W/m2, into block `side` (D23, D24, D27)."""
    for m in range(W):
        open_air = 1.0 - ws[(air + COVER) * W + m]
        light = ws[(air + SUN) * W + m] * open_air
        fade = ws[(bed + FADE) * W + m]
        for j in range(layers):
            kept = light * (1.0 - fade)
            light -= kept
            ws[(side + T0 + j) * W + m] = (
                ws[ABSORB * W + m] * kept
                - ws[(now + LSKIN + j) * W + m] * ws[(now + ES + j) * W + m]
                - ws[(now + LFREE + j) * W + m] * ws[(now + EF + j) * W + m]
            )
        carried = ws[(bed + HFLOW) * W + m]
        for j in range(layers - 1):
            low, high = (state + T0 + j + 1) * W + m, (state + T0 + j) * W + m
            flow = ws[(bed + KLAY) * W + m] * (ws[high] - ws[low])
            ws[(side + T0 + j) * W + m] += carried * (ws[low] - ws[high]) - flow
            ws[(side + T0 + j + 1) * W + m] += flow
        first, last = ws[(state + T0) * W + m], ws[(state + T0 + layers - 1) * W + m]
        kelvin = first + KELVIN
        body = SIGMA * kelvin * kelvin * kelvin * kelvin
        sky = ws[(bed + HSKY) * W + m] * (ws[(air + SKY) * W + m] - body)
        outside = ws[(bed + TAIR) * W + m]
        ws[(side + T0) * W + m] += ws[(bed + HTOP) * W + m] * (outside - first) + sky
        ws[(side + T0 + layers - 1) * W + m] += ws[(bed + HBOT) * W + m] * (outside - last) + carried * (
            ws[(bed + TIN) * W + m] - last
        )
        slab = on_floor(ws, m)
        contact = slab * ws[(bed + TOUCH) * W + m] * (last - ws[(state + S0) * W + m])
        ws[(side + T0 + layers - 1) * W + m] -= contact
        before = contact + slab * ws[SLAB_ABSORB * W + m] * light + bare_floor(ws, state, bed, air, m)
        for i in range(M - 1):
            here = (state + S0 + i) * W + m
            flow = slab * ws[SLABLINK * W + m] * (ws[here] - ws[here + W])
            ws[(side + S0 + i) * W + m] = before - flow
            before = flow
        below = GROUND_LINK * (ws[GROUND * W + m] - ws[(state + S0 + M - 1) * W + m])
        ws[(side + S0 + M - 1) * W + m] = before + slab * below


@inlined
def heat_entered(ws: Array, state: int, now: int, bed: int, air: int, layers: int, enter: int) -> None:
    """Heat that enters bed and slab from outside less what evaporation takes, W/m2.

    Summed from the boundaries, apart from the layers' own balances.
    """
    for m in range(W):
        open_air = 1.0 - ws[(air + COVER) * W + m]
        light = ws[(air + SUN) * W + m] * open_air
        passed = 1.0
        for _j in range(layers):
            passed *= ws[(bed + FADE) * W + m]
        slab = on_floor(ws, m)
        first, last = ws[(state + T0) * W + m], ws[(state + T0 + layers - 1) * W + m]
        kelvin = first + KELVIN
        body = SIGMA * kelvin * kelvin * kelvin * kelvin
        outside = ws[(bed + TAIR) * W + m]
        entered = (
            light * (ws[ABSORB * W + m] * (1.0 - passed) + slab * ws[SLAB_ABSORB * W + m] * passed)
            + ws[(bed + HTOP) * W + m] * (outside - first)
            + ws[(bed + HBOT) * W + m] * (outside - last)
            + ws[(bed + HSKY) * W + m] * (ws[(air + SKY) * W + m] - body)
            + ws[(bed + HFLOW) * W + m] * (ws[(bed + TIN) * W + m] - first)
            + slab * GROUND_LINK * (ws[GROUND * W + m] - ws[(state + S0 + M - 1) * W + m])
            + bare_floor(ws, state, bed, air, m)
        )
        for j in range(layers):
            entered -= (
                ws[(now + LSKIN + j) * W + m] * ws[(now + ES + j) * W + m]
                + ws[(now + LFREE + j) * W + m] * ws[(now + EF + j) * W + m]
            )
        ws[enter * W + m] = entered
