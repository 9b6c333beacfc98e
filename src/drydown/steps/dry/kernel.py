"""The drying kernel: bean, bed and air as one system of rates.

Water moves through the shells of a bean by diffusion, leaves its skin or its free-water film
into the pores of the bed, climbs through the pores (or is carried by a fan) and leaves at the
top (and below, on a mesh). Heat comes from sun, air, sky and burner and goes into
evaporation (`heat.py`). Pore vapour follows at once (quasi-steady).

Only rates are here, nothing of stepping. Everything is numbers in one flat work space, in
lanes; no Python objects.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.air.moist import MAGNUS_C, MAGNUS_GROWTH, MAGNUS_PA
from drydown.matter.heat import BOUND_FALL, BOUND_SHARE, DRY_HEAT, LATENT_0, LATENT_FALL, WATER_HEAT
from drydown.steps.dry.airpath import burner
from drydown.steps.dry.compiled import inlined
from drydown.steps.dry.constants import (
    D40_KELVIN,
    DRIEST,
    EA,
    FACTORS,
    GAS,
    ISO,
    KELVIN,
    LOAD,
    OSWIN_A,
    OSWIN_B,
    OSWIN_C,
    X_SOAK,
    V,
)
from drydown.steps.dry.heat import heat_rates
from drydown.steps.dry.powers import exponential, isotherm_power
from drydown.steps.dry.rows import (
    AW,
    CAP,
    CAUGHT,
    COVER,
    DAWT,
    DAWX,
    DEWING,
    DIFF,
    DPHI,
    DPS,
    DR2,
    EF,
    ES,
    F0,
    FALLING,
    FHALF,
    FHOLD,
    GBOT,
    GFLOW,
    GIVE,
    GPORE,
    GSKIN,
    GTOP,
    HFLOW,
    LFREE,
    LINKG,
    LSKIN,
    MEANX,
    NS,
    PAIR,
    PHI,
    PIN,
    PS,
    PV,
    RAIN,
    SOAK,
    T0,
    TAIR,
    TIN,
    TRI,
    X0,
    N,
    W,
)
from drydown.units import HOUR_S

Array = NDArray[np.float64]


@inlined
def saturation(temp: float) -> float:
    """Saturation pressure, Pa: 610.94 exp(17.625 T/(T + 243.04)), within 0.4 %, -20 to 60 C (D5)."""
    return MAGNUS_PA * exponential(MAGNUS_GROWTH * temp / (temp + MAGNUS_C))


@inlined
def capacities(ws: Array, state: int, layers: int, ahead: float, drift: int) -> None:
    """Heat capacity of each layer `ahead` seconds from now, and the bed's mean moisture there (D26)."""
    for m in range(W):
        mean = 0.0
        for j in range(layers):
            x = 0.0
            for i in range(NS):
                x += V[i] * ws[(state + X0 + j * NS + i) * W + m]
            x += ahead * ws[(drift + j) * W + m]
            film = ws[(state + F0 + j) * W + m]
            film = 0.0 if film < 0.0 else film
            ws[(CAP + j) * W + m] = (
                ws[LOAD * W + m] / layers * (DRY_HEAT + WATER_HEAT * x) + WATER_HEAT * film
            )
            mean += x / layers
        ws[MEANX * W + m] = mean


@inlined
def surfaces(ws: Array, state: int, now: int, bed: int, layers: int) -> None:
    """Vapour pressure, wetness and exchange at the bean surfaces of every layer (D3 to D6, D25).

    Divisions are the slow part here, so each serves two quotients: q = 1/(a b), 1/a = q b.
    """
    for j in range(layers):
        for m in range(W):
            t = ws[(state + T0 + j) * W + m]
            magnus, kelvin = t + MAGNUS_C, t + KELVIN
            shared = 1.0 / (magnus * kelvin)
            by_magnus, by_kelvin = shared * kelvin, shared * magnus
            ps = MAGNUS_PA * exponential(MAGNUS_GROWTH * t * by_magnus)
            x = ws[(state + X0 + j * NS + N) * W + m]
            x = DRIEST if x < DRIEST else x
            level = (OSWIN_A + OSWIN_B * t) * ws[ISO * W + m]
            shared = 1.0 / (level * x)
            by_x, by_level = shared * level, shared * x
            u = isotherm_power(0.01 * level * by_x)
            free = ws[(state + F0 + j) * W + m]
            free = 0.0 if free < 0.0 else free
            wetting = free + ws[(bed + FHALF) * W + m]
            shared = 1.0 / ((1.0 + u) * wetting)
            aw, spread = shared * wetting, shared * (1.0 + u)
            slope = OSWIN_C * u * aw * aw
            ws[(now + PS + j) * W + m] = ps
            ws[(now + DPS + j) * W + m] = ps * MAGNUS_GROWTH * MAGNUS_C * by_magnus * by_magnus
            ws[(now + AW + j) * W + m] = aw
            ws[(now + DAWX + j) * W + m] = slope * by_x
            ws[(now + DAWT + j) * W + m] = -slope * OSWIN_B * ws[ISO * W + m] * by_level
            ws[(now + PHI + j) * W + m] = free * spread
            ws[(now + DPHI + j) * W + m] = ws[(bed + FHALF) * W + m] * spread * spread
            arrhenius = -ws[EA * W + m] / GAS * (by_kelvin - 1.0 / D40_KELVIN)
            ws[(now + DIFF + j) * W + m] = ws[(bed + DR2) * W + m] * exponential(arrhenius)
            latent = LATENT_0 - LATENT_FALL * t
            ws[(now + LFREE + j) * W + m] = latent
            ws[(now + LSKIN + j) * W + m] = latent * (1.0 + BOUND_SHARE * exponential(-BOUND_FALL * x))


@inlined
def pore_vapour(ws: Array, now: int, bed: int, layers: int) -> None:
    """Vapour pressure in the pores: what the surfaces give is what leaves (D11, D21).

    A layer whose beans are colder than the dew point of their pores takes dew on its outer face, past the
    hull. Which layers do is found by trying: what a surface gives falls faster with pressure once it dews, so
    each trial comes nearer from above and the last one changes nothing.
    """
    for j in range(layers):
        for m in range(W):
            ws[(now + DEWING + j) * W + m] = 0.0
    again = 1.0
    for _pass in range(layers + 2):
        if again > 0.0:
            pore_balance(ws, now, bed, layers)
            again = 0.0
            for j in range(layers):
                for m in range(W):
                    over = 1.0 if ws[(now + PV + j) * W + m] > ws[(now + PS + j) * W + m] else 0.0
                    again += abs(over - ws[(now + DEWING + j) * W + m])
                    ws[(now + DEWING + j) * W + m] = over


@inlined
def pore_balance(ws: Array, now: int, bed: int, layers: int) -> None:
    """One solution for the pores, the dewing layers given.

    Air that passes through enters below and is carried up from layer to layer. The pressures
    are those without vapour outside plus the air's own times a response; a chamber's air is
    what its link to the outside and the lot leave it.
    """
    for m in range(W):
        flow, pore = ws[(bed + GFLOW) * W + m], ws[(bed + GPORE) * W + m]
        give, skin = ws[(bed + GIVE) * W + m], ws[(bed + GSKIN) * W + m]
        top, bottom = ws[(bed + GTOP) * W + m], ws[(bed + GBOT) * W + m]
        for j in range(layers):
            up = top if j == 0 else pore
            down = bottom if j == layers - 1 else pore
            wet, dewing = ws[(now + PHI + j) * W + m], ws[(now + DEWING + j) * W + m]
            through, face = (1.0 - wet) * skin, give * (wet + (1.0 - wet) * dewing)
            source = ws[(now + PS + j) * W + m] * (through * (ws[(now + AW + j) * W + m] - dewing) + face)
            diagonal = face + through * (1.0 - dewing) + up + down + flow
            response = up if j == 0 else 0.0
            response += (down + flow) if j == layers - 1 else 0.0
            if j > 0:
                ratio = pore * ws[(TRI + 3 * (j - 1)) * W + m]
                diagonal -= ratio * (pore + flow)
                source += ratio * ws[(TRI + 3 * (j - 1) + 1) * W + m]
                response += ratio * ws[(TRI + 3 * (j - 1) + 2) * W + m]
            ws[(TRI + 3 * j) * W + m] = 1.0 / diagonal
            ws[(TRI + 3 * j + 1) * W + m] = source
            ws[(TRI + 3 * j + 2) * W + m] = response
        own, echo = 0.0, 0.0
        for j in range(layers - 1, -1, -1):
            link = pore + flow if j < layers - 1 else 0.0
            own = (ws[(TRI + 3 * j + 1) * W + m] + link * own) * ws[(TRI + 3 * j) * W + m]
            echo = (ws[(TRI + 3 * j + 2) * W + m] + link * echo) * ws[(TRI + 3 * j) * W + m]
            ws[(now + PV + j) * W + m] = own
            ws[(TRI + 3 * j + 2) * W + m] = echo
        outside, fresh = ws[(bed + PAIR) * W + m], ws[(bed + LINKG) * W + m]
        low, low_echo = ws[(now + PV + layers - 1) * W + m], ws[(TRI + 3 * (layers - 1) + 2) * W + m]
        given = (top + flow) * own + bottom * low
        rest = (top + flow) * (1.0 - echo) + bottom * (1.0 - low_echo)
        shut = 1.0 if fresh > 0.0 else 0.0
        met = (fresh * outside + given) / (fresh + rest + 1.0 - shut)
        met = shut * met + (1.0 - shut) * outside
        ws[(bed + PIN) * W + m] = met
        for j in range(layers):
            ws[(now + PV + j) * W + m] += met * ws[(TRI + 3 * j + 2) * W + m]


@inlined
def water_flows(ws: Array, state: int, now: int, bed: int, air: int, layers: int) -> None:
    """kg/(m2 s) in each layer: from the skin, from the film (dew below 0), film to skin, rain (D7 to D9)."""
    for j in range(layers):
        for m in range(W):
            load = ws[LOAD * W + m] / layers
            wet, give, skin = ws[(now + PHI + j) * W + m], ws[(bed + GIVE) * W + m], ws[(bed + GSKIN) * W + m]
            ps, pv = ws[(now + PS + j) * W + m], ws[(now + PV + j) * W + m]
            over = ps - pv
            dew = over * ws[(now + DEWING + j) * W + m]
            room = ws[X_SOAK * W + m] - ws[(state + X0 + j * NS + N) * W + m]
            room = 0.0 if room < 0.0 else room
            free = ws[(state + F0 + j) * W + m]
            held = free / ws[(bed + FHOLD) * W + m]
            held = 0.0 if held < 0.0 else held
            held = 1.0 if held > 1.0 else held
            before = ws[(now + FALLING + (j - 1 if j > 0 else 0)) * W + m]
            caught = ws[(now + CAUGHT + (j - 1 if j > 0 else 0)) * W + m]
            rain = ws[(air + RAIN) * W + m] * (1.0 - ws[(air + COVER) * W + m]) / HOUR_S
            falling = rain if j == 0 else before - caught
            ws[(now + ES + j) * W + m] = (1.0 - wet) * skin * (ws[(now + AW + j) * W + m] * ps - pv - dew)
            ws[(now + EF + j) * W + m] = wet * give * over + (1.0 - wet) * give * dew
            ws[(now + SOAK + j) * W + m] = wet * load * ws[(now + DIFF + j) * W + m] * FACTORS[N - 1] * room
            ws[(now + FALLING + j) * W + m] = falling
            ws[(now + CAUGHT + j) * W + m] = falling * (1.0 - held)


@inlined
def moisture_rates(ws: Array, state: int, now: int, side: int, layers: int) -> None:
    """Rates of shell moisture (times shell volume) and of film water into block `side` (D1, D2, D10)."""
    for j in range(layers):
        for m in range(W):
            flow = 0.0
            d = ws[(now + DIFF + j) * W + m]
            for i in range(N):
                here = (state + X0 + j * NS + i) * W + m
                out = d * FACTORS[i] * (ws[here] - ws[here + W])
                ws[(side + X0 + j * NS + i) * W + m] = flow - out
                flow = out
            load = ws[LOAD * W + m] / layers
            soak, skin = ws[(now + SOAK + j) * W + m], ws[(now + ES + j) * W + m]
            ws[(side + X0 + j * NS + N) * W + m] = flow + (soak - skin) / load
            ws[(side + F0 + j) * W + m] = ws[(now + CAUGHT + j) * W + m] - ws[(now + EF + j) * W + m] - soak


@inlined
def boundary_flows(ws: Array, now: int, bed: int, layers: int, out: int, held: int, heat: int) -> None:
    """Vapour that leaves, rain that stays [kg/(m2 s)], burner heat [W/m2], each into its row."""
    for m in range(W):
        outside = ws[(bed + PIN) * W + m]
        first, last = ws[(now + PV) * W + m], ws[(now + PV + layers - 1) * W + m]
        ws[out * W + m] = (
            ws[(bed + GTOP) * W + m] * (first - outside)
            + ws[(bed + GBOT) * W + m] * (last - outside)
            + ws[(bed + GFLOW) * W + m] * (first - outside)
        )
        caught = 0.0
        for j in range(layers):
            caught += ws[(now + CAUGHT + j) * W + m]
        ws[held * W + m] = caught
        ws[heat * W + m] = ws[(bed + HFLOW) * W + m] * (ws[(bed + TIN) * W + m] - ws[(bed + TAIR) * W + m])


@inlined
def rates(ws: Array, state: int, now: int, bed: int, air: int, side: int, layers: int) -> None:
    """All rates at one moment, into block `side`: shells as volume times dX/dt [1/s], film
    [kg/(m2 s)], layers and slab [W/m2]. `bed_geometry` for the same air comes first.
    """
    burner(ws, bed, state, layers)
    surfaces(ws, state, now, bed, layers)
    pore_vapour(ws, now, bed, layers)
    water_flows(ws, state, now, bed, air, layers)
    moisture_rates(ws, state, now, side, layers)
    heat_rates(ws, state, now, bed, air, side, layers)
