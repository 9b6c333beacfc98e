"""One implicit step of the drying kernel: factor the linear system once, solve it twice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.compiled import compiled
from drydown.steps.dry.kernel import (
    AW,
    COVER,
    DAWT,
    DAWX,
    DIFF,
    DPHI,
    DPS,
    FHOLD,
    GBOT,
    GPORE,
    GS,
    GTOP,
    HBOT,
    HTOP,
    KLAY,
    LFREE,
    LSKIN,
    NS,
    PHI,
    PS,
    PV,
    RAINED,
    SIGMA,
    SLAB_CONTACT,
    SLAB_K,
    SLAB_RHO_C,
    SLAB_STEP_M,
    L,
    M,
    N,
)

Array = NDArray[np.float64]

# rows of the factor table, one column a layer. Skin (a) and film (f) as functions of their
# right-hand sides, temperature and pore vapour; derivatives of evaporation; inverse blocks.
AA, AF, FA, FF, AT, AP, FT, FP, ESX, ESF, EFF, EST, ESP, EFT, EFP = range(15)
I11, I12, I21, I22, RAINF = range(15, 20)
FACTOR_ROWS = 20


@compiled
def factor_shells(v: Array, factors: Array, w: Array, h: float, j: int, low: Array) -> float:
    """Eliminate the shells of layer j inward-out; returns the skin's pivot without exchange.

    low[j, i] is the multiplier of shell i, low[j, NS + i] its pivot.
    """
    gap = h * w[DIFF, j] * factors[0]
    pivot = v[0] + gap
    low[j, NS] = pivot
    for i in range(1, NS):
        after = h * w[DIFF, j] * factors[i] if i < N else 0.0
        ratio = gap / pivot
        low[j, i] = ratio
        pivot = v[i] + gap + after - ratio * gap
        low[j, NS + i] = pivot
        gap = after
    return float(pivot)


@compiled
def factor_layer(
    p: Array,
    bed: Array,
    X: Array,
    w: Array,
    h: float,
    j: int,
    pivot: float,
    skin: float,
    fac: Array,
) -> None:
    """Express skin, film and evaporation of layer j by its temperature and pore vapour."""
    load = p[14] / L
    wet, dry, give = w[PHI, j], 1.0 - w[PHI, j], w[GS, j]
    over = w[PS, j] - w[PV, j]
    dewing = 1.0 if over < 0.0 else 0.0
    room = max(p[10] - X[j, N], 0.0)
    soak = wet * load * w[DIFF, j] * skin if room > 0.0 else 0.0
    soak_f = w[DPHI, j] * load * w[DIFF, j] * skin * room
    es_x = dry * give * w[PS, j] * w[DAWX, j]
    es_f = -w[DPHI, j] * give * (w[AW, j] * w[PS, j] - w[PV, j] - min(over, 0.0))
    es_t = dry * give * (w[PS, j] * w[DAWT, j] + (w[AW, j] - dewing) * w[DPS, j])
    es_p = -dry * give * (1.0 - dewing)
    ef_t, ef_p = give * w[DPS, j] * (wet + dry * dewing), -give * (wet + dry * dewing)
    ef_f = w[DPHI, j] * give * max(over, 0.0)
    rain_f = w[RAINED, j] / bed[FHOLD]
    m11, m12 = pivot + h * (es_x + soak) / load, h * (es_f - soak_f) / load
    m21, m22 = -h * soak, 1.0 + h * (ef_f + rain_f + soak_f)
    det = m11 * m22 - m12 * m21
    aa, af, fa, ff = m22 / det, -m12 / det, -m21 / det, m11 / det
    at, ap = -h * (aa * es_t / load + af * ef_t), -h * (aa * es_p / load + af * ef_p)
    ft, fp = -h * (fa * es_t / load + ff * ef_t), -h * (fa * es_p / load + ff * ef_p)
    fac[AA, j], fac[AF, j], fac[FA, j], fac[FF, j] = aa, af, fa, ff
    fac[AT, j], fac[AP, j], fac[FT, j], fac[FP, j] = at, ap, ft, fp
    fac[ESX, j], fac[ESF, j], fac[EFF, j] = es_x, es_f, ef_f
    fac[EST, j], fac[ESP, j] = es_t + es_x * at + es_f * ft, es_p + es_x * ap + es_f * fp
    fac[EFT, j], fac[EFP, j] = ef_t + ef_f * ft, ef_p + ef_f * fp
    fac[RAINF, j] = rain_f


@compiled
def factor_blocks(
    p: Array,
    bed: Array,
    air: Array,
    T: Array,
    w: Array,
    cap: Array,
    h: float,
    fac: Array,
    slab: Array,
) -> None:
    """Factor the 2 x 2 blocks of temperature and pore vapour, top layer first."""
    floor = p[16] < 0.5
    heat_s = SLAB_RHO_C * SLAB_STEP_M
    link = h * SLAB_K / SLAB_STEP_M
    if floor:
        slab[M - 1] = heat_s + link
        for i in range(M - 2, -1, -1):
            own = heat_s + link + (link if i > 0 else h * SLAB_CONTACT)
            slab[i] = own - link * link / slab[i + 1]
    for j in range(L):
        up, down = (bed[KLAY] if j > 0 else bed[HTOP]), (bed[KLAY] if j < L - 1 else bed[HBOT])
        a11 = cap[j] + h * (up + down + w[LSKIN, j] * fac[EST, j] + w[LFREE, j] * fac[EFT, j])
        if j == 0 and air[COVER] < 0.5:
            a11 += h * p[15] * 4.0 * SIGMA * (T[0] + 273.15) ** 3
        if j == L - 1 and floor:
            a11 += h * SLAB_CONTACT - (h * SLAB_CONTACT) ** 2 / slab[0]
        a12 = h * (w[LSKIN, j] * fac[ESP, j] + w[LFREE, j] * fac[EFP, j])
        a21 = fac[EST, j] + fac[EFT, j]
        gup = bed[GPORE] if j > 0 else bed[GTOP]
        gdown = bed[GPORE] if j < L - 1 else bed[GBOT]
        a22 = fac[ESP, j] + fac[EFP, j] - gup - gdown
        if j > 0:
            o1, o2 = -h * bed[KLAY], bed[GPORE]
            a11 -= o1 * fac[I11, j - 1] * o1
            a12 -= o1 * fac[I12, j - 1] * o2
            a21 -= o2 * fac[I21, j - 1] * o1
            a22 -= o2 * fac[I22, j - 1] * o2
        det = a11 * a22 - a12 * a21
        fac[I11, j], fac[I12, j] = a22 / det, -a12 / det
        fac[I21, j], fac[I22, j] = -a21 / det, a11 / det


@compiled
def forward_shells(rX: Array, low: Array, kX: Array, j: int) -> float:
    """Carry the right-hand side of layer j out to the skin; returns the carried side."""
    kX[j, 0] = rX[j, 0]
    for i in range(1, NS):
        kX[j, i] = rX[j, i] + low[j, i] * kX[j, i - 1]
    return float(kX[j, N])


@compiled
def back_shells(factors: Array, w: Array, h: float, low: Array, kX: Array, j: int) -> None:
    """From the skin inward."""
    for i in range(N - 1, -1, -1):
        gap = h * w[DIFF, j] * factors[i]
        kX[j, i] = (kX[j, i] + gap * kX[j, i + 1]) / low[j, NS + i]


@compiled
def solve(
    p: Array,
    factors: Array,
    bed: Array,
    w: Array,
    h: float,
    low: Array,
    fac: Array,
    slab: Array,
    rX: Array,
    rF: Array,
    rT: Array,
    rS: Array,
    kX: Array,
    kF: Array,
    kT: Array,
    kS: Array,
    kP: Array,
    flows: Array,
) -> None:
    """Solve (I - h J) k = r. `flows` gets the linear part of vapour out and of rain held.

    rX is volume times rate; rT, rS are W/m2 (capacity times rate).
    """
    floor = p[16] < 0.5
    link = h * SLAB_K / SLAB_STEP_M
    if floor:
        kS[M - 1] = rS[M - 1]
        for i in range(M - 2, -1, -1):
            kS[i] = rS[i] + link * kS[i + 1] / slab[i + 1]
    for j in range(L):
        side = forward_shells(rX, low, kX, j)
        b0 = fac[AA, j] * side + fac[AF, j] * rF[j]
        f0 = fac[FA, j] * side + fac[FF, j] * rF[j]
        es0, ef0 = fac[ESX, j] * b0 + fac[ESF, j] * f0, fac[EFF, j] * f0
        r1 = rT[j] - h * (w[LSKIN, j] * es0 + w[LFREE, j] * ef0)
        r2 = -(es0 + ef0)
        if j == L - 1 and floor:
            r1 += h * SLAB_CONTACT * kS[0] / slab[0]
        if j > 0:
            g1 = fac[I11, j - 1] * kT[j - 1] + fac[I12, j - 1] * kP[j - 1]
            g2 = fac[I21, j - 1] * kT[j - 1] + fac[I22, j - 1] * kP[j - 1]
            r1 += h * bed[KLAY] * g1
            r2 -= bed[GPORE] * g2
        kX[j, N], kF[j] = b0, f0
        kT[j], kP[j] = r1, r2
    for j in range(L - 1, -1, -1):
        r1, r2 = kT[j], kP[j]
        if j < L - 1:
            r1 += h * bed[KLAY] * kT[j + 1]
            r2 -= bed[GPORE] * kP[j + 1]
        kT[j] = fac[I11, j] * r1 + fac[I12, j] * r2
        kP[j] = fac[I21, j] * r1 + fac[I22, j] * r2
        kX[j, N] += fac[AT, j] * kT[j] + fac[AP, j] * kP[j]
        kF[j] += fac[FT, j] * kT[j] + fac[FP, j] * kP[j]
        back_shells(factors, w, h, low, kX, j)
    if floor:
        kS[0] = (kS[0] + h * SLAB_CONTACT * kT[L - 1]) / slab[0]
        for i in range(1, M):
            kS[i] = (kS[i] + link * kS[i - 1]) / slab[i]
    flows[0] = h * (bed[GTOP] * kP[0] + bed[GBOT] * kP[L - 1])
    held = 0.0
    for j in range(L):
        held -= fac[RAINF, j] * kF[j]
    flows[1] = h * held
