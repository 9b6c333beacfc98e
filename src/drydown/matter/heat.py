"""Heat properties of coffee: latent heat held in the bean, heat capacity, conductivity."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.errors import RangeError
from drydown.words import say

__all__ = [
    "BOUND_FALL", "BOUND_SHARE", "DRY_HEAT", "LATENT_0", "LATENT_FALL", "WATER_HEAT", "heat_capacity_j_kg_k",
    "latent_heat_j_kg", "latent_heat_water_j_kg",
]  # fmt: skip

Array = NDArray[np.float64]
LATENT_0, LATENT_FALL = 2_502_400.0, 2_429.5
"""Latent heat of water at 0 C, J/kg, and its fall per kelvin: Trejos et al. 1989, eq. 6 (second-hand)."""
BOUND_SHARE, BOUND_FALL = 1.44408, 21.6011
"""Share of latent heat by which bound water is held, and its fall with kg/kg db: the same equation."""
DRY_HEAT, WATER_HEAT = 1650.0, 4190.0
"""Heat capacity of dry coffee (own choice) and of water, J/(kg K)."""


def latent_heat_water_j_kg(temp_c: float | Array) -> Array:
    """Latent heat of free water.

    Equation: L = 2502.4 - 2.4295 T kJ/kg.
    Args: temp_c [C]. Returns: [J/kg].
    Valid range: 0 to 60 C. Source: Trejos et al. 1989, eq. 6, first factor (second-hand).

    >>> round(float(latent_heat_water_j_kg(25.0)) / 1e6, 3)
    2.442
    """
    return np.asarray(LATENT_0 - LATENT_FALL * np.asarray(temp_c, dtype=float))


def latent_heat_j_kg(temp_c: float | Array, moisture_db: float | Array) -> Array:
    """Heat to take one kilogram of water out of parchment.

    Equation: L = (2502.4 - 2.4295 T) [1 + 1.44408 exp(-21.6011 M)] kJ/kg, M kg/kg db.
    Args: temp_c [C]; moisture_db [kg/kg dry matter].
    Returns: [J/kg].
    Valid range: above 0.087 db (8 % wb); 16 % high against Santos et al. 2020 at 0.019 db.
    A 2008 paper prints 21.5011 for 21.6011; the difference is below 0.2 %.
    Source: Trejos et al. 1989, Cenicafe 40(1), eq. 6 (second-hand).

    >>> round(float(latent_heat_j_kg(25.0, 0.5)) / 1e6, 3)
    2.442
    """
    m = np.asarray(moisture_db, dtype=float)
    if np.any(m < 0):
        raise RangeError(say("moisture_db must be 0 or more, got {tolist}.", tolist=m.tolist()))
    return np.asarray(latent_heat_water_j_kg(temp_c) * (1.0 + BOUND_SHARE * np.exp(-BOUND_FALL * m)))


def heat_capacity_j_kg_k(moisture_db: float | Array) -> Array:
    """Heat capacity of coffee per kilogram of dry matter, water included.

    Equation: c = 1650 + 4190 X J/(kg dry matter K).
    Args: moisture_db [kg/kg dry matter]. Returns: [J/(kg dry matter K)].
    Valid range: 0 to 3 db: dry bean and water both at their known ends. Montoya 1989
    (second-hand) gives 2.071 kJ at 11 % wb where this gives 2.168, 5 % apart.
    Source: sum of dry matter and water, own choice (derived).

    >>> float(heat_capacity_j_kg_k(0.5))
    3745.0
    """
    m = np.asarray(moisture_db, dtype=float)
    if np.any(m < 0):
        raise RangeError(say("moisture_db must be 0 or more, got {tolist}.", tolist=m.tolist()))
    return np.asarray(DRY_HEAT + WATER_HEAT * m)
