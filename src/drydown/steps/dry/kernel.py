"""The drying kernel: bean, bed and air as one system of rates.

Water moves through the shells of a bean by diffusion, leaves its skin or its free-water film
into the pores of the bed, climbs through the pores (or is carried by a fan) and leaves at the
top (and below, on a mesh). Heat comes from sun, air, sky and burner and goes into
evaporation (`heat.py`). Pore vapour follows at once (quasi-steady).

Only rates are here, nothing of stepping. Everything is numbers in one flat work space, in
lanes; no Python objects.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.airpath import air_path, burner
from drydown.steps.dry.compiled import inlined
from drydown.steps.dry.constants import (
    AIR_FLOW,
    BED_CONDUCTIVITY,
    D40,
    DM_DRY,
    DM_WET,
    EA,
    FACTORS,
    FILM,
    FILM_HOLD,
    HSCALE,
    ISO,
    LIGHT,
    LOAD,
    OPEN,
    OSWIN_A,
    OSWIN_B,
    OSWIN_C,
    PORES,
    PRESSURE,
    RA,
    RADIUS,
    RV,
    SHERWOOD,
    WIND_TO_BED,
    X_DRY,
    X_SOAK,
    X_WET,
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
    DIFF,
    DPHI,
    DPS,
    DZ,
    EF,
    ES,
    F0,
    FADE,
    FALLING,
    FHALF,
    FHOLD,
    GBOT,
    GFLOW,
    GIVE,
    GPORE,
    GTOP,
    HBOT,
    HFLOW,
    HTOP,
    KLAY,
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
    TA,
    TAIR,
    TIN,
    TRI,
    WIND,
    X0,
    N,
    W,
)

Array = NDArray[np.float64]


@inlined
def saturation(temp: float) -> float:
    """Saturation pressure, Pa: 610.94 exp(17.625 T/(T + 243.04)), within 0.4 %, -20 to 60 C."""
    return 610.94 * exponential(17.625 * temp / (temp + 243.04))


@inlined
def capacities(ws: Array, state: int, layers: int, ahead: float, drift: int) -> None:
    """Heat capacity of each layer `ahead` seconds from now, and the bed's mean moisture there."""
    for m in range(W):
        ws[MEANX * W + m] = 0.0
    for j in range(layers):
        for m in range(W):
            x = 0.0
            for i in range(NS):
                x += V[i] * ws[(state + X0 + j * NS + i) * W + m]
            x += ahead * ws[(drift + j) * W + m]
            film = ws[(state + F0 + j) * W + m]
            film = 0.0 if film < 0.0 else film
            ws[(CAP + j) * W + m] = ws[LOAD * W + m] / layers * (1650.0 + 4190.0 * x) + 4190.0 * film
            ws[MEANX * W + m] += x / layers


@inlined
def bed_geometry(ws: Array, air: int, bed: int, state: int, layers: int) -> None:
    """Layer depth, from the mean moisture in row MEANX, and exchange with the air."""
    for m in range(W):
        share = (ws[MEANX * W + m] - ws[X_DRY * W + m]) / (ws[X_WET * W + m] - ws[X_DRY * W + m])
        share = 0.0 if share < 0.0 else share
        share = 1.0 if share > 1.0 else share
        density = ws[DM_DRY * W + m] + (ws[DM_WET * W + m] - ws[DM_DRY * W + m]) * share
        dz = ws[LOAD * W + m] / density / layers
        open_air = 1.0 - ws[(air + COVER) * W + m]
        machine = 1.0 if ws[AIR_FLOW * W + m] > 0.0 else 0.0
        wind = WIND_TO_BED * ws[(air + WIND) * W + m] * open_air
        kelvin = ws[(air + TA) * W + m] + 273.15
        rvt = RV * kelvin
        pores = ws[PORES * W + m]
        diffusivity = 2.5e-5 * 101325.0 / ws[PRESSURE * W + m]
        pore = diffusivity * pores * math.sqrt(pores) * (1.0 + 3.0 * wind) / rvt
        # A heap shows the air less than the spread layer; what is covered has no rain, so the row says it.
        heaped = ws[(air + COVER) * W + m] * ws[(air + RAIN) * W + m]
        scale = ws[HSCALE * W + m] * (1.0 - machine) * (1.0 - heaped)
        top = (open_air * (2.8 + 3.0 * wind) + (1.0 - open_air) * 1.5) * scale
        below = (open_air * 0.8 * (2.8 + 1.5 * wind) + (1.0 - open_air) * 0.5) * scale * ws[OPEN * W + m]
        rho_cp = 1006.0 * ws[PRESSURE * W + m] / (RA * kelvin)
        film = (open_air + (1.0 - open_air) * 0.15) / (0.90 * rho_cp * rvt)
        half = 2.0 * pore / dz
        out_top, out_below = film * top, film * below
        radiant_below = (
            (3.3 * open_air + 0.5 * (1.0 - open_air)) * ws[OPEN * W + m] * (1.0 - machine) * (1.0 - heaped)
        )
        ws[(bed + DZ) * W + m] = dz
        ws[(bed + GPORE) * W + m] = pore / dz
        ws[(bed + GTOP) * W + m] = out_top * half / (out_top + half)
        ws[(bed + GBOT) * W + m] = out_below * half / (out_below + half)
        ws[(bed + HTOP) * W + m] = top
        ws[(bed + HBOT) * W + m] = below + radiant_below
        ws[(bed + KLAY) * W + m] = BED_CONDUCTIVITY / dz
        radius = ws[RADIUS * W + m]
        # Sphere in slow pore air; with a fan Wakao's 2 + 1.1 Re^0.6 Pr^1/3 (nu 1.6e-5, Pr^1/3 0.85).
        reynolds = ws[AIR_FLOW * W + m] * 2.0 * radius / 1.6e-5
        root = math.sqrt(reynolds)
        sherwood = SHERWOOD + machine * 1.1 * 0.85 * root * math.sqrt(math.sqrt(math.sqrt(root)))
        surface = 3.0 * (1.0 - pores) / radius * dz
        ws[(bed + GIVE) * W + m] = surface * sherwood * diffusivity / (2.0 * radius) / rvt
        ws[(bed + FHALF) * W + m] = surface * 1000.0 * ws[FILM * W + m]
        ws[(bed + FHOLD) * W + m] = surface * 1000.0 * ws[FILM_HOLD * W + m]
        ws[(bed + FADE) * W + m] = exponential(-dz / ws[LIGHT * W + m])
    air_path(ws, air, bed, state, layers)


@inlined
def surfaces(ws: Array, state: int, now: int, bed: int, layers: int) -> None:
    """Vapour pressure, wetness and exchange at the bean surfaces of every layer."""
    for j in range(layers):
        for m in range(W):
            t = ws[(state + T0 + j) * W + m]
            ps = saturation(t)
            x = ws[(state + X0 + j * NS + N) * W + m]
            x = 5e-3 if x < 5e-3 else x
            level = (OSWIN_A + OSWIN_B * t) * ws[ISO * W + m]
            u = isotherm_power(level / (100.0 * x))
            aw = 1.0 / (1.0 + u)
            slope = OSWIN_C * u * aw * aw
            free = ws[(state + F0 + j) * W + m]
            free = 0.0 if free < 0.0 else free
            spread = 1.0 / (free + ws[(bed + FHALF) * W + m])
            ws[(now + PS + j) * W + m] = ps
            ws[(now + DPS + j) * W + m] = ps * 17.625 * 243.04 / ((t + 243.04) * (t + 243.04))
            ws[(now + AW + j) * W + m] = aw
            ws[(now + DAWX + j) * W + m] = slope / x
            ws[(now + DAWT + j) * W + m] = -slope * OSWIN_B * ws[ISO * W + m] / level
            ws[(now + PHI + j) * W + m] = free * spread
            ws[(now + DPHI + j) * W + m] = ws[(bed + FHALF) * W + m] * spread * spread
            arrhenius = -ws[EA * W + m] / 8.314462618 * (1.0 / (t + 273.15) - 1.0 / 313.15)
            radius = ws[RADIUS * W + m]
            ws[(now + DIFF + j) * W + m] = ws[D40 * W + m] / (radius * radius) * exponential(arrhenius)
            ws[(now + LFREE + j) * W + m] = 2502400.0 - 2429.5 * t
            ws[(now + LSKIN + j) * W + m] = (2502400.0 - 2429.5 * t) * (
                1.0 + 1.44408 * exponential(-21.6011 * x)
            )


@inlined
def pore_vapour(ws: Array, now: int, bed: int, layers: int) -> None:
    """Vapour pressure in the pores: what the surfaces give is what leaves.

    Air that passes through enters below and is carried up from layer to layer. The pressures
    are those without vapour outside plus the air's own times a response; a chamber's air is
    what its link to the outside and the lot leave it.
    """
    for j in range(layers):
        for m in range(W):
            give, flow = ws[(bed + GIVE) * W + m], ws[(bed + GFLOW) * W + m]
            up = ws[(bed + GTOP) * W + m] if j == 0 else ws[(bed + GPORE) * W + m]
            down = ws[(bed + GBOT) * W + m] if j == layers - 1 else ws[(bed + GPORE) * W + m]
            wet = ws[(now + PHI + j) * W + m]
            source = give * ws[(now + PS + j) * W + m] * (wet + (1.0 - wet) * ws[(now + AW + j) * W + m])
            diagonal = give + up + down + flow
            response = up if j == 0 else 0.0
            response += (down + flow) if j == layers - 1 else 0.0
            if j > 0:
                pore = ws[(bed + GPORE) * W + m]
                ratio = pore / ws[(TRI + 3 * (j - 1)) * W + m]
                diagonal -= ratio * (pore + flow)
                source += ratio * ws[(TRI + 3 * (j - 1) + 1) * W + m]
                response += ratio * ws[(TRI + 3 * (j - 1) + 2) * W + m]
            ws[(TRI + 3 * j) * W + m] = diagonal
            ws[(TRI + 3 * j + 1) * W + m] = source
            ws[(TRI + 3 * j + 2) * W + m] = response
    for j in range(layers - 1, -1, -1):
        for m in range(W):
            link = ws[(bed + GPORE) * W + m] + ws[(bed + GFLOW) * W + m]
            own, echo = ws[(TRI + 3 * j + 1) * W + m], ws[(TRI + 3 * j + 2) * W + m]
            if j < layers - 1:
                own += link * ws[(now + PV + j + 1) * W + m]
                echo += link * ws[(TRI + 3 * (j + 1) + 2) * W + m]
            ws[(now + PV + j) * W + m] = own / ws[(TRI + 3 * j) * W + m]
            ws[(TRI + 3 * j + 2) * W + m] = echo / ws[(TRI + 3 * j) * W + m]
    for m in range(W):
        outside, fresh = ws[(bed + PAIR) * W + m], ws[(bed + LINKG) * W + m]
        over = ws[(bed + GTOP) * W + m] + ws[(bed + GFLOW) * W + m]
        under = ws[(bed + GBOT) * W + m]
        given = over * ws[(now + PV) * W + m] + under * ws[(now + PV + layers - 1) * W + m]
        rest = over * (1.0 - ws[(TRI + 2) * W + m])
        rest += under * (1.0 - ws[(TRI + 3 * (layers - 1) + 2) * W + m])
        shut = 1.0 if fresh > 0.0 else 0.0
        met = (fresh * outside + given) / (fresh + rest + 1.0 - shut)
        ws[(bed + PIN) * W + m] = shut * met + (1.0 - shut) * outside
    for j in range(layers):
        for m in range(W):
            ws[(now + PV + j) * W + m] += ws[(bed + PIN) * W + m] * ws[(TRI + 3 * j + 2) * W + m]


@inlined
def water_flows(ws: Array, state: int, now: int, bed: int, air: int, layers: int) -> None:
    """kg/(m2 s) in each layer: from the skin, from the film (dew below 0), film to skin, rain."""
    for j in range(layers):
        for m in range(W):
            load = ws[LOAD * W + m] / layers
            wet, give = ws[(now + PHI + j) * W + m], ws[(bed + GIVE) * W + m]
            ps, pv = ws[(now + PS + j) * W + m], ws[(now + PV + j) * W + m]
            over = ps - pv
            dew = over if over < 0.0 else 0.0
            room = ws[X_SOAK * W + m] - ws[(state + X0 + j * NS + N) * W + m]
            room = 0.0 if room < 0.0 else room
            free = ws[(state + F0 + j) * W + m]
            held = free / ws[(bed + FHOLD) * W + m]
            held = 0.0 if held < 0.0 else held
            held = 1.0 if held > 1.0 else held
            before = ws[(now + FALLING + (j - 1 if j > 0 else 0)) * W + m]
            caught = ws[(now + CAUGHT + (j - 1 if j > 0 else 0)) * W + m]
            rain = ws[(air + RAIN) * W + m] * (1.0 - ws[(air + COVER) * W + m]) / 3600.0
            falling = rain if j == 0 else before - caught
            ws[(now + ES + j) * W + m] = (1.0 - wet) * give * (ws[(now + AW + j) * W + m] * ps - pv - dew)
            ws[(now + EF + j) * W + m] = wet * give * over + (1.0 - wet) * give * dew
            ws[(now + SOAK + j) * W + m] = wet * load * ws[(now + DIFF + j) * W + m] * FACTORS[N - 1] * room
            ws[(now + FALLING + j) * W + m] = falling
            ws[(now + CAUGHT + j) * W + m] = falling * (1.0 - held)


@inlined
def moisture_rates(ws: Array, state: int, now: int, side: int, layers: int) -> None:
    """Rates of shell moisture (times shell volume) and of film water into block `side`."""
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
        ws[held * W + m] = 0.0
        ws[heat * W + m] = ws[(bed + HFLOW) * W + m] * (ws[(bed + TIN) * W + m] - ws[(bed + TAIR) * W + m])
    for j in range(layers):
        for m in range(W):
            ws[held * W + m] += ws[(now + CAUGHT + j) * W + m]


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
