"""The layer a lot lies in: its depth, and what passes between it, the air and its own pores."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.airpath import air_path
from drydown.steps.dry.compiled import inlined
from drydown.steps.dry.constants import (
    AIR_CP,
    AIR_FLOW,
    AIR_VISCOSITY,
    BED_CONDUCTIVITY,
    D40,
    DM_DRY,
    DM_WET,
    EMIT,
    FILM,
    FILM_HOLD,
    HSCALE,
    HULL,
    KELVIN,
    LIGHT,
    LOAD,
    OPEN,
    PORES,
    PRESSURE,
    RA,
    RADIUS,
    RECIRCULATED,
    RESIST,
    RV,
    SHERWOOD,
    SLAB_CONTACT,
    SLAB_K,
    SLAB_RHO_C,
    SLAB_STEP_M,
    VAPOUR_DIFFUSIVITY,
    VENT,
    WATER_KG_M3,
    WIND_TO_BED,
    X_DRY,
    X_WET,
)
from drydown.steps.dry.heat import on_floor
from drydown.steps.dry.powers import exponential
from drydown.steps.dry.rows import (
    AREA,
    BAREH,
    BARESKY,
    BYLIGHT,
    BYLOAD,
    COVER,
    DBYR2,
    DR2,
    EXCHANGE,
    FADE,
    FASTAIR,
    FHALF,
    FHOLD,
    FILMWAY,
    FRESH,
    GBOT,
    GIVE,
    GPORE,
    GSKIN,
    GTOP,
    HBOT,
    HRAD,
    HSKY,
    HTOP,
    HULLWAY,
    KLAY,
    MEANX,
    OFF,
    POREWAY,
    RAIN,
    SHRUNK,
    SLABHEAT,
    SLABLINK,
    SLOWAIR,
    SPAN,
    TA,
    TOUCH,
    WIND,
    W,
)

Array = NDArray[np.float64]


@inlined
def prepare(ws: Array) -> None:
    """What each lane keeps all through a run, from its parameters; once (D13, D14, D17)."""
    for m in range(W):
        pores, radius = ws[PORES * W + m], ws[RADIUS * W + m]
        flow, again = ws[AIR_FLOW * W + m], ws[RECIRCULATED * W + m]
        solid, diffusivity = 1.0 - pores, VAPOUR_DIFFUSIVITY / ws[PRESSURE * W + m]
        # Sphere in slow pore air; with a fan Wakao's 2 + 1.1 Re^0.6 Pr^1/3 (nu 1.6e-5, Pr^1/3 0.85).
        blown = 1.1 * 0.85 * math.pow(flow * 2.0 * radius / 1.6e-5, 0.6) if flow > 0.0 else 0.0
        resist = ws[RESIST * W + m] * solid / (pores * pores * pores * 2.0 * radius)
        ws[SPAN * W + m] = 1.0 / (ws[X_WET * W + m] - ws[X_DRY * W + m])
        ws[AREA * W + m] = 3.0 * solid / radius
        ws[EXCHANGE * W + m] = 3.0 * solid / radius * (SHERWOOD + blown) * diffusivity / (2.0 * radius) / RV
        ws[POREWAY * W + m] = diffusivity * pores * math.sqrt(pores) / RV
        ws[FILMWAY * W + m] = RA / (0.90 * AIR_CP * ws[PRESSURE * W + m] * RV)
        ws[BYLOAD * W + m] = 1.0 / ws[LOAD * W + m]
        ws[BYLIGHT * W + m] = 1.0 / ws[LIGHT * W + m]
        ws[DBYR2 * W + m] = ws[D40 * W + m] / (radius * radius)
        ws[SLOWAIR * W + m] = 150.0 * AIR_VISCOSITY * resist * solid / (2.0 * radius)
        ws[FASTAIR * W + m] = 1.75 * resist
        # A fruit thins with its layer: beans shrink as the cube root of the bed's volume (D3, D6).
        ws[SHRUNK * W + m] = math.pow(ws[DM_DRY * W + m] / ws[DM_WET * W + m], 2.0 / 3.0) - 1.0
        ws[HULLWAY * W + m] = 3.0 * solid / radius * ws[HULL * W + m]
        ws[SLABLINK * W + m] = ws[SLAB_K * W + m] / SLAB_STEP_M
        ws[SLABHEAT * W + m] = ws[SLAB_RHO_C * W + m] * SLAB_STEP_M
        ws[OFF * W + m] = 0.0
        ws[FRESH * W + m] = flow * (1.0 - again) / again if again > 0.0 else ws[VENT * W + m]


@inlined
def ground_shares(ws: Array, air: int, bed: int, m: int, passed: float, plane: float) -> None:
    """What sees the sky and touches the floor: the lot where it covers the ground, the floor elsewhere
    (D24, D27).
    """
    open_air = 1.0 - ws[(air + COVER) * W + m]
    floor = on_floor(ws, m)
    ws[(bed + HSKY) * W + m] = open_air * ws[EMIT * W + m] * (1.0 - passed)
    ws[(bed + TOUCH) * W + m] = SLAB_CONTACT * (1.0 - passed)
    ws[(bed + BAREH) * W + m] = floor * passed * plane * ws[HSCALE * W + m]
    ws[(bed + BARESKY) * W + m] = floor * passed * open_air * ws[EMIT * W + m]


@inlined
def bed_geometry(ws: Array, air: int, bed: int, state: int, layers: int) -> None:
    """Layer depth, from the mean moisture in row MEANX, and exchange with air, sky and floor (D12 to D17)."""
    for m in range(W):
        share = (ws[MEANX * W + m] - ws[X_DRY * W + m]) * ws[SPAN * W + m]
        share = 0.0 if share < 0.0 else share
        share = 1.0 if share > 1.0 else share
        density = ws[DM_DRY * W + m] + (ws[DM_WET * W + m] - ws[DM_DRY * W + m]) * share
        dz, by_dz = ws[LOAD * W + m] / (density * layers), density * layers * ws[BYLOAD * W + m]
        open_air = 1.0 - ws[(air + COVER) * W + m]
        machine = 1.0 if ws[AIR_FLOW * W + m] > 0.0 else 0.0
        wind = WIND_TO_BED * ws[(air + WIND) * W + m] * open_air
        by_kelvin = 1.0 / (ws[(air + TA) * W + m] + KELVIN)
        pore = ws[POREWAY * W + m] * (1.0 + 3.0 * wind) * by_kelvin * by_dz
        # A heap shows the air less than the spread layer; what is covered has no rain, so the row says it.
        heaped = ws[(air + COVER) * W + m] * ws[(air + RAIN) * W + m]
        # Fewer beans than cover the ground take less sun, and meet air and sky by the same share.
        fade = exponential(-dz * ws[BYLIGHT * W + m])
        passed = 1.0
        for _j in range(layers):
            passed *= fade
        met = (1.0 - passed) * (1.0 - machine) * (1.0 - heaped)
        scale = ws[HSCALE * W + m] * met
        plane = open_air * (2.8 + 3.0 * wind) + (1.0 - open_air) * 1.5
        top = plane * scale
        below = (open_air * 0.8 * (2.8 + 1.5 * wind) + (1.0 - open_air) * 0.5) * scale * ws[OPEN * W + m]
        film = (open_air + (1.0 - open_air) * 0.15) * ws[FILMWAY * W + m]
        half = 2.0 * pore
        out_top, out_below = film * top, film * below
        surface = ws[AREA * W + m] * dz
        ws[(bed + GPORE) * W + m] = pore
        ws[(bed + GTOP) * W + m] = out_top * half / (out_top + half)
        ws[(bed + GBOT) * W + m] = out_below * half / (out_below + half)
        ws[(bed + HTOP) * W + m] = top
        ws[(bed + HBOT) * W + m] = below
        ws[(bed + HRAD) * W + m] = (3.3 * open_air + 0.5 * (1.0 - open_air)) * ws[OPEN * W + m] * met
        ground_shares(ws, air, bed, m, passed, plane)
        ws[(bed + KLAY) * W + m] = BED_CONDUCTIVITY * by_dz
        # Per volume of bed, surface over radius grows as radius squared falls; so does D over radius squared.
        smaller = 1.0 + ws[SHRUNK * W + m] * (1.0 - share)
        give, hull = ws[EXCHANGE * W + m] * dz * by_kelvin * smaller, ws[HULLWAY * W + m] * dz * smaller
        ws[(bed + DR2) * W + m] = ws[DBYR2 * W + m] * smaller
        ws[(bed + GIVE) * W + m] = give
        ws[(bed + GSKIN) * W + m] = give * hull / (give + hull)
        ws[(bed + FHALF) * W + m] = surface * WATER_KG_M3 * ws[FILM * W + m]
        ws[(bed + FHOLD) * W + m] = surface * WATER_KG_M3 * ws[FILM_HOLD * W + m]
        ws[(bed + FADE) * W + m] = fade
    air_path(ws, air, bed, state, layers)
