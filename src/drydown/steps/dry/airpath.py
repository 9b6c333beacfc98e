"""The air that a layer meets: drawn up by its own warmth or blown by a fan; heated; shut in.

A bed on mesh that is warmer than the air below draws air up through itself. A machine's fan
does so by force, and may take part of the air around again. Air shut in by a film or a housing
is a chamber: what it meets inside changes it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drydown.steps.dry.compiled import inlined
from drydown.steps.dry.constants import (
    AIR_CP,
    AIR_FLOW,
    AIR_SET,
    BEAN_CAP,
    BED_CONDUCTIVITY,
    CAP_GAIN,
    FILM_U,
    FLOOR_GAIN,
    KELVIN,
    OPEN,
    PRESSURE,
    RA,
    RV,
    SLAB_CONTACT,
    WIND_DRAW,
    WIND_TO_BED,
)
from drydown.steps.dry.powers import exponential
from drydown.steps.dry.rows import (
    COVER,
    FASTAIR,
    FRESH,
    GBOT,
    GFLOW,
    GTOP,
    HBOT,
    HFLOW,
    HRAD,
    HTOP,
    KCAP,
    KLAY,
    LINKG,
    PAIR,
    PVA,
    SLOWAIR,
    SUN,
    T0,
    TA,
    TAIR,
    TIN,
    TOUCH,
    WIND,
    W,
)
from drydown.units import GRAVITY

Array = NDArray[np.float64]


@inlined
def against(carried: float, film: float, blown: float) -> float:
    """What air that passes through a film leaves of its exchange: x/(e^x - 1), x carried over film (D19).

    With it, carried plus film is the exact exchange where air leaves, film where it enters.
    """
    x = carried / (film + 1e-30)
    x = 15.0 if x > 15.0 else x
    few = 1.0 - 0.5 * x + x * x / 12.0
    many = x / (exponential(x) - 1.0 + 1e-30)
    left = few if x < 0.02 else many
    return blown + (1.0 - blown) * left


@inlined
def air_path(ws: Array, air: int, bed: int, state: int, layers: int) -> None:
    """Air through the layer, and the temperature of the air it meets (D18 to D20).

    Drawn up: 150 f mu (1-e)2/(e3 d2) v + 1.75 f rho (1-e)/(e3 d) v2 = rho g (T bed - T air)/T air
    + share rho u2/2 over the depth, Ergun with a resistance factor f. None under a cover, none downward.
    Chamber: link (T outside - T) + sun on the floor + all exchange with the lot = 0, where the
    link is vents and film of a tunnel, or the fresh share of a machine's air.
    """
    for m in range(W):
        mean = 0.0
        for j in range(layers):
            mean += ws[(state + T0 + j) * W + m] / layers
        first, last = ws[(state + T0) * W + m], ws[(state + T0 + layers - 1) * W + m]
        outside = ws[(air + TA) * W + m]
        kelvin = outside + KELVIN
        density = ws[PRESSURE * W + m] / (RA * kelvin)
        fan, fresh = ws[AIR_FLOW * W + m], ws[FRESH * W + m]
        shut = 1.0 if fresh > 0.0 else 0.0
        link = shut * (ws[FILM_U * W + m] + fresh * AIR_CP * density) + (1.0 - shut)
        gain = shut * ws[FLOOR_GAIN * W + m] * ws[(air + SUN) * W + m]
        radiant = ws[(bed + HRAD) * W + m]
        top, below = shut * ws[(bed + HTOP) * W + m], shut * (ws[(bed + HBOT) * W + m] + radiant)
        still = (link * outside + gain + top * first + below * last) / (link + top + below)
        warmer = mean - still
        warmer = 0.0 if warmer < 0.0 else warmer
        wind = WIND_TO_BED * ws[(air + WIND) * W + m]
        by_depth = ws[(bed + KLAY) * W + m] / (BED_CONDUCTIVITY * layers)
        drive = density * GRAVITY * warmer / kelvin
        drive += ws[WIND_DRAW * W + m] * 0.5 * density * wind * wind * by_depth
        slow, fast = ws[SLOWAIR * W + m], density * ws[FASTAIR * W + m]
        drawn = 2.0 * drive / (slow + math.sqrt(slow * slow + 4.0 * fast * drive))
        seen = ws[(bed + TOUCH) * W + m] / SLAB_CONTACT  # beans cover this share of the ground
        drawn *= (1.0 - ws[(air + COVER) * W + m]) * ws[OPEN * W + m] * seen
        flow = fan if fan > 0.0 else drawn
        carried, laden = flow * AIR_CP * density, flow / (RV * kelvin)
        ws[(bed + GFLOW) * W + m] = laden
        ws[(bed + HFLOW) * W + m] = carried
        blown = 1.0 if fan > 0.0 else 0.0
        ws[(bed + HTOP) * W + m] *= against(carried, ws[(bed + HTOP) * W + m], blown)
        ws[(bed + HBOT) * W + m] *= against(carried, ws[(bed + HBOT) * W + m], blown)
        ws[(bed + GTOP) * W + m] *= against(laden, ws[(bed + GTOP) * W + m], blown)
        ws[(bed + GBOT) * W + m] *= against(laden, ws[(bed + GBOT) * W + m], blown)
        ws[(bed + HBOT) * W + m] += radiant
        top, below = shut * ws[(bed + HTOP) * W + m], shut * ws[(bed + HBOT) * W + m]
        ws[(bed + LINKG) * W + m] = fresh / (RV * kelvin)
        ws[(bed + PAIR) * W + m] = ws[(air + PVA) * W + m]
        back = shut * carried
        ws[(bed + TAIR) * W + m] = (link * outside + gain + (top + back) * first + below * last) / (
            link + top + below + back
        )


@inlined
def burner(ws: Array, bed: int, state: int, layers: int) -> None:
    """Temperature of the air that enters below: a machine's set point, turned down near the cap (D22)."""
    for m in range(W):
        met = ws[(bed + TAIR) * W + m]
        hottest = ws[(state + T0 + layers - 1) * W + m]
        cap = ws[BEAN_CAP * W + m]
        wanted, bound = ws[AIR_SET * W + m], cap + CAP_GAIN * (cap - hottest)
        turned = 1.0 if bound < wanted else 0.0
        inlet = bound if bound < wanted else wanted
        ws[(bed + KCAP) * W + m] = CAP_GAIN * turned if inlet > met else 0.0
        ws[(bed + TIN) * W + m] = inlet if inlet > met else met
