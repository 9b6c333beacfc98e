"""Gas of roasted coffee in a room: how much, how many parts in a million, how much air takes it away."""

from __future__ import annotations

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.units import GAS_CONSTANT, ZERO_C_K
from drydown.words import say

__all__ = ["CO2_G_MOL", "CO_G_MOL", "GAS_SOURCE", "air_m3_h", "half_degassed_h", "litres", "ppm_in_room"]

CO2_G_MOL, CO_G_MOL = 44.01, 28.01
HALF = 0.0305
"""D t/r2 at which half has left a sphere with a clean surface."""
GAS_SOURCE = Source(
    "about 1 % of the roasted mass is carbon dioxide, by the degree of roast only (Smrke, as quoted; Wang "
    "2014); no rate of carbon monoxide for a kilogram is known: measure it in a closed drum",
    Status.SECOND_HAND,
)


def litres(grams: float, g_mol: float, temp_c: float = 25.0, pressure_pa: float = 101_325.0) -> float:
    """Volume of a gas.

    Equation: m R T/(M p). Args: grams [g]; g_mol; temp_c; pressure_pa. Returns: [L]. Valid range: -20 to
    60 C.
    Source: ideal gas.

    >>> round(litres(10.0, CO2_G_MOL), 2)
    5.56
    """
    if not (grams >= 0.0 and -20.0 <= temp_c <= 60.0 and 4e4 <= pressure_pa <= 1.1e5):
        raise RangeError("must be: mass of 0 and more, -20 to 60 C.", "gas")
    return 1000.0 * grams / g_mol * GAS_CONSTANT * (temp_c + ZERO_C_K) / pressure_pa


def ppm_in_room(grams: float, g_mol: float, room_m3: float) -> float:
    """Parts in a million in a closed room, evenly mixed, 25 C.

    Args: grams [g]; g_mol; room_m3. Returns: [ppm]. Valid range: 1 to 100 000 m3. Source: ideal gas.

    >>> round(ppm_in_room(1.0, CO_G_MOL, 30.0), 1)
    29.1
    """
    if not 1.0 <= room_m3 <= 1e5:
        raise RangeError(say("must be from 1 to 100 000 m3, got {v:g}.", v=room_m3), "room")
    return 1000.0 * litres(grams, g_mol) / room_m3


def air_m3_h(grams_h: float, g_mol: float, limit_ppm: float, outside_ppm: float = 0.0) -> float:
    """Fresh air that holds a steady source at a limit.

    Equation: V/(limit - outside). Args: grams_h [g/h]; g_mol; limit_ppm, outside_ppm. Returns: [m3/h].
    Valid range: a limit above outside. Source: steady mass balance of a room.

    >>> round(air_m3_h(1.0, CO_G_MOL, 35.0), 1)
    25.0
    """
    if not limit_ppm > outside_ppm >= 0.0:
        raise RangeError("the limit must lie above what is outside.", "air")
    return 1000.0 * litres(grams_h, g_mol) / (limit_ppm - outside_ppm)


def half_degassed_h(radius_um: float, diffusivity_m2_s: float) -> float:
    """Hours until half of the gas has left a particle.

    Equation: 0.0305 r2/D. Args: radius_um; diffusivity_m2_s, 0.5e-13 to 10e-13. Returns: [h]. Valid range:
    50 to
    5000 um. Source: sphere with a clean surface (Crank 1975); D of Anderson et al. 2003.

    >>> round(half_degassed_h(400.0, 0.5e-13))
    27
    """
    if not (50.0 <= radius_um <= 5000.0 and diffusivity_m2_s > 0.0):
        raise RangeError("must be from 50 to 5000 um.", "particle")
    return HALF * (radius_um * 1e-6) ** 2 / diffusivity_m2_s / 3600.0
