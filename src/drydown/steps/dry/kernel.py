"""The drying kernel: bean, bed and air as one system of rates, and one implicit step of it.

Water moves through the shells of a bean by diffusion, leaves its skin or its free-water film
into the pores of the bed, climbs through the pores and leaves at the top (and below, on a
mesh). Heat comes from sun, air and sky and goes into evaporation. Pore vapour follows at
once (quasi-steady).

The step is the two-stage Rosenbrock method of second order that keeps its order with an
approximate Jacobian: shells are eliminated inside each layer, then layers as 2 x 2 blocks of
temperature and pore vapour. Vapour that leaves is summed from the boundary fluxes, apart
from the moisture itself, so that closure is a real check.

Everything here is numbers and arrays only; no Python objects.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.compiled import compiled
from drydown.steps.dry.layout import LAYERS, SHELLS, SLAB

Array = NDArray[np.float64]

L, N, M = LAYERS, SHELLS, SLAB
NS = N + 1
GAMMA = 1.0 - 1.0 / math.sqrt(2.0)

RV = 461.52
SIGMA = 5.670374419e-8
OSWIN_A, OSWIN_B, OSWIN_C = 12.453, -0.05011, 3.8514
WIND_TO_BED = 0.635
"""Wind at 1 m over wind at 10 m, FAO-56 log law."""
SHERWOOD = 2.6
"""Vapour exchange of one bean in slow pore air (sphere: 2 + 0.6 Re^0.5 Sc^1/3)."""
BED_CONDUCTIVITY = 0.12
SLAB_STEP_M, SLAB_K, SLAB_RHO_C, SLAB_CONTACT = 0.1 / SLAB, 1.4, 2.1e6, 12.0

# rows of the per-layer work table
PS, DPS, AW, DAWX, DAWT, PHI, DPHI, GS, DIFF, LSKIN, LFREE, PV, ES, EF, ABS, CAP, RAINED = range(17)
WORK_ROWS = 17
# columns of the bed vector
DZ, GTOP, GBOT, GPORE, HTOP, HBOT, KLAY, ACAP, FHALF, FHOLD, FADE = range(11)
BED_SIZE = 11
# columns of the air vector: what the bed meets in a moment
TA, PVA, WIND, SUN, RAIN, SKY, COVER = range(7)
AIR_SIZE = 7


@compiled
def saturation(temp: float) -> float:
    """Saturation pressure, Pa: 610.94 exp(17.625 T/(T + 243.04)), within 0.4 %, -20 to 60 C."""
    return 610.94 * math.exp(17.625 * temp / (temp + 243.04))


@compiled
def bed_geometry(p: Array, air: Array, mean_x: float, bed: Array) -> None:
    """Layer depth and exchange with the air, for the coming step."""
    share = min(max((mean_x - p[9]) / (p[8] - p[9]), 0.0), 1.0)
    density = p[7] + (p[6] - p[7]) * share
    dz = p[14] / density / L
    wind = WIND_TO_BED * air[WIND]
    covered = air[COVER] > 0.5
    kelvin = air[TA] + 273.15
    rvt = RV * kelvin
    diffusivity = 2.5e-5 * 101325.0 / p[18]
    pore = diffusivity * p[5] * math.sqrt(p[5]) * (1.0 + 3.0 * (0.0 if covered else wind)) / rvt
    top = (1.5 if covered else 2.8 + 3.0 * wind) * p[17]
    below = (0.5 if covered else 0.8 * (2.8 + 1.5 * wind)) * p[17] * p[16]
    rho_cp = 1006.0 * p[18] / (287.05 * kelvin) * 0.90
    film = 0.15 if covered else 1.0
    half = 2.0 * pore / dz
    out_top, out_below = film * top / (rho_cp * rvt), film * below / (rho_cp * rvt)
    bed[DZ] = dz
    bed[GPORE] = pore / dz
    bed[GTOP] = out_top * half / (out_top + half)
    bed[GBOT] = out_below * half / (out_below + half)
    bed[HTOP] = top
    bed[HBOT] = below + (0.5 if covered else 3.3) * p[16]
    bed[KLAY] = BED_CONDUCTIVITY / dz
    surface = 3.0 * (1.0 - p[5]) / p[0] * dz
    bed[ACAP] = surface * SHERWOOD * diffusivity / (2.0 * p[0]) / rvt
    bed[FHALF] = surface * 1000.0 * p[12]
    bed[FHOLD] = surface * 1000.0 * p[13]
    bed[FADE] = math.exp(-dz / p[4])


@compiled
def surfaces(p: Array, bed: Array, X: Array, F: Array, T: Array, w: Array) -> None:
    """Vapour pressure, wetness and exchange at the bean surfaces of every layer."""
    for j in range(L):
        t = T[j]
        ps = saturation(t)
        x = max(X[j, N], 1e-4)
        level = (OSWIN_A + OSWIN_B * t) * p[11]
        u = (level / (100.0 * x)) ** OSWIN_C
        aw = 1.0 / (1.0 + u)
        slope = OSWIN_C * u * aw * aw
        free = max(F[j], 0.0)
        w[PS, j] = ps
        w[DPS, j] = ps * 17.625 * 243.04 / (t + 243.04) ** 2
        w[AW, j] = aw
        w[DAWX, j] = slope / x
        w[DAWT, j] = -slope * OSWIN_B * p[11] / level
        w[PHI, j] = free / (free + bed[FHALF])
        w[DPHI, j] = bed[FHALF] / (free + bed[FHALF]) ** 2
        w[GS, j] = bed[ACAP]
        w[DIFF, j] = (
            p[1] / (p[0] * p[0]) * math.exp(-p[2] / 8.314462618 * (1.0 / (t + 273.15) - 1.0 / 313.15))
        )
        w[LFREE, j] = 2502400.0 - 2429.5 * t
        w[LSKIN, j] = w[LFREE, j] * (1.0 + 1.44408 * math.exp(-21.6011 * x))


@compiled
def pore_vapour(bed: Array, air: Array, w: Array, tri: Array) -> None:
    """Vapour pressure in the pores: what the surfaces give is what climbs out."""
    for j in range(L):
        give = w[GS, j]
        up = bed[GTOP] if j == 0 else bed[GPORE]
        down = bed[GBOT] if j == L - 1 else bed[GPORE]
        tri[0, j] = give + up + down
        wet = w[PHI, j]
        tri[1, j] = give * w[PS, j] * (wet + (1.0 - wet) * w[AW, j])
    tri[1, 0] += bed[GTOP] * air[PVA]
    tri[1, L - 1] += bed[GBOT] * air[PVA]
    for j in range(1, L):
        factor = bed[GPORE] / tri[0, j - 1]
        tri[0, j] -= factor * bed[GPORE]
        tri[1, j] += factor * tri[1, j - 1]
    w[PV, L - 1] = tri[1, L - 1] / tri[0, L - 1]
    for j in range(L - 2, -1, -1):
        w[PV, j] = (tri[1, j] + bed[GPORE] * w[PV, j + 1]) / tri[0, j]


@compiled
def water_flows(p: Array, bed: Array, air: Array, X: Array, F: Array, w: Array, skin: float) -> None:
    """kg/(m2 s) in each layer: from the skin, from the film (dew below 0), film to skin, rain.

    `skin` is the exchange factor between the last shell and the skin.
    """
    load = p[14] / L
    falling = 0.0 if air[COVER] > 0.5 else air[RAIN] / 3600.0
    for j in range(L):
        wet, give = w[PHI, j], w[GS, j]
        over = w[PS, j] - w[PV, j]
        dew = min(over, 0.0)
        w[ES, j] = (1.0 - wet) * give * (w[AW, j] * w[PS, j] - w[PV, j] - dew)
        w[EF, j] = wet * give * over + (1.0 - wet) * give * dew
        w[ABS, j] = wet * load * w[DIFF, j] * skin * max(p[10] - X[j, N], 0.0)
        held = min(max(F[j], 0.0) / bed[FHOLD], 1.0)
        w[CAP, j] = falling * (1.0 - held)
        w[RAINED, j] = falling
        falling *= held


@compiled
def heat_capacity(p: Array, mean_x: float, film: float) -> float:
    """J/(m2 K) of a layer."""
    return float(p[14] / L * (1650.0 + 4190.0 * mean_x) + 4190.0 * max(film, 0.0))


@compiled
def moisture_rates(p: Array, factors: Array, X: Array, w: Array, fX: Array, fF: Array) -> None:
    """Rates of shell moisture (times shell volume) and of film water."""
    load = p[14] / L
    for j in range(L):
        before = 0.0
        for i in range(N):
            flow = w[DIFF, j] * factors[i] * (X[j, i] - X[j, i + 1])
            fX[j, i] = before - flow
            before = flow
        fX[j, N] = before + (w[ABS, j] - w[ES, j]) / load
        fF[j] = w[CAP, j] - w[EF, j] - w[ABS, j]


@compiled
def heat_rates(p: Array, bed: Array, air: Array, T: Array, S: Array, w: Array, fT: Array, fS: Array) -> float:
    """Heat into each layer and slab node, W/m2; returns what entered through the boundaries."""
    covered = air[COVER] > 0.5
    light = 0.0 if covered else air[SUN]
    entered = 0.0
    for j in range(L):
        kept = light * (1.0 - bed[FADE])
        light -= kept
        entered += p[3] * kept
        fT[j] = p[3] * kept - w[LSKIN, j] * w[ES, j] - w[LFREE, j] * w[EF, j]
    for j in range(L - 1):
        flow = bed[KLAY] * (T[j] - T[j + 1])
        fT[j] -= flow
        fT[j + 1] += flow
    top = bed[HTOP] * (air[TA] - T[0])
    if not covered:
        top += p[15] * (air[SKY] - SIGMA * (T[0] + 273.15) ** 4)
    below = bed[HBOT] * (air[TA] - T[L - 1])
    fT[0] += top
    fT[L - 1] += below
    for i in range(M):
        fS[i] = 0.0
    if p[16] < 0.5:
        contact = SLAB_CONTACT * (T[L - 1] - S[0])
        fT[L - 1] -= contact
        fS[0] += contact + p[19] * light
        entered += p[19] * light
        for i in range(M - 1):
            flow = SLAB_K / SLAB_STEP_M * (S[i] - S[i + 1])
            fS[i] -= flow
            fS[i + 1] += flow
    return float(entered + top + below)


@compiled
def rates(
    p: Array,
    factors: Array,
    bed: Array,
    air: Array,
    X: Array,
    F: Array,
    T: Array,
    S: Array,
    w: Array,
    tri: Array,
    fX: Array,
    fF: Array,
    fT: Array,
    fS: Array,
) -> tuple[float, float]:
    """All rates at one moment; returns vapour out [kg/(m2 s)] and heat in [W/m2].

    fX is volume times dX/dt [1/s]; fF [kg/(m2 s)]; fT, fS [W/m2].
    """
    surfaces(p, bed, X, F, T, w)
    pore_vapour(bed, air, w, tri)
    water_flows(p, bed, air, X, F, w, factors[N - 1])
    moisture_rates(p, factors, X, w, fX, fF)
    entered = heat_rates(p, bed, air, T, S, w, fT, fS)
    out = bed[GTOP] * (w[PV, 0] - air[PVA]) + bed[GBOT] * (w[PV, L - 1] - air[PVA])
    return out, entered
