"""One implicit stage: factor the linear system of the kernel once, solve it twice.

(I - h J) k = r, with h = gamma tau. Inside each layer the shells are eliminated out to the
skin; skin and film follow from temperature and pore vapour; the layers are then 2 x 2 blocks
of those two, the slab one more chain below. The Jacobian leaves out how diffusivity and
latent heat change with temperature; the method keeps its order with such an approximation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.compiled import inlined
from drydown.steps.dry.constants import (
    FACTORS,
    GROUND_LINK,
    KELVIN,
    LOAD,
    SIGMA,
    X_SOAK,
    V,
)
from drydown.steps.dry.heat import on_floor
from drydown.steps.dry.rows import (
    AA,
    AF,
    AP,
    AT,
    AW,
    CAP,
    DAWT,
    DAWX,
    DEWING,
    DIFF,
    DPHI,
    DPS,
    EFF,
    EFP,
    EFT,
    ESF,
    ESP,
    EST,
    ESX,
    F0,
    FA,
    FAC,
    FALLING,
    FF,
    FHOLD,
    FLOWH,
    FLOWR,
    FLOWV,
    FP,
    FT,
    GBOT,
    GFLOW,
    GIVE,
    GPORE,
    GSKIN,
    GTOP,
    HBOT,
    HFLOW,
    HSKY,
    HTOP,
    I11,
    I12,
    I21,
    I22,
    KCAP,
    KLAY,
    KP,
    LATENT0,
    LFREE,
    LSKIN,
    NS,
    PHI,
    PIVOT,
    PS,
    PV,
    RAINF,
    RATIO,
    S0,
    SLABF,
    SLABHEAT,
    SLABLINK,
    T0,
    TOUCH,
    X0,
    M,
    N,
    W,
)

Array = NDArray[np.float64]


@inlined
def factor_shells(ws: Array, now: int, h: float, layers: int) -> None:
    """Eliminate the shells inward-out; keep multipliers and inverse pivots."""
    for j in range(layers):
        for m in range(W):
            hd = h * ws[(now + DIFF + j) * W + m]
            gap = hd * FACTORS[0]
            inverse = 1.0 / (V[0] + gap)
            ws[(PIVOT + j * NS) * W + m] = inverse
            for i in range(1, N):
                after = hd * FACTORS[i]
                ratio = gap * inverse
                inverse = 1.0 / (V[i] + gap + after - ratio * gap)
                ws[(RATIO + j * NS + i) * W + m] = ratio
                ws[(PIVOT + j * NS + i) * W + m] = inverse
                gap = after
            ratio = gap * inverse
            ws[(RATIO + j * NS + N) * W + m] = ratio
            ws[(PIVOT + j * NS + N) * W + m] = V[N] + gap - ratio * gap


@inlined
def factor_layers(ws: Array, state: int, now: int, bed: int, h: float, layers: int) -> None:
    """Skin, film and evaporation of each layer by its temperature and pore vapour."""
    for j in range(layers):
        for m in range(W):
            load = ws[LOAD * W + m] / layers
            wet = ws[(now + PHI + j) * W + m]
            dry, give, dphi = 1.0 - wet, ws[(bed + GIVE) * W + m], ws[(now + DPHI + j) * W + m]
            ps, aw, dps = ws[(now + PS + j) * W + m], ws[(now + AW + j) * W + m], ws[(now + DPS + j) * W + m]
            over = ps - ws[(now + PV + j) * W + m]
            dewing, skin = ws[(now + DEWING + j) * W + m], ws[(bed + GSKIN) * W + m]
            room = ws[X_SOAK * W + m] - ws[(state + X0 + j * NS + N) * W + m]
            some = 1.0 if room > 0.0 else 0.0
            pull = load * ws[(now + DIFF + j) * W + m] * FACTORS[N - 1]
            soak, soak_f = wet * pull * some, dphi * pull * room * some
            es_x = dry * skin * ps * ws[(now + DAWX + j) * W + m]
            es_f = -dphi * skin * (aw * ps - ps + over - dewing * over)
            es_t = dry * skin * (ps * ws[(now + DAWT + j) * W + m] + (aw - dewing) * dps)
            es_p = -dry * skin * (1.0 - dewing)
            ef_t, ef_p = give * dps * (wet + dry * dewing), -give * (wet + dry * dewing)
            ef_f = dphi * give * over * (1.0 - dewing)
            rain_f = ws[(now + FALLING + j) * W + m] / ws[(bed + FHOLD) * W + m]
            m11 = ws[(PIVOT + j * NS + N) * W + m] + h * (es_x + soak) / load
            m12, m21 = h * (es_f - soak_f) / load, -h * soak
            m22 = 1.0 + h * (ef_f + rain_f + soak_f)
            det = 1.0 / (m11 * m22 - m12 * m21)
            aa, af, fa, ff = m22 * det, -m12 * det, -m21 * det, m11 * det
            at, ap = -h * (aa * es_t / load + af * ef_t), -h * (aa * es_p / load + af * ef_p)
            ft, fp = -h * (fa * es_t / load + ff * ef_t), -h * (fa * es_p / load + ff * ef_p)
            ws[(FAC + AA + j) * W + m] = aa
            ws[(FAC + AF + j) * W + m] = af
            ws[(FAC + FA + j) * W + m] = fa
            ws[(FAC + FF + j) * W + m] = ff
            ws[(FAC + AT + j) * W + m] = at
            ws[(FAC + AP + j) * W + m] = ap
            ws[(FAC + FT + j) * W + m] = ft
            ws[(FAC + FP + j) * W + m] = fp
            ws[(FAC + ESX + j) * W + m] = es_x
            ws[(FAC + ESF + j) * W + m] = es_f
            ws[(FAC + EFF + j) * W + m] = ef_f
            ws[(FAC + EST + j) * W + m] = es_t + es_x * at + es_f * ft
            ws[(FAC + ESP + j) * W + m] = es_p + es_x * ap + es_f * fp
            ws[(FAC + EFT + j) * W + m] = ef_t + ef_f * ft
            ws[(FAC + EFP + j) * W + m] = ef_p + ef_f * fp
            ws[(FAC + RAINF + j) * W + m] = rain_f


@inlined
def factor_slab(ws: Array, bed: int, h: float) -> None:
    """Inverse pivots of the slab, from below."""
    for m in range(W):
        link, heat = h * ws[SLABLINK * W + m], ws[SLABHEAT * W + m]
        inverse = 1.0 / (heat + link + h * GROUND_LINK)
        ws[(SLABF + M - 1) * W + m] = inverse
        for i in range(M - 2, 0, -1):
            inverse = 1.0 / (heat + 2.0 * link - link * link * inverse)
            ws[(SLABF + i) * W + m] = inverse
        ws[SLABF * W + m] = 1.0 / (heat + link + h * ws[(bed + TOUCH) * W + m] - link * link * inverse)


@inlined
def factor_blocks(ws: Array, state: int, now: int, bed: int, h: float, layers: int) -> None:
    """Factor the 2 x 2 blocks of temperature and pore vapour, top layer first."""
    for j in range(layers):
        for m in range(W):
            pore, lay = ws[(bed + GPORE) * W + m], ws[(bed + KLAY) * W + m]
            flow_g, flow_h = ws[(bed + GFLOW) * W + m], ws[(bed + HFLOW) * W + m]
            k_up = lay if j > 0 else ws[(bed + HTOP) * W + m]
            k_down = lay if j < layers - 1 else ws[(bed + HBOT) * W + m]
            g_up = pore if j > 0 else ws[(bed + GTOP) * W + m]
            g_down = pore if j < layers - 1 else ws[(bed + GBOT) * W + m]
            skin, free = ws[(now + LSKIN + j) * W + m], ws[(now + LFREE + j) * W + m]
            est, eft = ws[(FAC + EST + j) * W + m], ws[(FAC + EFT + j) * W + m]
            esp, efp = ws[(FAC + ESP + j) * W + m], ws[(FAC + EFP + j) * W + m]
            a11 = ws[(CAP + j) * W + m] + h * (k_up + k_down + flow_h + skin * est + free * eft)
            if j == 0:
                kelvin = ws[(state + T0) * W + m] + KELVIN
                a11 += h * ws[(bed + HSKY) * W + m] * 4.0 * SIGMA * kelvin * kelvin * kelvin
            if j == layers - 1:
                slab = on_floor(ws, m)
                touch = h * ws[(bed + TOUCH) * W + m]
                a11 += slab * (touch - touch * touch * ws[SLABF * W + m])
                a11 += h * flow_h * ws[(bed + KCAP) * W + m]
            a12, a21 = h * (skin * esp + free * efp), est + eft
            a22 = esp + efp - g_up - g_down - flow_g
            if j > 0:
                low1, low2 = -h * lay, pore
                high1, high2 = -h * (lay + flow_h), pore + flow_g
                a11 -= low1 * ws[(FAC + I11 + j - 1) * W + m] * high1
                a12 -= low1 * ws[(FAC + I12 + j - 1) * W + m] * high2
                a21 -= low2 * ws[(FAC + I21 + j - 1) * W + m] * high1
                a22 -= low2 * ws[(FAC + I22 + j - 1) * W + m] * high2
            det = 1.0 / (a11 * a22 - a12 * a21)
            ws[(FAC + I11 + j) * W + m] = a22 * det
            ws[(FAC + I12 + j) * W + m] = -a12 * det
            ws[(FAC + I21 + j) * W + m] = -a21 * det
            ws[(FAC + I22 + j) * W + m] = a11 * det


@inlined
def factor(ws: Array, state: int, now: int, bed: int, h: float, layers: int) -> None:
    """Factor everything for a stage length h."""
    factor_shells(ws, now, h, layers)
    factor_layers(ws, state, now, bed, h, layers)
    factor_slab(ws, bed, h)
    factor_blocks(ws, state, now, bed, h, layers)


@inlined
def forward(ws: Array, now: int, bed: int, side: int, k: int, h: float, layers: int) -> None:
    """Right-hand sides out to the skins, up the slab and down the layers."""
    for m in range(W):
        link = h * ws[SLABLINK * W + m]
        ws[(k + S0 + M - 1) * W + m] = ws[(side + S0 + M - 1) * W + m]
        for i in range(M - 2, -1, -1):
            below = ws[(k + S0 + i + 1) * W + m] * ws[(SLABF + i + 1) * W + m]
            ws[(k + S0 + i) * W + m] = ws[(side + S0 + i) * W + m] + link * below
    for j in range(layers):
        for m in range(W):
            carried = ws[(side + X0 + j * NS) * W + m]
            ws[(k + X0 + j * NS) * W + m] = carried
            for i in range(1, NS):
                carried = ws[(side + X0 + j * NS + i) * W + m] + ws[(RATIO + j * NS + i) * W + m] * carried
                ws[(k + X0 + j * NS + i) * W + m] = carried
            film = ws[(side + F0 + j) * W + m]
            b0 = ws[(FAC + AA + j) * W + m] * carried + ws[(FAC + AF + j) * W + m] * film
            f0 = ws[(FAC + FA + j) * W + m] * carried + ws[(FAC + FF + j) * W + m] * film
            es0 = ws[(FAC + ESX + j) * W + m] * b0 + ws[(FAC + ESF + j) * W + m] * f0
            ef0 = ws[(FAC + EFF + j) * W + m] * f0
            r1 = ws[(side + T0 + j) * W + m] - h * (
                ws[(now + LSKIN + j) * W + m] * es0 + ws[(now + LFREE + j) * W + m] * ef0
            )
            r2 = -(es0 + ef0)
            ws[(LATENT0 + j) * W + m] = (
                ws[(now + LSKIN + j) * W + m] * es0 + ws[(now + LFREE + j) * W + m] * ef0
            )
            if j == layers - 1:
                slab = on_floor(ws, m)
                r1 += slab * h * ws[(bed + TOUCH) * W + m] * ws[(k + S0) * W + m] * ws[SLABF * W + m]
            if j > 0:
                t, pv = ws[(k + T0 + j - 1) * W + m], ws[(KP + j - 1) * W + m]
                g1 = ws[(FAC + I11 + j - 1) * W + m] * t + ws[(FAC + I12 + j - 1) * W + m] * pv
                g2 = ws[(FAC + I21 + j - 1) * W + m] * t + ws[(FAC + I22 + j - 1) * W + m] * pv
                r1 += h * ws[(bed + KLAY) * W + m] * g1
                r2 -= ws[(bed + GPORE) * W + m] * g2
            ws[(k + X0 + j * NS + N) * W + m] = b0
            ws[(k + F0 + j) * W + m] = f0
            ws[(k + T0 + j) * W + m] = r1
            ws[(KP + j) * W + m] = r2


@inlined
def backward(ws: Array, now: int, bed: int, k: int, h: float, layers: int) -> None:
    """Back from the bottom layer up, into each layer's shells, and down the slab."""
    for j in range(layers - 1, -1, -1):
        for m in range(W):
            r1, r2 = ws[(k + T0 + j) * W + m], ws[(KP + j) * W + m]
            if j < layers - 1:
                r1 += (
                    h * (ws[(bed + KLAY) * W + m] + ws[(bed + HFLOW) * W + m]) * ws[(k + T0 + j + 1) * W + m]
                )
                r2 -= (ws[(bed + GPORE) * W + m] + ws[(bed + GFLOW) * W + m]) * ws[(KP + j + 1) * W + m]
            t = ws[(FAC + I11 + j) * W + m] * r1 + ws[(FAC + I12 + j) * W + m] * r2
            pv = ws[(FAC + I21 + j) * W + m] * r1 + ws[(FAC + I22 + j) * W + m] * r2
            ws[(k + T0 + j) * W + m] = t
            ws[(KP + j) * W + m] = pv
            ws[(k + F0 + j) * W + m] += ws[(FAC + FT + j) * W + m] * t + ws[(FAC + FP + j) * W + m] * pv
            skin = ws[(k + X0 + j * NS + N) * W + m]
            skin += ws[(FAC + AT + j) * W + m] * t + ws[(FAC + AP + j) * W + m] * pv
            ws[(k + X0 + j * NS + N) * W + m] = skin
            hd = h * ws[(now + DIFF + j) * W + m]
            for i in range(N - 1, -1, -1):
                here = (k + X0 + j * NS + i) * W + m
                skin = (ws[here] + hd * FACTORS[i] * skin) * ws[(PIVOT + j * NS + i) * W + m]
                ws[here] = skin
    for m in range(W):
        link = h * ws[SLABLINK * W + m]
        slab = on_floor(ws, m)
        touch = slab * h * ws[(bed + TOUCH) * W + m] * ws[(k + T0 + layers - 1) * W + m]
        above = (ws[(k + S0) * W + m] + touch) * ws[SLABF * W + m]
        ws[(k + S0) * W + m] = above * slab
        for i in range(1, M):
            above = (ws[(k + S0 + i) * W + m] + link * above) * ws[(SLABF + i) * W + m]
            ws[(k + S0 + i) * W + m] = above * slab


@inlined
def linear_flows(ws: Array, state: int, now: int, bed: int, k: int, h: float, layers: int) -> None:
    """Rows FLOWH, FLOWV, FLOWR: linear part of heat that enters, vapour that leaves and rain held, of a stage."""
    for m in range(W):
        kelvin = ws[(state + T0) * W + m] + KELVIN
        slab = on_floor(ws, m)
        top = ws[(bed + HTOP) * W + m] + ws[(bed + HFLOW) * W + m]
        top += ws[(bed + HSKY) * W + m] * 4.0 * SIGMA * kelvin * kelvin * kelvin
        below = ws[(bed + HBOT) * W + m] + ws[(bed + HFLOW) * W + m] * ws[(bed + KCAP) * W + m]
        entered = (
            top * ws[(k + T0) * W + m]
            + below * ws[(k + T0 + layers - 1) * W + m]
            + slab * GROUND_LINK * ws[(k + S0 + M - 1) * W + m]
        )
        over = ws[(bed + GTOP) * W + m] + ws[(bed + GFLOW) * W + m]
        first, last = ws[KP * W + m], ws[(KP + layers - 1) * W + m]
        ws[FLOWV * W + m] = h * (over * first + ws[(bed + GBOT) * W + m] * last)
        held = 0.0
        for j in range(layers):
            held -= ws[(FAC + RAINF + j) * W + m] * ws[(k + F0 + j) * W + m]
            t, pv = ws[(k + T0 + j) * W + m], ws[(KP + j) * W + m]
            skin = ws[(FAC + EST + j) * W + m] * t + ws[(FAC + ESP + j) * W + m] * pv
            film = ws[(FAC + EFT + j) * W + m] * t + ws[(FAC + EFP + j) * W + m] * pv
            entered += (
                ws[(LATENT0 + j) * W + m]
                + ws[(now + LSKIN + j) * W + m] * skin
                + ws[(now + LFREE + j) * W + m] * film
            )
        ws[FLOWH * W + m] = -h * entered
        ws[FLOWR * W + m] = h * held


@inlined
def solve(ws: Array, now: int, bed: int, side: int, k: int, h: float, layers: int) -> None:
    """Solve for k."""
    forward(ws, now, bed, side, k, h, layers)
    backward(ws, now, bed, k, h, layers)
