"""Bulk density: how much room a kilogram takes in a heap, on a bed, in a bag."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["WET_PULPED_KG_M3", "bulk_density_parchment_kg_m3", "dry_matter_density_kg_m3", "layer_depth_m"]

Array = NDArray[np.float64]
WET_PULPED_KG_M3 = 826.0
"""Freshly pulped coffee, mucilage on, as it lies uncompacted, kg/m3 (Oliveros and Roa, cv. Caturra)."""

# kg dry matter per m3 of bed: wet and dry end, with the dry-basis moisture at each end.
_DRY_MATTER = {
    "parchment": (315.0, 315.0, 1.13, 0.12),
    "mucilage": (315.0, 315.0, 1.20, 0.12),
    "cherry": (215.0, 360.0, 1.90, 0.136),
    "green": (610.0, 610.0, 1.00, 0.12),
}


def bulk_density_parchment_kg_m3(moisture_db: float | Array) -> Array:
    """Bulk density of parchment.

    Equation: rho = 365.884 + 2.7067 M, M in % db.
    Args: moisture_db [kg/kg dry matter]. Returns: [kg/m3 as it lies].
    Valid range: 0.12 to 1.13 db (11 to 53 % wb); refused below 0 and above 1.5.
    Source: Montoya 1989 as eq. 17 of Parra-Coronado et al. 2008 (second-hand); Oliveros and
    Roa measured 401 kg/m3 at 11.7 % wb, this gives 401.7.

    >>> round(float(bulk_density_parchment_kg_m3(0.12)), 1)
    398.4
    """
    m = np.asarray(moisture_db, dtype=float)
    if np.any((m < 0) | (m > 1.5)):
        raise RangeError(say("moisture_db must be from 0 to 1.5, got {tolist}.", tolist=m.tolist()))
    return np.asarray(365.884 + 270.67 * m)


def dry_matter_density_kg_m3(form: str, moisture_db: float) -> float:
    """Dry matter in a cubic metre of bed.

    Equation: linear in moisture between the wet and the dry end, held beyond them.
    Args: form ("parchment", "mucilage", "cherry" or "green"); moisture_db [kg/kg].
    Returns: [kg dry matter/m3].
    Valid range: parchment nearly constant at 305-330, cherry 215 wet to 360 dry (a cherry
    layer loses about 40 % of its depth).
    Source: derived from bulk densities known from memory.

    >>> dry_matter_density_kg_m3("parchment", 0.5)
    315.0
    """
    if form not in _DRY_MATTER:
        raise InputError(
            say("form '{form}' is not known.", form=form),
            fix=say("Choose one of: {dry_matter}.", dry_matter=", ".join(_DRY_MATTER)),
        )
    wet, dry, x_wet, x_dry = _DRY_MATTER[form]
    return float(np.interp(moisture_db, [x_dry, x_wet], [dry, wet]))


def layer_depth_m(form: str, load_kg_m2: float, moisture_db: float) -> float:
    """Depth of a layer from its load.

    Equation: z = load / (1 + X) / rho_dm(X).
    Args: form; load_kg_m2 [kg as spread per m2]; moisture_db [kg/kg]. Returns: [m].
    Valid range: load above 0. Source: geometry; densities as `dry_matter_density_kg_m3`.
    Cross-check: 12.5 kg/m2 of dry parchment is 23.7 kg/m2 wet, 3 to 3.6 cm (Cenicafe Avance
    Tecnico 345 says 3 cm).

    >>> round(layer_depth_m("parchment", 12.0, 1.13), 4)
    0.0179
    """
    if load_kg_m2 <= 0:
        raise RangeError(say("load_kg_m2 must be above 0, got {load_kg_m2}.", load_kg_m2=load_kg_m2))
    return load_kg_m2 / (1.0 + moisture_db) / dry_matter_density_kg_m3(form, moisture_db)
