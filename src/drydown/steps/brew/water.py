"""Brewing water: hardness and alkalinity as calcium carbonate, and how far it lies inside published
bounds."""

from __future__ import annotations

from drydown.errors import RangeError
from drydown.figures import Source, Status
from drydown.words import say

__all__ = ["BOUNDS", "WATER_SOURCE", "alkalinity", "hardness", "inside_bounds", "salts_mg_l"]

CACO3_G_MOL = 100.087
CALCIUM_G_MOL, MAGNESIUM_G_MOL, BICARBONATE_G_MOL = 40.078, 24.305, 61.017
BAKING_SODA_G_MOL, EPSOM_SALT_G_MOL = 84.007, 246.474
BOUNDS = {"hardness": ((50.0, 175.0), (17.0, 85.0)), "alkalinity": ((40.0, 75.0), (40.0, 40.0))}
WATER_SOURCE = Source(
    "common practice, no source: hardness of 50 to 175 or 17 to 85, alkalinity of 40 to 75 or about 40 mg/L "
    "as calcium carbonate; sources differ", Status.COMMON_PRACTICE,
)  # fmt: skip


def hardness(calcium_mg_l: float, magnesium_mg_l: float) -> float:
    """Hardness as calcium carbonate.

    Equation: 100.087 (Ca/40.078 + Mg/24.305). Args: ions [mg/L]. Returns: [mg/L]. Valid range: 0 to 2000.
    Source: molar masses.

    >>> round(hardness(40.078, 0.0), 1)
    100.1
    """
    _check(calcium_mg_l, magnesium_mg_l)
    return CACO3_G_MOL * (calcium_mg_l / CALCIUM_G_MOL + magnesium_mg_l / MAGNESIUM_G_MOL)


def alkalinity(bicarbonate_mg_l: float) -> float:
    """Alkalinity as calcium carbonate, below pH 8.3 all of it bicarbonate.

    Equation: 100.087/2 HCO3/61.017. Args: bicarbonate_mg_l [mg/L]. Returns: [mg/L]. Valid range: 0 to 2000.
    Source: molar masses.

    >>> round(alkalinity(61.017), 2)
    50.04
    """
    _check(bicarbonate_mg_l)
    return 0.5 * CACO3_G_MOL * bicarbonate_mg_l / BICARBONATE_G_MOL


def salts_mg_l(baking_soda_g_l: float, epsom_salt_g_l: float) -> tuple[float, float]:
    """Alkalinity and hardness that baking soda and Epsom salt (heptahydrate) give to pure water.

    Args: g/L. Returns: alkalinity, hardness [mg/L as CaCO3]. Valid range: 0 to 100 g/L. Source: molar masses.

    >>> [round(x) for x in salts_mg_l(1.68, 2.45)]
    [1001, 995]
    """
    if not (0.0 <= baking_soda_g_l <= 100.0 and 0.0 <= epsom_salt_g_l <= 100.0):
        raise RangeError("must be from 0 to 100 g/L.", "salts")
    alkaline = 0.5 * CACO3_G_MOL * 1000.0 * baking_soda_g_l / BAKING_SODA_G_MOL
    return alkaline, CACO3_G_MOL * 1000.0 * epsom_salt_g_l / EPSOM_SALT_G_MOL


def inside_bounds(hardness_mg_l: float, alkalinity_mg_l: float) -> list[str]:
    """Which published bounds water is inside of, in words.

    Args: [mg/L as CaCO3]. Returns: a sentence a bound. Valid range: any. Source: `WATER_SOURCE`.

    >>> len(inside_bounds(70.0, 50.0))
    4
    """
    said = []
    for name, value in (("hardness", hardness_mg_l), ("alkalinity", alkalinity_mg_l)):
        for low, high in BOUNDS[name]:
            inside = low <= value <= high
            state = say("inside") if inside else say("outside")
            said.append(
                str(say("{n} {v:.0f} mg/L: {s} {a:g} to {b:g}", n=say(name), v=value, s=state, a=low, b=high))
            )
    return said


def _check(*values: float) -> None:
    if any(not 0.0 <= v <= 2000.0 for v in values):
        raise RangeError(say("must be from 0 to 2000 mg/L."), "water")
